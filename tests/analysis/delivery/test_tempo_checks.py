"""Strokes that keep the map's tempo, and those of another song, another tempo, a wrong rate, or with a cut.

Expected tempi are the ones that the strokes are laid out with; rate ratios are arithmetic (44 100 / 48 000 = 0.91875).
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.delivery.check_results import Check
from analysis.delivery.map_tempo import played_tempo
from analysis.delivery.own_strokes import Strokes, own_strokes, strokes_of_kit
from analysis.delivery.tempo_checks import tempo_checks
from analysis.maps.tempo_map import TempoMap
from tests.analysis.playing import RATE_HZ, features_of, placed

MAP = TempoMap.constant(112, "4/4", 1)


def eighths(bpm: float, *, count: int = 160, scatter_s: float = 0.012, seed: int = 1, start_s: float = 1.0) -> Doubles:
    """Eighths with a human scatter of 12 ms, some left out."""
    rng = np.random.default_rng(seed)
    times = start_s + np.arange(count) * 30 / bpm + rng.normal(0, scatter_s, count)
    return np.asarray(np.sort(times[rng.random(count) < 0.8]))


def checks_of(times_s: Doubles, tempo_map: TempoMap = MAP) -> list[Check]:
    return tempo_checks(Strokes(times_s, np.ones(len(times_s)), close=True), tempo_map)


@pytest.mark.parametrize("late_s", [-0.02, 0.0, 0.02])
def test_playing_to_the_map_passes_with_its_tempo(late_s: float) -> None:
    (check,) = checks_of(eighths(112) + late_s)

    assert check.passed
    assert not check.undecided
    assert check.value == pytest.approx(112, abs=0.1)
    assert check.low is not None
    assert check.high is not None
    assert check.low < 112 < check.high


@pytest.mark.parametrize("bpm", [111.7, 112.3, 110, 96, 126, 150])
def test_another_tempo_is_named(bpm: float) -> None:
    (check,) = checks_of(eighths(bpm))

    assert (check.code, check.passed) == ("tempo", False)
    assert check.value == pytest.approx(bpm, abs=0.1)


@pytest.mark.parametrize("ratio", [44_100 / 48_000, 48_000 / 44_100])
def test_a_wrong_rate_is_named_before_a_wrong_tempo(ratio: float) -> None:
    (check,) = checks_of(eighths(112 * ratio, scatter_s=0.004))

    assert (check.code, check.passed) == ("speed", False)
    assert check.value == pytest.approx(ratio, rel=0.0005)


@pytest.mark.parametrize("ratio", [44_100 / 48_000, 48_000 / 44_100])
def test_a_player_who_drifts_at_a_wrong_rate(ratio: float) -> None:
    """25 ms over 17 s of playing is how people drift; 0.15 % of the tempo is no other tempo."""
    times = eighths(112 * ratio, count=64, scatter_s=0.004)
    (check,) = checks_of(times + 0.025 * (times - 1) / 17)

    assert (check.code, check.passed) == ("speed", False)


@pytest.mark.parametrize("ratio", [44_100 / 48_000, 48_000 / 44_100])
def test_a_wrong_rate_in_a_beat_of_three_parts(ratio: float) -> None:
    """Strokes on thirds lie on halves of a tempo that is half as fast again: the map's 6/8 says what is counted."""
    bars, thirds = np.arange(12)[:, None] * 2.0, np.array([0, 1, 2, 3, 4, 5, 0, 5, 3]) / 3
    beats = np.sort((bars + thirds).ravel())
    (check,) = checks_of(1 / ratio + beats * 60 / (60 * ratio), TempoMap.constant(60, "6/8", 1))

    assert (check.code, check.passed) == ("speed", False)
    assert check.value == pytest.approx(ratio, rel=0.0005)


def test_a_cut_in_the_middle_is_a_jump_and_no_tempo() -> None:
    times = eighths(112)
    times[times > 22] += 0.04
    (check,) = checks_of(times)

    assert (check.code, check.passed, check.value) == ("break", False, pytest.approx(40, abs=6))
    assert check.place_s == pytest.approx(22, abs=1)


def change_at(bar: int) -> tuple[TempoMap, float]:
    """A map at 112, from this bar on at 120; and the time of the change."""
    change_s = 1 + (bar - 1) * 240 / 112
    segments = [
        {"bar": 1, "time_s": 1, "bpm": 112, "meter": "4/4"},
        {"bar": bar, "time_s": change_s, "bpm": 120, "meter": "4/4"},
    ]
    return TempoMap.from_json({"segments": segments}), change_s


@pytest.mark.parametrize(("change_bar", "strokes"), [(11, 200), (14, 113)])
def test_a_change_of_tempo_that_was_played_through(change_bar: int, strokes: int) -> None:
    """112 is played on, for 21 s or for the last 8 s."""
    tempo_map, change_s = change_at(change_bar)
    (check,) = checks_of(eighths(112)[:strokes], tempo_map)

    assert (check.code, check.passed, check.value) == ("tempo", False, pytest.approx(112, rel=0.003))
    assert check.place_s == pytest.approx(change_s, abs=1)


