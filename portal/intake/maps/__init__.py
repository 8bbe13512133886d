"""Tempo maps of a song: which one holds now, and what the map page shows.

The arithmetic is the engine's (`analysis.maps`).
"""
