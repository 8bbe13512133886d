from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.band.render import MIX_PEAK, Stem, mix_stems, render_mix, render_stems, write_wav
from analysis.band.score import Score, SongPlan, steady, write_score
from analysis.maps.tempo_map import round_half_up

PLAYERS = ("bass", "keys", "strings", "pad", "lead", "drums", "click")
FORM = (("intro", 1), ("verse", 2), ("chorus", 2))


@pytest.fixture(scope="module")
def score() -> Score:
    return write_score(steady("Short", 9, 112, players=PLAYERS, form=FORM, count_in_bars=1, silence_s=Fraction(1, 3)))


@pytest.fixture(scope="module")
def stems(score: Score) -> dict[str, Stem]:
    return render_stems(score, 48_000)


def onsets(stem: Stem, *, apart_frames: int = 2_000) -> list[int]:
    """First frames of sounds that follow silence."""
    sounding = np.flatnonzero(np.abs(stem).max(axis=1) > 0)
    return [int(frame) for frame in sounding[np.flatnonzero(np.diff(sounding, prepend=-apart_frames) >= apart_frames)]]


def test_stems_are_equally_long_and_none_is_silent(score: Score, stems: dict[str, Stem]) -> None:
    assert set(stems) == set(PLAYERS)
    assert {len(stem) for stem in stems.values()} == {round(score.duration_s * 48_000)}
    assert all(np.sqrt(np.mean(stem**2)) > 1e-3 for stem in stems.values())
    assert {name for name, stem in stems.items() if stem.shape[1] == 1} == {"bass", "lead", "click"}


def test_stems_sum_to_the_mix(stems: dict[str, Stem]) -> None:
    total = sum(np.broadcast_to(stem, (len(stem), 2)) for stem in stems.values())

    assert np.abs(mix_stems(stems) - total).max() < 1e-6
    assert np.abs(mix_stems(stems)).max() == pytest.approx(MIX_PEAK, abs=1e-4)


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("bpm", [112, Fraction("92.5"), 174])
def test_every_click_starts_on_the_frame_of_exact_arithmetic(rate: int, bpm: Fraction | int) -> None:
    plan = steady("Clicks", 1, bpm, players=("click",), form=(("verse", 8),), silence_s=Fraction(1, 7), count_in_bars=1)
    stem = render_stems(write_score(plan), rate)["click"]

    # Source: arithmetic, round((1/7 + n * 60 / bpm) * rate), each from the exact value.
    exact = [(Fraction(1, 7) + beat * Fraction(60) / bpm) * rate for beat in range(36)]
    assert onsets(stem) == [round_half_up(frame) for frame in exact]


def test_the_same_score_sounds_the_same(score: Score, stems: dict[str, Stem]) -> None:
    again = render_stems(score, 48_000)

    assert all(np.array_equal(stem, again[name]) for name, stem in stems.items())


def test_nothing_sounds_before_the_first_note(score: Score, stems: dict[str, Stem]) -> None:
    mix = mix_stems(stems)
    first = int(np.flatnonzero(np.abs(mix).max(axis=1) > 0)[0])

    assert first == pytest.approx(score.truth.first_sound_s * 48_000, abs=2)


def test_drum_hits_start_where_the_player_puts_them(score: Score) -> None:
    plan = SongPlan("Sticks", 2, score.plan.tempo, players=("drums", "bass"), form=(("verse", 1),), count_in_bars=1)
    counted = write_score(plan)
    stem = render_stems(counted, 48_000)["drums"]
    expected = [round(start * 48_000) for start in counted.starts_s["drums"][:4]]

    # Four stick hits, 25 714 frames apart: each begins on its own frame, whatever is still ringing from the last.
    for frame in expected:
        before, after = stem[max(frame - 240, 0) : frame], stem[frame : frame + 240]
        assert np.abs(after).max() > 20 * np.abs(before).max(initial=1e-6)


def test_files_recorded_by_microphone_carry_hiss_when_asked(score: Score, stems: dict[str, Stem]) -> None:
    noisy = render_stems(write_score(replace(score.plan, hiss_dbfs=-50.0)), 48_000)
    silent_frames = slice(0, 15_000)  # before the count-in

    assert not any(stem[silent_frames].any() for stem in stems.values())
    assert {name for name, stem in noisy.items() if stem[silent_frames].any()} == {"strings", "lead", "drums"}


def test_driven_strings_are_denser_and_duller(score: Score, stems: dict[str, Stem]) -> None:
    driven = render_stems(write_score(replace(score.plan, strings_sound="driven")), 48_000)["strings"]

    def crest(stem: Stem) -> float:
        return float(np.abs(stem).max() / np.sqrt(np.mean(stem**2)))

    assert crest(driven) < 0.7 * crest(stems["strings"])


@pytest.mark.parametrize(
    ("suffix", "depth", "rate"),
    [(".wav", "PCM_16", 44_100), (".wav", "PCM_24", 48_000), (".wav", "FLOAT", 96_000), (".flac", "PCM_24", 48_000)],
)
def test_headers_say_what_was_asked_for(
    tmp_path: Path, stems: dict[str, Stem], suffix: str, depth: str, rate: int
) -> None:
    path = write_wav(tmp_path / "folder" / f"keys{suffix}", stems["keys"], rate, depth=depth)
    info = soundfile.info(path)

    assert (info.samplerate, info.channels, info.frames, info.subtype) == (rate, 2, len(stems["keys"]), depth)


def test_what_is_written_reads_back_to_half_a_step(tmp_path: Path, stems: dict[str, Stem]) -> None:
    path = write_wav(tmp_path / "bass.wav", stems["bass"], 48_000, depth="PCM_16")
    read, _ = soundfile.read(path, always_2d=True)

    assert np.abs(read - stems["bass"]).max() <= 1.01 / 32_768


def test_a_mix_is_in_stereo(score: Score) -> None:
    mix = render_mix(score, 44_100)

    assert mix.shape == (round(score.duration_s * 44_100), 2)
    assert not np.array_equal(mix[:, 0], mix[:, 1])
