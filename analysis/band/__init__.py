"""A small band that plays from a seeded score, so that every truth about the sound is known beforehand.

`songs` names what the demo house plays, `score` decides what is played, `clock` when, `voices` and `drumkit` how it
sounds, `render` makes files of it and `damage` spoils them in known ways. All times are exact until they are heard.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
