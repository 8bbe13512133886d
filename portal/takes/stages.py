"""The stages of a song in which rough mixes come and go."""

from portal.bookings.stages import SongStage

STAGES_OF_MIXES = (SongStage.TRACKING, SongStage.IN_REVIEW)
