"""The score of the sound: all files of a song on one time axis, seen and heard with the click."""
