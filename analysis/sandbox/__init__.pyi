from .child import layers_that_hold as layers_that_hold
from .child import measure_song_in_child as measure_song_in_child
from .child import survey_in_child as survey_in_child
from .child import verify_set_in_child as verify_set_in_child
from .child import write_excerpt_in_child as write_excerpt_in_child
from .child import write_proxy_in_child as write_proxy_in_child
from .confinement import LAYERS as LAYERS
