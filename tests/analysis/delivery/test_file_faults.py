"""Each fault in one track of a good set is said of that track alone, with its figure and place."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.delivery.file_faults import file_faults
from tests import signals
from tests.analysis.delivery.asked import ask
from tests.analysis.delivery.made_kit import FRAMES, kit

Change = Callable[[Samples], Samples]


def with_hole(track: Samples) -> Samples:
    out = track.copy()
    out[30_000:42_000] = 0.0
    return out


def repeated(track: Samples) -> Samples:
    out = track.copy()
    ramp = np.minimum(1.0, np.minimum(np.arange(80_000), np.arange(80_000)[::-1]) / 480)[:, None]
    out[150_000:230_000] = ramp * out[20_000:100_000] + (1 - ramp) * out[150_000:230_000]
    return out


def humming(track: Samples) -> Samples:
    time = np.arange(FRAMES)[:, None] / 48_000
    return track + sum(0.005 * np.sin(2 * np.pi * 50 * order * time) for order in (1, 2, 3))


def in_sixteen_bits(track: Samples) -> Samples:
    return np.rint(track * 2**15) / 2**15


def noisy(track: Samples) -> Samples:
    return track + signals.noise(rms=0.01, duration_s=FRAMES / 48_000)


CHANGES: list[tuple[str, Change, float]] = [
    ("gaps", with_hole, 0.25),
    ("repeats", repeated, 1.5),
    ("hum", humming, 20 * np.log10(0.005 * np.sqrt(3))),
    ("bits", in_sixteen_bits, 16),
    ("bits", lambda track: 0.8 * in_sixteen_bits(track), 16.3),
    ("dc", lambda track: track + 0.01, 0.01),
    ("noise", noisy, -40.0),
]


@pytest.mark.parametrize(("code", "change", "figure"), CHANGES, ids=lambda item: str(item)[:12])
def test_a_fault_of_one_track(tmp_path: Path, code: str, change: Change, figure: float) -> None:
    tracks = kit()
    wrong = [
        check for check in ask(file_faults, tmp_path, tracks | {"SnTop": change(tracks["SnTop"])}) if not check.passed
    ]

    assert [(check.code, check.file) for check in wrong] == [(code, "SnTop.wav")]
    assert wrong[0].value == pytest.approx(figure, rel=0.15)


def test_strokes_with_an_offset_of_their_own_are_no_offset(tmp_path: Path) -> None:
    """The hat is struck every 12,000 frames; 5 % that die with each stroke make 0.8 % of the whole."""
    strokes = 0.05 * np.exp(-((np.arange(FRAMES)[:, None] - 5_500) % 12_000) / 2_000)
    tracks = kit()
    wrong = [
        check for check in ask(file_faults, tmp_path, tracks | {"Hat": tracks["Hat"] + strokes}) if check.code == "dc"
    ]

    assert [check.passed for check in wrong] == [True]


def test_noise_in_a_microphone_whose_drum_is_never_struck(tmp_path: Path) -> None:
    """Its neighbours come through at 13 %: nothing rises 20 dB over noise at -40 dBFS, which stands still."""
    tracks = kit()
    wrong = [
        check for check in ask(file_faults, tmp_path, tracks | {"Hat": noisy(0.13 * tracks["Hat"])}) if not check.passed
    ]

    assert [(check.code, check.file) for check in wrong] == [("noise", "Hat.wav")]
    assert wrong[0].value == pytest.approx(-40, abs=0.5)


def test_a_good_set_has_one_line_for_each_fault(tmp_path: Path) -> None:
    checks = ask(file_faults, tmp_path, kit())

    assert all(check.passed and check.file is None for check in checks)
    assert len({check.code for check in checks}) == len(checks)


def test_a_set_that_ends_in_mid_ring(tmp_path: Path) -> None:
    """The last snare falls at 4.6 s."""
    tracks = {name: track[: round(4.65 * 48_000)] for name, track in kit().items()}
    wrong = [check for check in ask(file_faults, tmp_path, tracks) if not check.passed]

    assert [check.code for check in wrong] == ["tail"]


def test_a_steep_edge_under_the_converters_own(tmp_path: Path) -> None:
    tracks = kit()
    spectrum = np.fft.rfft(tracks["Hat"][:, 0] + signals.noise(rms=0.01, duration_s=6.0)[:, 0])
    spectrum[round(16_000 * FRAMES / 48_000) :] = 0
    tracks["Hat"] = np.fft.irfft(spectrum, FRAMES)[:, None]
    wrong = [check for check in ask(file_faults, tmp_path, tracks) if check.code == "lossy-origin"]

    assert [check.file for check in wrong] == ["Hat.wav"]
    assert wrong[0].value == pytest.approx(16_000, abs=500)
