"""What later apps do when something is decided here. They append from `AppConfig.ready()`: see bookings/hooks.py."""

from collections.abc import Callable, Sequence

from portal.bookings.models import Song, SongQuerySet

# Called with the approved map's key, inside the approving transaction.
on_map_approved: list[Callable[[int], object]] = []
# Asked with a store's key before its content is cleared away: whether something of theirs is that content.
keeps_content: list[Callable[[str], bool]] = []
# Called with the source file's key when its survey is stored, inside that transaction.
on_file_measured: list[Callable[[int], object]] = []
# Asked with songs: what else keeps each of them from being tracked, by its key, in plain words.
more_reasons_against: list[Callable[[Sequence[Song] | SongQuerySet], dict[int, str]]] = []
