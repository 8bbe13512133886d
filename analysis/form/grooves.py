"""The groove of each section as the guide drums play it: kick, snare and what keeps time, on the grid.

A section's groove is what is struck in the middle one of its bars, slot by slot, so that a fill or an accent in a few
bars does not count. The kick jumps in the lowest band, the snare in both bands from 2.5 kHz, whatever keeps time (hat,
ride or open hat: all are written as `hat`) in the highest. Where one is struck and where not is decided by the widest
gap between the slots' jumps. Sections of one letter that are played nearly alike have one groove: the middle one of all
their bars.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from analysis.core.chart_draft import SectionGroove
from analysis.core.reports import Section
from analysis.core.samples import Doubles, Flags
from analysis.features.bands import BAND_COUNT
from analysis.features.feature_arrays import Features
from analysis.form.drum_strokes import drum_jumps
from analysis.form.mix_drums import strikes_like_drums
from analysis.form.slots import Slots
from analysis.form.song_sound import FEWEST_PLAYERS

# All numbers here are house choices, found on songs whose grooves are known.
_KICK, _BODY, _BRIGHT, _HIGHEST = 0, 3, 4, 5  # bands
# Where the gap between struck and not struck may lie, in shares of the section's strongest slot.
_KICK_GAP, _SNARE_GAP, _HAT_GAP = (0.2, 0.5), (0.4, 0.65), (0.04, 0.25)
_FLOOR = 0.01
# A drum is not played in a section whose strongest slot has less than this share of the song's strongest section.
_LEAST_RE_SONG = 0.08
# Two sections of one letter play one groove if so many strokes at most are in one of them alone.
_STROKES_APART = 4
_DRUMS = ("kick", "snare", "hat")
_SILENT = 1e-9
# What keeps time repeats itself every two pulses: its jumps count half by themselves, half by what they repeat.
_REPEATS_PULSES, _REPEAT_WEIGHT = 2, 0.5


class DrumBars:
    """The jumps of every bar on a grid.

    `alone` says that the drums have files of their own: in a mix the band's chords on the bar line look like a snare.
    """

    def __init__(self, grid: Slots, drums: Sequence[Features], *, alone: bool) -> None:
        self.grid = grid
        self.jumps = drum_jumps(grid, drums)
        self.alone = alone

    def rows_of(self, section: Section) -> Flags:
        """Which rows of the grid are bars of this section."""
        number = self.grid.bars + 1
        return np.asarray((number >= section.start_bar) & (number < section.start_bar + section.bars))

    def groove_of(self, section: Section) -> Doubles:
        """Each slot's jump in the section's middle bar: shape (n_slots, n_bands); no slots past its longest bar."""
        held = int(self.grid.inside[self.rows_of(section)].sum(axis=1).max(initial=0))
        return _middle_bar([self._jumps_of(section, held)])

    def groove_of_all(self, sections: Sequence[Section], grooves: Sequence[Doubles]) -> Doubles:
        """The same of all these sections together, as strong as the first one is; `grooves` are their own."""
        held, strongest = len(grooves[0]), grooves[0].max(axis=0, initial=0.0)
        scales = [strongest / np.maximum(groove.max(axis=0, initial=0.0), _SILENT) for groove in grooves]
        return _middle_bar([scale * self._jumps_of(one, held) for one, scale in zip(sections, scales, strict=True)])

    def _jumps_of(self, section: Section, held: int) -> Doubles:
        """The jumps of its bars, in `held` slots; NaN where a bar has none."""
        rows = self.rows_of(section)
        return np.where(self.grid.inside[rows][:, :held, None], self.jumps[rows][:, :held], np.nan)


def drum_bars(grid: Slots, files: Sequence[tuple[Features, bool | None]]) -> DrumBars | None:
    """The bars as the guide drums play them; None for a song without.

    Parameters
    ----------
    grid : Slots
    files : sequence of (Features, bool or None)
        Each file of the music, and whether its sound says that it holds drums (None: can't tell). A player's own file
        is believed; of a mix, and of a file that can't tell, it is asked how it strikes on the grid.
    """
    players = len(files) >= FEWEST_PLAYERS
    drums = [
        features
        for features, present in files
        if (present if players and present is not None else strikes_like_drums(grid, features))
    ]
    return DrumBars(grid, drums, alone=len(drums) < len(files)) if drums else None


def _middle_bar(jumps: Sequence[Doubles]) -> Doubles:
    return np.asarray(np.nanmedian(np.concatenate(jumps), axis=0))


def find_grooves(bars: DrumBars, sections: Sequence[Section]) -> tuple[SectionGroove, ...]:
    """The groove of each section in which drums are played; sections count from 1."""
    own = [bars.groove_of(section) for section in sections]
    found = {groove.section: groove for groove in _written(bars, own)}
    together = []
    for number in range(1, len(sections) + 1):
        alike = [number, *_played_alike(number, sections, found)]
        alike = [one for one in alike if own[one - 1].shape == own[number - 1].shape]
        together.append(bars.groove_of_all([sections[one - 1] for one in alike], [own[one - 1] for one in alike]))
    return _written(bars, together)


def _played_alike(number: int, sections: Sequence[Section], found: Mapping[int, SectionGroove]) -> Iterator[int]:
    """The other sections of this one's letter whose grooves are this one's but for a few strokes."""
    if number in found:
        label, mine = sections[number - 1].label, _strokes(found[number])
        for other, groove in found.items():
            is_alike = sections[other - 1].label == label and len(mine ^ _strokes(groove)) <= _STROKES_APART
            if is_alike and other != number:
                yield other


def _strokes(groove: SectionGroove) -> set[tuple[str, float]]:
    return {(drum, beat) for drum in _DRUMS for beat in getattr(groove, drum)}


def _written(bars: DrumBars, usual: Sequence[Doubles]) -> tuple[SectionGroove, ...]:
    strongest_of = [groove.max(axis=0, initial=0.0) for groove in usual]
    loudest = np.max([np.zeros(BAND_COUNT), *strongest_of], axis=0)
    found = []
    for number, (groove, strongest) in enumerate(zip(usual, strongest_of, strict=True), 1):
        plays = strongest > _LEAST_RE_SONG * loudest
        if plays[_HIGHEST]:
            kick = _struck(bars.grid, groove[:, _KICK], _KICK_GAP, strongest[_KICK]) if plays[_KICK] else ()
            bright = _snare(groove, alone=bars.alone)
            snare = _struck(bars.grid, bright, _SNARE_GAP, bright.max()) if plays[_BODY] else ()
            time = _repeated(bars.grid, _without_snare(bars.grid, groove[:, _HIGHEST], snare))
            found.append(SectionGroove(number, kick, snare, _struck(bars.grid, time, _HAT_GAP, strongest[_HIGHEST])))
    return tuple(found)


def _snare(groove: Doubles, *, alone: bool) -> Doubles:
    shares = groove[:, _BRIGHT:] / (groove[:, _BRIGHT:].max(axis=0) + 1e-12)
    snare: Doubles = shares.min(axis=1)
    if not alone:
        snare[0] = 0.0
    return snare


def _without_snare(grid: Slots, jumps: Doubles, snare: Sequence[float]) -> Doubles:
    """Jumps, those under the snare as at the same place of other pulses: it is heard in the highest band too."""
    slots = round(grid.pulse_beats / (grid.beats[1] - grid.beats[0]))
    under = np.isin(np.round(grid.beats[: len(jumps)], 4), snare)
    found = jumps.copy()
    for place in np.flatnonzero(under):
        others = np.arange(len(jumps)) % slots == place % slots
        if (others & ~under).any():
            found[place] = min(jumps[place], float(jumps[others & ~under].mean()))
    return found


def _repeated(grid: Slots, jumps: Doubles) -> Doubles:
    """Jumps drawn towards what the same places of the other pairs of pulses have."""
    slots = round(_REPEATS_PULSES * grid.pulse_beats / (grid.beats[1] - grid.beats[0]))
    slots = slots // 2 if len(jumps) % slots else slots
    if len(jumps) % slots:
        return jumps
    logs = np.log(jumps + _FLOOR / 2 * jumps.max(initial=0.0) + 1e-12).reshape(-1, slots)
    drawn = (1 - _REPEAT_WEIGHT) * logs + _REPEAT_WEIGHT * logs.mean(axis=0)
    return np.asarray(np.exp(drawn).ravel())


def _struck(grid: Slots, jumps: Doubles, gap: tuple[float, float], strongest: float) -> tuple[float, ...]:
    """The beats above the widest gap, in ratio, between these two shares of the strongest."""
    if strongest <= 0:
        return ()
    shares = jumps / strongest
    least = _middle_of_gap(np.sort(shares), *gap)
    return tuple(round(float(beat), 4) for beat in grid.beats[: len(jumps)][shares > least])


def _middle_of_gap(shares: Doubles, lowest: float, highest: float) -> float:
    inside = np.concatenate([[lowest], shares[(shares > lowest) & (shares < highest)], [highest]])
    logs = np.log(inside + _FLOOR)
    widest = int(np.diff(logs).argmax())
    return float(np.exp((logs[widest] + logs[widest + 1]) / 2) - _FLOOR)
