import numpy as np
import pytest

from analysis.band.drumkit import KIT, KIT_PAN
from analysis.band.tables import Tone
from analysis.band.voices import RELEASE_S, VOICES, Strike

IN_TUNE = ("bass", "hammers", "tines", "reeds", "steel", "nylon", "pad")
CLICKS = ("pip-accent", "pip-beat", "block-accent", "block-beat", "tick-accent", "tick-beat")


def sound(name: str, *, pitch: int = 57, velocity: float = 0.8, take: int = 0) -> Tone:
    return (VOICES | KIT)[name](Strike(pitch, velocity, 1.0, 48_000, take))


@pytest.mark.parametrize("name", IN_TUNE)
def test_a_pitch_is_in_tune(name: str) -> None:
    wave = sound(name)
    spectrum = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), 8 * len(wave)))
    hz = np.fft.rfftfreq(8 * len(wave), 1 / 48_000)
    near = (hz > 200) & (hz < 240)

    # A below middle C is 220 Hz; tones of one note stand within 7 cents of it.
    assert hz[near][spectrum[near].argmax()] == pytest.approx(220, rel=0.0041)


@pytest.mark.parametrize("name", sorted({*VOICES, *KIT}))
def test_every_sound_is_finite_below_full_scale_and_grows_with_velocity(name: str) -> None:
    soft, hard = sound(name, velocity=0.3), sound(name, velocity=0.9)

    assert np.isfinite(hard).all()
    assert 0.05 < np.abs(hard).max() < 2
    assert np.sqrt(np.mean(hard**2)) > 1.3 * np.sqrt(np.mean(soft**2))
    assert hard.dtype == np.float32


@pytest.mark.parametrize("name", CLICKS)
def test_a_click_is_at_its_peak_in_its_first_frame(name: str) -> None:
    wave = np.abs(sound(name))

    assert wave[0] == wave.max()


def test_soft_voices_rise_slowly_and_struck_ones_at_once() -> None:
    def rise_s(name: str) -> float:
        level = np.abs(sound(name))
        return float(np.argmax(level > 0.5 * level.max()) / 48_000)

    assert rise_s("pad") > 0.05
    assert 0.01 < rise_s("a") < 0.1
    assert all(rise_s(name) < 0.006 for name in ("bass", "steel", "hammers", "tines", "kick", "snare", "hat"))


def test_takes_of_a_note_differ() -> None:
    assert not np.array_equal(sound("steel", take=0), sound("steel", take=1))
    assert np.array_equal(sound("steel", take=1), sound("steel", take=1))


def test_harder_is_brighter() -> None:
    def brightness(velocity: float) -> float:
        spectrum = np.abs(np.fft.rfft(sound("steel", velocity=velocity)))
        return float((spectrum * np.arange(len(spectrum))).sum() / spectrum.sum())

    assert brightness(1.0) > 1.2 * brightness(0.2)


def test_voices_with_a_release_are_those_that_are_held() -> None:
    assert set(RELEASE_S) == set(VOICES) - set(CLICKS)
    assert set(KIT_PAN) == set(KIT)
