"""Bookings, songs, briefs, stages, the timeline, the board."""
