"""Multitracks as sets: checks, release, download, acceptance."""
