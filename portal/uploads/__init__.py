"""The tus protocol and resumable storage. Knows no songs: urls.py hands it its receivers."""