def test_a_change_of_tempo_by_as_much_as_a_wrong_rate() -> None:
    """90 is played on at 98: 90 / 98 = 0.9184, and 44.1 / 48 = 0.9188. But a wrong rate spares no bar."""
    change_s = 1 + 10 * 240 / 90
    segments = [
        {"bar": 1, "time_s": 1, "bpm": 90, "meter": "4/4"},
        {"bar": 11, "time_s": change_s, "bpm": 98, "meter": "4/4"},
    ]
    (check,) = checks_of(eighths(90, scatter_s=0.006), TempoMap.from_json({"segments": segments}))

    assert (check.code, check.passed, check.value) == ("tempo", False, pytest.approx(90, rel=0.003))
    assert check.place_s == pytest.approx(change_s, abs=1)


def test_a_change_that_a_few_strokes_were_played_through_assures_nobody() -> None:
    """Thirteen strokes are too few for a tempo; that they do not lie where the others do shows all the same."""
    tempo_map, _ = change_at(14)
    (through,) = checks_of(eighths(112)[:103], tempo_map)
    followed = np.concatenate([eighths(112)[:89], 1 + 13 * 240 / 112 + np.arange(13) * 0.25])
    (kept,) = checks_of(followed, tempo_map)

    assert (through.passed, through.undecided) == (True, True)
    assert (kept.passed, kept.undecided) == (True, False)


@pytest.mark.parametrize("times", [np.zeros(0), np.sort(np.random.default_rng(3).uniform(0, 60, 200))])
def test_what_has_no_tempo_assures_nobody(times: Doubles) -> None:
    (check,) = checks_of(times)

    assert (check.passed, check.undecided) == (True, True)
    assert "Can't tell" in check.message


def waltz(bpm: float, *, bars: int = 12, start_s: float = 1.0) -> Doubles:
    """A hat on every eighth of three, a kick or a snare on each beat: two strokes on beats, one between."""
    rng = np.random.default_rng(4)
    beats = np.repeat(np.arange(0, 3 * bars, 0.5), [2, 1] * 3 * bars)
    return np.asarray(np.sort(start_s + beats * 60 / bpm + rng.normal(0, 0.006, len(beats))))


@pytest.mark.parametrize("bpm", [60, 70, 112, 145, 160])
def test_another_song_is_counted_as_its_own_strokes_say(bpm: int) -> None:
    """Beats at 96 with strokes between: nothing falls on half of them alone, and 192 is no pace that people count."""
    (check,) = checks_of(waltz(96), TempoMap.constant(bpm, "4/4", 1))

    assert (check.code, check.passed, check.value) == ("tempo", False, pytest.approx(96, abs=0.1))


@pytest.mark.parametrize("start_s", [1.0, 1.017, 1.033, 1.05, 1.067, 1.083, 1.1, 1.117])
def test_another_tempo_is_named_wherever_its_beats_lie(start_s: float) -> None:
    """A sixteenth at 104 BPM is 144 ms: the strokes lie anywhere between those that are counted."""
    (check,) = checks_of(eighths(104, count=36, scatter_s=0.005, start_s=start_s))

    assert (check.code, check.passed, check.value) == ("tempo", False, pytest.approx(104, abs=0.1))


def test_strokes_too_loose_to_tell_assure_nobody() -> None:
    """Twelve seconds, 50 ms later at the end, with a scatter of 35 ms: a way of playing, or another tempo."""
    times = eighths(112, count=45, scatter_s=0.035, seed=2)
    (check,) = checks_of(times + np.linspace(0, 0.05, len(times)))

    assert (check.passed, check.undecided) == (True, True)
    assert "too loose" in check.message


def test_a_player_who_drifts_by_a_few_milliseconds_keeps_the_tempo() -> None:
    times = eighths(112)

    assert all(check.passed for check in checks_of(times + np.linspace(-0.008, 0.008, len(times))))


def test_triplets_are_no_other_tempo() -> None:
    times = 1 + np.arange(180) * 20 / 112

    assert played_tempo((times - 1) * 112 / 60, 112) == pytest.approx(1, abs=1e-3)


def kick_and_bleed() -> Doubles:
    """A kick on every beat at 120; a quieter snare between."""
    time = np.arange(int(0.1 * RATE_HZ)) / RATE_HZ
    kick = np.sin(2 * np.pi * 60 * time + 0.5) * np.exp(-time / 0.03)
    return np.asarray(placed([(1 + beat * 0.25, kick * (0.8 if beat % 2 == 0 else 0.08)) for beat in range(64)], 20))


def test_strokes_of_a_track_are_those_of_its_own_drum() -> None:
    times, loudness = own_strokes(features_of(kick_and_bleed()))

    assert times == pytest.approx(1 + np.arange(32) * 0.5, abs=0.001)
    assert loudness.max() == 1


def test_close_microphones_are_asked_before_rooms() -> None:
    near = features_of(kick_and_bleed())
    far = features_of(np.concatenate([np.zeros((480, 1)), kick_and_bleed()]))

    kit = strokes_of_kit({"KickIn": near, "RmMono": far}, MAP)
    rooms = strokes_of_kit({"RmMono": far}, MAP)

    assert (kit.close, rooms.close) == (True, False)
    assert len(kit.times_s) == 32
    assert rooms.times_s[0] - kit.times_s[0] == pytest.approx(0.01, abs=0.001)
