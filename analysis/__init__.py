"""Measures music files for someone who has to play along with them. Knows sound; knows nothing of people or money."""

ENGINE_VERSION = "1.3.0"
