"""Where a rough mix lies in its song: known places, moved by whole samples; and its feel from there."""

from pathlib import Path

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.handover.place_report import TakePlace
from analysis.handover.take_place import place_take
from analysis.maps.tempo_map import TempoMap
from tests import signals
from tests.analysis.encoded import write_sound
from tests.analysis.playing import RATE_HZ, placed

LATE_S, SECONDS = 0.012, 40.0
# 100 BPM, bar one 1 s into the client's files.
MAP = TempoMap.constant(100, "4/4", 1)


def drums(begins_s: float, seconds: float = SECONDS) -> Samples:
    """A stroke on every half beat, 12 ms late, as it lies in a file that begins at `begins_s` of the song."""
    rng = np.random.default_rng(5)
    sound = 0.4 * rng.normal(0, 1, 2_400) * np.exp(-np.arange(2_400) / 500)
    times_s = [1 + LATE_S + 0.3 * beat - begins_s for beat in range(int((seconds - 4) / 0.3))]
    return placed([(time_s, sound) for time_s in times_s if time_s > 0], seconds)


def music() -> Samples:
    """Notes of noise, not on the beats: of its own rhythm nothing is to be learned."""
    rng = np.random.default_rng(11)
    return placed(
        [
            (float(at_s), 0.1 * signals.noise(duration_s=0.4, seed=n)[:, 0])
            for n, at_s in enumerate(np.sort(rng.uniform(0.2, SECONDS - 2, 60)))
        ],
        SECONDS,
    )


def place(tmp_path: Path, mix: Samples, known_s: tuple[float, ...], *, over: Samples | None = None) -> TakePlace:
    path = write_sound(tmp_path / "mix.wav", mix, RATE_HZ)
    under = None if over is None else write_sound(tmp_path / "music.wav", over, RATE_HZ)
    return place_take(path, known_s=known_s, music=under, tempo_map=MAP)


@pytest.mark.parametrize("frames", [0, -93_117, 30_011])
def test_a_mix_with_the_music_in_it_is_placed_to_the_sample(tmp_path: Path, frames: int) -> None:
    """It begins so many frames after the client's files, which nobody said. Source: it was cut there."""
    sound = music()
    begins_s = frames / RATE_HZ
    own = np.concatenate([np.zeros((max(0, -frames), 1)), 0.5 * sound[max(0, frames) :]])
    strokes = drums(begins_s)
    mix = strokes[: len(own)] + own[: len(strokes)]
    found = place(tmp_path, mix, (0.0,), over=sound)

    assert (found.found_by, found.begins_frames) == ("sound", frames)
    assert found.low_frames is not None
    assert found.high_frames is not None
    assert found.low_frames <= frames <= found.high_frames


def test_drums_alone_are_placed_by_the_map_among_known_places(tmp_path: Path) -> None:
    """The session begins two bars of 112 before: 4.2857 s, no whole number of half beats at 100."""
    session_s = -4.2857
    found = place(tmp_path, drums(session_s), (0.0, session_s), over=music())

    assert (found.found_by, found.begins_s) == ("map", session_s)
    assert found.feel is not None
    assert [one.median_ms for one in found.feel.overall] == pytest.approx([1000 * LATE_S], abs=1.0)


def test_a_steady_distance_is_a_feel_and_moves_nothing(tmp_path: Path) -> None:
    found = place(tmp_path, drums(0.0), (0.0,))

    assert (found.found_by, found.begins_s, found.begins_frames) == ("stated", 0.0, None)
    assert found.feel is not None
    assert [section.start_bar for section in found.feel.sections] == [1, 9]


def test_without_strokes_or_without_a_map_it_says_so(tmp_path: Path) -> None:
    silent = place(tmp_path, np.zeros((RATE_HZ, 1)), (0.5, 0.0))
    assert (silent.begins_s, silent.feel, "too little sound" in silent.no_feel) == (0.5, None, True)
    path = write_sound(tmp_path / "take.wav", drums(0.0), RATE_HZ)
    assert place_take(path, known_s=(0.0,)).no_feel == "no tempo map is approved"
