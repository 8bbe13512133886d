"""Which levels a headphone balance holds, and what may be in them. Anything else that is sent is left out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from analysis.core import OTHER, WORDS

# At the lowest a part is off; the highest are above the file's own level. The browser holds the sum of all under its
# ceiling (static/js/kit/balance.js). House choices.
LOWEST_DB, HIGHEST_DB = -48.0, 12.0


def clean_levels(sent: Any, *, lane_ids: Iterable[int]) -> dict[str, Any]:
    """`click` and `music` in dB, `groups` by role, `lanes` by file, and what is switched: `mono`, `without_drums`."""
    given = sent if isinstance(sent, Mapping) else {}
    numbers = {name: _level(given[name]) for name in ("click", "music") if name in given}
    return {
        **{name: level for name, level in numbers.items() if level is not None},
        "groups": _levels_in(given.get("groups"), {*WORDS, OTHER}),
        "lanes": _levels_in(given.get("lanes"), {str(one) for one in lane_ids}),
        "mono": given.get("mono") is True,
        "without_drums": given.get("without_drums") is True,
    }


def _levels_in(sent: Any, names: set[str]) -> dict[str, float]:
    given = sent if isinstance(sent, Mapping) else {}
    levels = {str(name): _level(value) for name, value in given.items() if str(name) in names}
    return {name: level for name, level in levels.items() if level is not None}


def _level(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:  # NaN is not itself
        return None
    return float(min(max(value, LOWEST_DB), HIGHEST_DB))
