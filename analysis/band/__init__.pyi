from .songs import SONG_BY_SLUG as SONG_BY_SLUG
from .songs import render_song as render_song
