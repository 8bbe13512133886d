from .attacks import Attacks as Attacks
from .attacks import attacks_of as attacks_of
from .feature_arrays import Features as Features
from .feature_arrays import MusicFeatures as MusicFeatures
from .guide_drums import find_drums as find_drums
from .strokes import struck_at as struck_at
