"""What other apps do when something happens to a booking here.

Imports run one way, from later apps to earlier ones: the check of a song (intake) and the e-mails (mailroom) know
bookings, and bookings know neither. So a later app puts a callable into one of these lists from its
`AppConfig.ready()`, and our services call whatever is there, inside their own transaction: a callable that starts a
task starts it on commit (`delay_on_commit`). They are plain lists, so that a search for the name finds both ends.
"""

from collections.abc import Callable

# Called with the song's key after a brief was changed.
on_brief_saved: list[Callable[[int], object]] = []
# Called with the booking's key, the key of whoever cancelled it, and the reason as it was typed.
on_booking_cancelled: list[Callable[[int, int, str], object]] = []
# Called with the booking's key and the key of whoever proposed a due date, or answered a proposed one.
on_due_date_asked: list[Callable[[int, int], object]] = []
# Called with the song's key and the key of whoever added it, took it out or put it back.
on_songs_changed: list[Callable[[int, int], object]] = []
# Called with the booking's key, the key of who lost their seat there, and the key of whoever took it from them.
on_seat_withdrawn: list[Callable[[int, int, int], object]] = []
# Called with the booking's key, the song's (None on the booking's own page) and the key of whoever opened the page.
on_page_opened: list[Callable[[int, int | None, int], object]] = []
