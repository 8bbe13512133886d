"""Charts drafted from songs with known form: the songs, and how close the draft comes."""
