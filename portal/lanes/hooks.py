"""What other apps know of a song that the score shows: each puts a callable here from its `AppConfig.ready()`."""

from collections.abc import Callable

from portal.bookings.models import Song

# The song's sections as people named them, as (bar, name); None where nobody did.
sections_of_chart: list[Callable[[Song], list[tuple[int, str]] | None]] = []
# The last bar in which something new is played, of the map in use; None where nobody said.
last_bar_of_chart: list[Callable[[Song], int | None]] = []
# What is to be known where those stand beside the bars of the map in use, as sentences; empty where nothing is.
words_on_sections: list[Callable[[Song], str]] = []
