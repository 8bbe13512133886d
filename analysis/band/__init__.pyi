from .short_songs import SHORT_SONG_BY_SLUG as SHORT_SONG_BY_SLUG
from .short_songs import render_take as render_take
from .songs import SONG_BY_SLUG as SONG_BY_SLUG
from .songs import render_song as render_song
