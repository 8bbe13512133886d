"""What feel comes back of takes whose strokes are known: offset, spread and trend, by drum and by section.

`python -m bench delivery --feel N [--font FONT.sf2]` prints N takes of drums alone, each by its rough mix.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from analysis.core.samples import Doubles
from analysis.delivery.feel import feel_of_file
from analysis.delivery.feel_report import Offsets
from bench.delivery.hits import RATE_HZ
from bench.delivery.plans import plan_of
from bench.delivery.takes import DrumSet, kept

_STYLES = ("rock", "behind", "pulled", "ghosts", "tight", "waltz")
_BANDS = {"low": ("kick",), "middle": ("snare",), "high": ("hat", "open", "ride")}
_TREND_MS, _SONG_S = (0.0, 14.0, -14.0), 40.0


def print_feel(count: int, first_seed: int, folder: Path, font: str = "") -> None:
    print("\nFeel, said/true: median, spread, trend in ms; by drum, and the worst section")
    errors: dict[str, list[float]] = {"median": [], "spread": [], "trend": [], "section": []}
    for number in range(count):
        plan = plan_of(_STYLES[number % len(_STYLES)], first_seed + number, song_s=_SONG_S)
        player = replace(plan.player, trend_ms=_TREND_MS[number % len(_TREND_MS)])
        drum_set = kept(replace(plan, player=player, music_in_mix=False, font=font), folder)
        for line in _lines(drum_set, errors):
            print(line, flush=True)
    for name, found in errors.items():
        if found:
            print(f"  {name}: within {np.median(found):.1f} ms in the middle, {max(found):.1f} at most ({len(found)})")


def _lines(drum_set: DrumSet, errors: dict[str, list[float]]) -> Iterator[str]:
    with tempfile.TemporaryDirectory(prefix="feel-") as folder:
        path = Path(folder, "take.wav")
        soundfile.write(path, drum_set.mix, RATE_HZ, subtype="PCM_24")
        report = feel_of_file(path, drum_set.tempo_map)
    for said in report.overall:
        late, bars = _true(drum_set, said.band)
        median, spread, trend = _figures(late, bars)
        sections = [
            _section_error(drum_set, part.start_bar, part.bars, one)
            for part in report.sections
            for one in part.offsets
            if one.band == said.band
        ]
        errors["median"].append(abs(said.median_ms - median))
        errors["spread"].append(abs(said.spread_ms - spread))
        errors["section"] += sections
        if said.trend_ms is not None:
            errors["trend"].append(abs(said.trend_ms - trend))
        told = "not said" if said.trend_ms is None else f"{said.trend_ms:+.1f}"
        yield (
            f"  {drum_set.plan.player.name:<8}{said.band:<8}{said.attacks:>4} strokes  "
            f"{said.median_ms:+6.1f}/{median:+6.1f}  {said.spread_ms:5.1f}/{spread:5.1f}  {told:>8}/{trend:+6.1f}  "
            f"sections within {max(sections, default=0.0):.1f}"
        )


def _true(drum_set: DrumSet, band: str) -> tuple[Doubles, Doubles]:
    """Milliseconds late and bars of a band's strokes."""
    mine = [one for one in drum_set.strokes if one.drum in _BANDS[band]]
    return np.array([1000 * (one.time_s - one.due_s) for one in mine]), np.array([float(one.bar) for one in mine])


def _figures(late: Doubles, bars: Doubles) -> tuple[float, float, float]:
    low, middle, high = np.quantile(late, (0.16, 0.5, 0.84))
    slope = float(np.polyfit(bars, late, 1)[0])
    return float(middle), float(high - low) / 2, slope * float(np.ptp(bars))


def _section_error(drum_set: DrumSet, first: int, bars: int, said: Offsets) -> float:
    late, at = _true(drum_set, said.band)
    inside = late[(at >= first) & (at < first + bars)]
    return abs(said.median_ms - float(np.median(inside))) if len(inside) else 0.0
