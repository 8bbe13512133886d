"""The song's last bar: known endings, played by plucked tones whose places are known."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.form.bar_clock import BarClock
from analysis.form.last_bars import with_true_end
from analysis.tempo.evidence import Evidence, pool
from tests.analysis.playing import Samples, features_of, placed, pluck

BAR_S, BEATS, BARS = 2.0, 4, 12
BEAT_S = BAR_S / BEATS
SOUND = pluck(12, level=0.3)


def heard(samples: Samples) -> Evidence:
    music = pool([features_of(samples)])
    assert music is not None
    return music


def even_bars(bars: int) -> BarClock:
    return BarClock.even(np.asarray(np.arange(bars + 1) * BAR_S, np.float64))


def steady(bars: int) -> list[tuple[float, Samples]]:
    """A stroke on every beat of so many bars."""
    return [(beat * BEAT_S, SOUND) for beat in range(bars * BEATS)]


def test_a_last_chord_that_rings_has_one_bar() -> None:
    """Eleven bars are played, the twelfth holds one chord that rings for three bars; measuring counted 14."""
    ring = pluck(12, seconds=6.0, level=0.3)
    music = heard(placed([*steady(BARS - 1), ((BARS - 1) * BAR_S, ring)], BARS * BAR_S + 5))

    assert with_true_end(music, even_bars(14)).bars == BARS


def test_bars_that_are_played_to_their_end_stay() -> None:
    music = heard(placed(steady(BARS), BARS * BAR_S + 1))

    assert with_true_end(music, even_bars(BARS)).bars == BARS


def test_a_slowing_end_has_as_many_bars_as_are_played() -> None:
    """Two bars slow down, each beat longer by a tenth of a beat than the one before; then the last chord.

    By arithmetic the slowed beats last 1.1 to 1.8 beats, together 11.6: even bars would count one more.
    """
    lengths = BEAT_S * (1 + 0.1 * np.arange(1, 2 * BEATS + 1))
    start_s = (BARS - 3) * BAR_S
    slowed = start_s + np.concatenate([[0.0], np.cumsum(lengths)])
    notes = [*steady(BARS - 3), *((float(time), SOUND) for time in slowed)]
    clock = with_true_end(heard(placed(notes, float(slowed[-1]) + 3)), even_bars(BARS + 2))

    assert clock.bars == BARS
    assert clock.downbeats_s[-2] == pytest.approx(slowed[-1], abs=0.05)
    assert clock.downbeats_s[BARS - 2] == pytest.approx(slowed[BEATS], abs=0.06)


def test_a_given_map_is_not_slowed() -> None:
    lengths = BEAT_S * (1 + 0.1 * np.arange(1, 2 * BEATS + 1))
    slowed = (BARS - 3) * BAR_S + np.concatenate([[0.0], np.cumsum(lengths)])
    notes = [*steady(BARS - 3), *((float(time), SOUND) for time in slowed)]
    clock = with_true_end(heard(placed(notes, float(slowed[-1]) + 3)), even_bars(BARS + 2), may_slow=False)

    assert np.diff(clock.downbeats_s) == pytest.approx(BAR_S)


def test_a_fade_goes_on_to_its_end() -> None:
    """All twelve bars are played; the last six fade by 48 dB, where measuring had given up after ten."""
    samples = placed(steady(BARS), BARS * BAR_S)
    gain_db = np.interp(np.arange(len(samples)) / len(samples), [0.5, 1], [0, -48])
    music = heard(samples * 10 ** (gain_db / 20)[:, None])

    assert with_true_end(music, even_bars(10)).bars == BARS
