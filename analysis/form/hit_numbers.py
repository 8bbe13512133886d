"""What is known of every slot of every bar before it is called a hit or not: a few numbers from 0 to about 1.

Each bar is compared with those around it, slot by slot and player by player, so that what the groove always accents is
no hit. What the figure's bar has and they have not, what they have and it lacks, which players changed and whether
those struck together: that is what the numbers say.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Flags
from analysis.form.slots import Slots, levels_on, over_frames, strokes_on
from analysis.form.song_sound import SongSound

# All numbers here are house choices.
_NEIGHBOURS = 4  # bars before and after
_PLAYS, _EXPECTED = 0.25, 0.3  # a stroke this strong (1 is a strong one of this player)
_LITTLE = 0.3  # strokes of a bar that do not count
_TIED, _MOSTLY = 0.6, 0.5
_TINY = 1e-9
_MOST_DB = 20.0
_LEAST_LOUDER_DB = -10.0
# A cymbal rings in these frames after its stroke; what keeps time has died away by then.
_RINGING = range(10, 35)

# In the order in which `hit_numbers` gives them: the weights are stored by these names.
NUMBERS = (
    "pulse struck early",
    "weaker than the bar's strongest",
    "struck in a bar that lacks much",
    "new among changed players",
    "changed players",
    "of the bar's strongest",
    "slots that are much weaker",
    "struck together",
    "bar more together than its neighbours",
    "bar lacks",
    "fall after it",
    "next bar's start missing",
    "strongest new stroke of the bar",
    "share of all players' strongest",
    "off the pulse",
    "share of the bar's newest",
    "missing afterwards",
    "bar quieter than its neighbours",
    "gaps quieter than the neighbours'",
    "strong in a bar of changes",
    "new in a bar of changes",
    "louder than usual here",
    "quieter after it than usual",
    "quieter before it than usual",
    "cymbal rings",
    "struck by the whole song",
    "struck by the whole song, new",
)


@dataclass(frozen=True)
class _Bars:
    """Strokes of each bar, slot and player beside what the bars before and after usually have there.

    `least` and `most` are the smaller and the larger of the two; all have shape (n_bars, n_slots, n_players).
    """

    strokes: Doubles
    before: Doubles
    after: Doubles
    plays: Flags  # (n_bars, n_players)

    @property
    def least(self) -> Doubles:
        return np.nan_to_num(np.fmin(self.before, self.after))

    @property
    def most(self) -> Doubles:
        return np.fmax(self.before, self.after)

    @property
    def new(self) -> Doubles:
        """How much stronger than usual."""
        return np.nan_to_num(np.maximum(self.strokes - self.most, 0))

    def mean(self, values: Doubles) -> Doubles:
        """Over the players of each bar: shape (n_bars, n_slots)."""
        plays = self.plays[:, None, :]
        means: Doubles = np.where(plays, np.nan_to_num(values), 0).sum(axis=2) / np.maximum(plays.sum(axis=2), 1)
        return means


def hit_numbers(grid: Slots, sound: SongSound) -> Doubles:
    """Numbers of each slot.

    Parameters
    ----------
    grid : Slots
        Of at least two bars.
    sound : SongSound

    Returns
    -------
    float64 array, shape (n_bars, n_slots, n_numbers)
        In the order of `NUMBERS`; 0 past a bar's end.
    """
    strokes = strokes_on(grid, sound.struck)
    bars = _Bars(strokes, *usual_beside(strokes), np.nan_to_num(strokes).max(axis=1) > _PLAYS)
    named = _of_players(grid, bars) | _of_changed_players(grid, bars) | _of_levels(grid, sound) | _of_whole(grid, sound)
    changed = named["changed players"]
    named["strong in a bar of changes"] = changed * named["of the bar's strongest"]
    named["new in a bar of changes"] = changed * named["share of the bar's newest"]
    columns = [np.broadcast_to(named[name], grid.times_s.shape) for name in NUMBERS]
    return np.where(grid.inside[:, :, None], np.nan_to_num(np.stack(columns, axis=2)), 0.0)


def usual_beside(rows: Doubles) -> tuple[Doubles, Doubles]:
    """What the bars before and the bars after each bar have in most cases.

    Parameters
    ----------
    rows : float64 array, shape (n_bars, ...)
        NaN counts for nothing.

    Returns
    -------
    two float64 arrays, shape (n_bars, ...)
        Medians; NaN where there is no bar.
    """
    padded = np.concatenate([np.full((_NEIGHBOURS, *rows.shape[1:]), np.nan)] * 2)
    padded = np.concatenate([padded[:_NEIGHBOURS], rows, padded[:_NEIGHBOURS]])
    windows = np.lib.stride_tricks.sliding_window_view(padded, _NEIGHBOURS, axis=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a bar without neighbours has no median
        medians = np.nanmedian(windows, axis=-1)
    return medians[: len(rows)], medians[_NEIGHBOURS + 1 :]


def _of_players(grid: Slots, bars: _Bars) -> dict[str, Doubles]:
    """What all players do together."""
    together, new = bars.mean(bars.strokes), bars.mean(bars.new)
    lacks = _lacking(bars)
    bar_lacks = np.minimum(lacks.sum(axis=1) / (bars.least.mean(axis=2).sum(axis=1) + _LITTLE), 3)[:, None]
    newest, strongest = new.max(axis=1, keepdims=True), together.max(axis=1, keepdims=True)
    next_missing = np.append(lacks[1:, 0], 0.0)[:, None]
    to_come = np.cumsum(lacks[:, ::-1], axis=1)[:, ::-1] - lacks
    return {
        "pulse struck early": _struck_early(grid, bars),
        "struck together": together,
        "struck in a bar that lacks much": together * bar_lacks,
        "bar lacks": bar_lacks,
        "next bar's start missing": next_missing,
        "missing afterwards": np.minimum(to_come + next_missing, 3),
        "strongest new stroke of the bar": newest,
        "share of the bar's newest": new / (newest + _TINY),
        "share of all players' strongest": together / (strongest + _TINY),
        "off the pulse": ~grid.on_pulse[None, :] * 1.0,
    }


def _lacking(bars: _Bars) -> Doubles:
    """Strokes that the bars before and after have and this one has not, over the players who usually play there."""
    expected = bars.least.max(axis=1) > _PLAYS
    missing = np.maximum(np.nan_to_num(bars.least - bars.strokes), 0) * expected[:, None, :]
    lacking: Doubles = missing.sum(axis=2) / np.maximum(expected.sum(axis=1), 1)[:, None]
    return lacking


def _struck_early(grid: Slots, bars: _Bars) -> Doubles:
    """A stroke between pulses by those who then leave out the pulse that they usually strike."""
    count, slots = grid.times_s.shape
    found = np.zeros((count, slots))
    new, strokes = np.minimum(bars.new, 1), np.nan_to_num(bars.strokes)
    following = np.nan_to_num(bars.after)
    for row in range(count):
        last = int(grid.inside[row].sum())
        for slot in np.flatnonzero(~grid.on_pulse[:last]):
            coming = np.flatnonzero(grid.on_pulse[slot:last])
            if len(coming):
                usual, here = bars.least[row, slot + coming[0]], strokes[row, slot + coming[0]]
            elif row + 1 < count:
                usual, here = following[row + 1, 0], strokes[row + 1, 0]
            else:
                continue
            strikes = usual > _EXPECTED
            early = new[row, slot] * np.clip(usual - here, 0, 1) * strikes
            found[row, slot] = early.sum() / max(strikes.sum(), 1)
    return found


def _of_changed_players(grid: Slots, bars: _Bars) -> dict[str, Doubles]:
    """What those players do whose bar differs from their bars around it."""
    changes = _changes(bars)
    weights = (changes / (changes.sum(axis=1, keepdims=True) + _TINY))[:, None, :]
    mine = (weights * np.nan_to_num(np.minimum(bars.strokes, 1))).sum(axis=2)
    of_strongest = mine / (mine.max(axis=1, keepdims=True) + _TINY)
    weak = np.where(grid.inside, of_strongest < _MOSTLY, 0).sum(axis=1) / grid.inside.sum(axis=1)
    return {
        "changed players": (changes.sum(axis=1) / np.maximum(bars.plays.sum(axis=1), 1))[:, None],
        "new among changed players": (weights * bars.new).sum(axis=2),
        "of the bar's strongest": of_strongest,
        "weaker than the bar's strongest": np.maximum(_TIED - of_strongest, 0),
        "slots that are much weaker": weak[:, None],
        "bar more together than its neighbours": _more_together(bars),
    }


def _changes(bars: _Bars) -> Doubles:
    """How far each player's bar is from those around it, beyond how far that player's bars usually are: 0 to 1."""
    apart = []
    for usual in (bars.before, bars.after):
        sizes = np.nan_to_num(np.maximum(bars.strokes, usual)).sum(axis=1) + _LITTLE
        differ = np.nan_to_num(np.abs(bars.strokes - usual)).sum(axis=1) / sizes
        apart.append(np.where(np.isnan(usual).all(axis=1), np.inf, differ))
    nearest = np.minimum(*apart)
    nearest[np.isinf(nearest)] = 0.0
    usually = np.median(nearest, axis=0)
    changes: Doubles = np.clip((nearest - usually) / (1 - usually + _TINY), 0, 1) * bars.plays
    return changes


def _more_together(bars: _Bars) -> Doubles:
    """How alike the players' rhythms are, 1 for all the same, less what the neighbours' bars have."""
    mean = bars.mean(bars.strokes)
    squares = bars.mean(np.nan_to_num(bars.strokes) ** 2)
    alike = (mean**2).sum(axis=1) / (squares.sum(axis=1) + _TINY)
    return _re_neighbours(alike)[:, None]


def _re_neighbours(values: Doubles) -> Doubles:
    before, after = usual_beside(values)
    differ: Doubles = values - np.where(
        np.isnan(before), after, np.where(np.isnan(after), before, (before + after) / 2)
    )
    return differ


def _of_levels(grid: Slots, sound: SongSound) -> dict[str, Doubles]:
    """How loud it is, in tens of decibels."""
    loud, quiet = levels_on(grid, sound.level_db)
    usual_quiet = np.fmin(*usual_beside(quiet))
    quieter = np.clip(usual_quiet - quiet, -_MOST_DB, 2 * _MOST_DB)
    loudest = np.nanmax(loud, axis=1)
    ringing = over_frames(sound.air_db, grid.at_frame, _RINGING).mean(axis=0)
    return {
        "fall after it": np.clip(loud - quiet, 0, 2 * _MOST_DB) / 10,
        "gaps quieter than the neighbours'": np.nan_to_num(np.nanmean(quieter, axis=1))[:, None] / 10,
        "bar quieter than its neighbours": np.clip(-_re_neighbours(loudest), -_MOST_DB, _MOST_DB)[:, None] / 10,
        "louder than usual here": _above_usual(loud),
        "quieter after it than usual": quieter / 10,
        "quieter before it than usual": _slot_before(np.nan_to_num(quieter)) / 10,
        "cymbal rings": _above_usual(np.where(grid.inside, ringing, np.nan)),
    }


def _above_usual(level_db: Doubles) -> Doubles:
    """How far above the louder of what the bars before and after have there, in tens of decibels."""
    louder: Doubles = np.clip(level_db - np.fmax(*usual_beside(level_db)), _LEAST_LOUDER_DB, _MOST_DB) / 10
    return louder


def _slot_before(values: Doubles) -> Doubles:
    """Of each slot, what the one before it has; before a bar's first lies the last of the bar before."""
    return np.concatenate([[0.0], values.ravel()[:-1]]).reshape(values.shape)


def _of_whole(grid: Slots, sound: SongSound) -> dict[str, Doubles]:
    """Strokes of all files together, in shares of a strong one of the song."""
    struck = strokes_on(grid, sound.strength[:, None])[:, :, 0]
    usual = np.nan_to_num(np.fmax(*usual_beside(struck)))
    return {"struck by the whole song": struck, "struck by the whole song, new": np.maximum(struck - usual, 0)}
