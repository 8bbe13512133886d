"""What later apps do when a chart is saved. They append from `AppConfig.ready()`: see bookings/hooks.py."""

from collections.abc import Callable

# Called with the song's key when a version of its chart is saved, inside that transaction.
on_chart_saved: list[Callable[[int], object]] = []
