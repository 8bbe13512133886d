"""Zips that clients send: read entry by entry within limits, unpacked into files of the song.

Nothing in a zip is believed: names, sizes and entries are checked while they are read.
"""
