"""Files whose header names the wrong sample rate: the sound is right, but plays too fast or too slow, and off pitch.

A file that fits nothing as labelled is read as if made at another usual rate. If it then shares its sound with another
file, sample by sample, the label is wrong; a song that merely has another tempo would not.

Tested in `tests/analysis/lineup/test_compare_files.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.core.thresholds import Limits
from analysis.lineup.correlation import OffsetFinder
from analysis.lineup.starts import LONGEST_LAG_S, MOST_WINDOWS, REFERENCES_TRIED, WINDOW_S, Source, Start
from analysis.media.windows import choose_windows, read_window

# The rates that recordings are usually made at (house choice).
_USUAL_RATES_HZ = (44_100, 48_000, 88_200, 96_000)
# How well a length must fit once the label is put right: exports of one range differ by a rounded second at most
# (house choices).
_LENGTH_TOLERANCE = 0.01
_SAME_LENGTH_S = 0.5


def wrong_labels(sources: dict[int, Source], starts: Sequence[Start | None], limits: Limits) -> dict[int, int]:
    """Index → true rate in Hz of each file whose label is shown to be wrong."""
    found: dict[int, int] = {}
    for index, source in sources.items():
        if starts[index] is not None or _has_usual_length(source, sources):
            continue
        others = _others(index, sources, starts)
        for true_hz in _likely_rates(source, others):
            if any(_shares_sound(source, true_hz, other, limits) for other in others[:REFERENCES_TRIED]):
                found[index] = true_hz
                break
    return found


def _has_usual_length(source: Source, sources: dict[int, Source]) -> bool:
    """As long as most: whatever fits badly, it is not this file's label."""
    alike = sum(abs(source.duration_s - other.duration_s) < _SAME_LENGTH_S for other in sources.values())
    return 2 * alike > len(sources)


def _others(index: int, sources: dict[int, Source], starts: Sequence[Start | None]) -> list[Source]:
    """Those that are known to fit together first, and of these the loudest: it is most likely the mix."""
    others = [other for other in sources if other != index]
    others.sort(key=lambda other: (starts[other] is None, -sources[other].loudness_lufs))
    return [sources[other] for other in others]


def _likely_rates(source: Source, others: Sequence[Source]) -> list[int]:
    """Rates at which the file would be as long as another one."""
    likely = []
    for true_hz in _USUAL_RATES_HZ:
        corrected_s = source.duration_s * source.sample_rate_hz / true_hz
        fits = any(
            abs(corrected_s / other.duration_s - 1.0) < _LENGTH_TOLERANCE for other in others if other.duration_s
        )
        if true_hz != source.sample_rate_hz and fits:
            likely.append(true_hz)
    return likely


def _shares_sound(source: Source, true_hz: int, other: Source, limits: Limits) -> bool:
    rate_hz = other.sample_rate_hz
    frames = round(WINDOW_S * rate_hz)
    finder = OffsetFinder(frames, round(LONGEST_LAG_S * rate_hz))
    for start_s in choose_windows([other.activity], window_s=WINDOW_S, most=MOST_WINDOWS):
        reference = finder.spectrum(read_window(other.path, start_s, frames, rate_hz))
        finder.add(reference, finder.spectrum(read_window(source.path, start_s, frames, rate_hz, played_at_hz=true_hz)))
    offset = finder.finish()
    return offset is not None and offset.confidence >= limits.start_confidence
