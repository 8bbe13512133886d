"""Who plays where: stems whose bars are loud or silent by construction, at 120 BPM in 4/4, so a bar lasts 2 s."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.chart_draft import Entry
from analysis.core.reports import Section
from analysis.features.feature_arrays import Features
from analysis.measuring.players import entries_of

BAR_S = 2.0
SECTIONS = (Section(1, 4, "A"), Section(5, 4, "B"), Section(9, 2, "C"))
DOWNBEATS_S = np.arange(11, dtype=np.float64) * np.float64(BAR_S)


def playing(*bars: int, level_db: float = -20.0, elsewhere_db: float = -120.0) -> Features:
    """One mean square for each millisecond: at `level_db` in these bars (from 1)."""
    energy = np.full(round(10 * BAR_S * 1000), 10 ** (elsewhere_db / 10), np.float32)
    for bar in bars:
        energy[round((bar - 1) * BAR_S * 1000) : round(bar * BAR_S * 1000)] = 10 ** (level_db / 10)
    return Features(48_000, round(10 * BAR_S * 48_000), 100.0, 20.0, 1000.0, energy_1ms=energy)


ALL = tuple(range(1, 11))


def test_who_enters_and_who_leaves() -> None:
    files = [
        ("Wet Stairs_keys.wav", playing(*ALL)),
        ("Wet Stairs_bass.wav", playing(*range(5, 11))),
        ("Wet Stairs_vox.wav", playing(*range(1, 9))),
        ("Wet Stairs_rough mix.wav", playing(*ALL)),
    ]

    players, entries = entries_of(files, DOWNBEATS_S, SECTIONS)

    assert players == ("keys", "bass", "voices")
    assert entries == (
        Entry(1, "keys"),
        Entry(1, "voices"),
        Entry(2, "bass"),
        Entry(3, "voices", enters=False),
    )


def test_where_all_play_from_the_beginning_nobody_enters_there() -> None:
    files = [("a_keys.wav", playing(*ALL)), ("a_bass.wav", playing(*range(1, 9)))]

    assert entries_of(files, DOWNBEATS_S, SECTIONS)[1] == (Entry(3, "bass", enters=False),)


def test_files_of_one_role_are_one_player() -> None:
    files = [
        ("keys left.wav", playing(1, 2, 3, 4)),
        ("keys right.wav", playing(*range(5, 11))),
        ("bass.wav", playing(*ALL)),
    ]

    assert entries_of(files, DOWNBEATS_S, SECTIONS) == (("keys", "bass"), ())


def test_a_file_without_a_role_is_called_by_its_own_words() -> None:
    files = [("Wet_Stairs_lead.wav", playing(*range(5, 11))), ("Wet_Stairs_keys.wav", playing(*ALL))]

    assert entries_of(files, DOWNBEATS_S, SECTIONS)[1] == (Entry(1, "keys"), Entry(2, "lead"))


@pytest.mark.parametrize(
    ("bars", "elsewhere_db"),
    [((5, 6, 7, 8), -60.0), ((5, 6), -120.0)],
    ids=["spill 40 dB down is nobody", "half of the bars is playing"],
)
def test_spill_and_parts_of_a_section(bars: tuple[int, ...], elsewhere_db: float) -> None:
    files = [("keys.wav", playing(*ALL)), ("bass.wav", playing(*bars, elsewhere_db=elsewhere_db))]

    entries = entries_of(files, DOWNBEATS_S, SECTIONS)[1]

    assert entries == (Entry(1, "keys"), Entry(2, "bass"), Entry(3, "bass", enters=False))


def test_one_file_or_no_section_has_nothing_to_say() -> None:
    one = [("keys.wav", playing(*ALL))]
    assert entries_of(one, DOWNBEATS_S, SECTIONS) == ((), ())
    assert entries_of([*one, ("rough mix.wav", playing(*ALL))], DOWNBEATS_S, SECTIONS) == ((), ())
    assert entries_of([*one, ("bass.wav", playing(*ALL))], DOWNBEATS_S, ()) == ((), ())
    assert entries_of([*one, ("bass.wav", playing())], DOWNBEATS_S, SECTIONS) == ((), ())
