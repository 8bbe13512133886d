"""Rough mixes, what is said about them bar by bar, and the music that they are heard over."""

from portal.takes.models.music import MusicCopy
from portal.takes.models.notes import BarNote, NoteAnswer
from portal.takes.models.rough_mixes import RoughMix

__all__ = ["BarNote", "MusicCopy", "NoteAnswer", "RoughMix"]
