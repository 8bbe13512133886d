"""Does the click sing in the drum microphones, and how loud? Asked where there is a tempo map.

A programmed part lies on the grid to the sample too: what is nearly as loud as the track itself is no bleed.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.core.sentences import written
from analysis.core.units import amplitude_from_db, dbfs_from_amplitude, seconds_as_clock
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet

# From this level on bleed has to be found, or the check says that it cannot tell (house choice).
_FROM_DBFS = -60.0
# Strokes so near to the loudest of the track are no bleed: a program placed them on the grid (house choice).
_STROKES_DB = 20.0


def click_bleed(measured: MeasuredSet) -> Iterator[Check]:
    """Where there is a map: in which tracks a click is heard, and in which nobody could hear one."""
    bleeds = [(track, track.bleed) for track in measured.microphones if track.bleed is not None]
    if not bleeds:
        return
    unheard, singing = [], 0
    for track, bleed in bleeds:
        if bleed.level is not None and bleed.level < track.peak * amplitude_from_db(-_STROKES_DB):
            singing += 1
            yield _sings(track.file, bleed.level, measured)
        elif bleed.level is not None or bleed.heard_from is None or bleed.heard_from > amplitude_from_db(_FROM_DBFS):
            unheard.append(track.file)
    if unheard:
        words = f"Can't tell whether the click is in {', '.join(unheard)}: the strokes cover it."
        yield Check("click-bleed", None, passed=True, limit=_FROM_DBFS, message=words, undecided=True)
    elif not singing:
        words = f"The click is in no track, from {written('_dbfs', _FROM_DBFS)} on."
        yield Check("click-bleed", None, passed=True, limit=_FROM_DBFS, message=words)


def _sings(file: str, level: float, measured: MeasuredSet) -> Check:
    level_dbfs = round(dbfs_from_amplitude(level) or 0.0, 1)
    tempo_map = measured.song.tempo_map
    place_s = float(tempo_map.bar_one_s) if tempo_map else None
    words = (
        f"The click is in {file}, peaking at {written('_dbfs', level_dbfs)}, on the map's beats "
        f"from bar 1 ({seconds_as_clock(place_s or 0.0)}) on."
    )
    return Check("click-bleed", file, passed=False, value=level_dbfs, limit=_FROM_DBFS, message=words, place_s=place_s)
