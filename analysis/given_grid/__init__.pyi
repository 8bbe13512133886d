from .click_fit import ClickFit as ClickFit
from .click_fit import compare_click as compare_click
from .click_measures import with_click as with_click
from .click_track import ClickTrack as ClickTrack
from .click_track import find_click as find_click
from .midi_measures import with_midi as with_midi
