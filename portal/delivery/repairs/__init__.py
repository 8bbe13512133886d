"""Corrected sets: what may be corrected without a change to the sound, and making it from the originals."""
