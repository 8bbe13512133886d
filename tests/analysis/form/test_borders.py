"""Evidence of borders on bars whose likeness is given: the kernel's value by arithmetic, and where each kind peaks."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles
from analysis.form.bar_rows import SLOTS, BarRows
from analysis.form.borders import NUMBERS, border_numbers
from analysis.form.likeness import KEYS, Likeness

BARS, BORDER = 16, 8


def alike_in_blocks() -> Likeness:
    """Two sections of eight bars that have nothing in common."""
    block = np.arange(BARS) // BORDER
    same = (block[:, None] == block[None, :]).astype(np.float32)
    return Likeness(np.stack([same] + [np.zeros_like(same)] * (KEYS - 1)), same, same)


def plain_rows(players: Doubles | None = None) -> BarRows:
    return BarRows(
        harmony=np.zeros((BARS, SLOTS, 12)),
        bass=np.zeros((BARS, SLOTS, 12)),
        strokes=np.zeros((BARS, 16, 6)),
        level_db=np.zeros((BARS, SLOTS, 6)),
        loudness_db=np.zeros(BARS),
        players=np.zeros((BARS, 1)) if players is None else players,
    )


def column(numbers: Doubles, name: str) -> Doubles:
    found: Doubles = numbers[:, NUMBERS.index(name)]
    return found


def test_novelty_and_going_on_peak_at_the_border() -> None:
    numbers = border_numbers(plain_rows(), alike_in_blocks())

    assert numbers.shape == (BARS - 1, len(NUMBERS))
    for name in ("novelty harmony 4", "novelty rhythm 2", "novelty level 8", "not going on harmony"):
        assert column(numbers, name).argmax() == BORDER - 1
        assert column(numbers, f"{name}, above neighbours").argmax() == BORDER - 1


def test_a_player_who_enters_is_seen() -> None:
    """House rule: the mean of two bars before and after is compared, so the change is largest at the bar itself."""
    players = np.zeros((BARS, 2))
    players[BORDER:, 1] = 1.0

    assert column(border_numbers(plain_rows(players), alike_in_blocks()), "players change").argmax() == BORDER - 1


def test_a_repeat_begins_where_its_diagonal_does() -> None:
    """Bars 9 to 12 are bars 1 to 4 again; nothing else is alike."""
    same = np.eye(BARS, dtype=np.float32)
    for bar in range(4):
        same[bar, bar + 8] = same[bar + 8, bar] = 1.0
    alike = Likeness(np.stack([same] * KEYS), same, same)
    numbers = border_numbers(plain_rows(), alike)

    assert column(numbers, "start of a repeat 4").argmax() == 8 - 1
    assert column(numbers, "end of a repeat 4")[12 - 1] > np.median(column(numbers, "end of a repeat 4"))


def test_bars_that_are_all_alike_give_no_evidence() -> None:
    ones = np.ones((BARS, BARS), np.float32)
    numbers = border_numbers(plain_rows(), Likeness(np.stack([ones] * KEYS), ones, ones))

    inner = numbers[4 : BARS - 5]  # nothing is known beyond the song's ends

    assert np.abs(inner - inner.mean(axis=0)).max() < 1e-3
