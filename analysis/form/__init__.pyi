from .bar_clock import BarClock as BarClock
from .draft import Part as Part
from .draft import draft_chart as draft_chart
from .last_bars import with_true_end as with_true_end
from .sections import find_sections as find_sections
