"""The beat is among the candidates that the onset spectrum proposes."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.tempo.evidence import pool
from analysis.tempo.pulse import Spectrum, candidate_beats_hz, comb, onset_curve, spectrum_of
from tests.analysis.onsets import even_beats, onset_evidence
from tests.analysis.playing import band, features_of


@pytest.mark.parametrize("bpm", [72.0, 118.4, 150.0])
def test_the_beat_is_among_the_candidates(bpm: float) -> None:
    music = pool([features_of(band(0.6 + np.arange(int(40 * bpm / 60)) * 60 / bpm))])
    assert music is not None

    candidates = candidate_beats_hz(spectrum_of(onset_curve(music)))

    assert any(abs(60 * hz / bpm - 1) < 0.003 for hz in candidates)


def test_the_curve_has_a_peak_at_each_onset_and_no_slow_background() -> None:
    curve = onset_curve(onset_evidence(even_beats(120, 40)))

    # Onsets at 0.5, 1.0, ... seconds, in frames of 10 ms.
    assert [int(np.argmax(curve[start : start + 50])) for start in (25, 525, 1025)] == [25, 25, 25]
    assert abs(float(curve[100:-150].mean())) < 0.01 * float(curve.max())


def test_the_comb_is_highest_at_the_pulse() -> None:
    spectrum = spectrum_of(onset_curve(onset_evidence(even_beats(120, 80))))
    hz = np.linspace(1.5, 2.6, 400)

    assert hz[np.argmax(comb(spectrum, hz))] == pytest.approx(2.0, abs=0.01)


def test_a_spectrum_is_read_between_its_bins() -> None:
    spectrum = Spectrum(0.5, np.array([0.0, 1.0, 3.0]))

    assert spectrum.at(np.array([0.25, 0.5, 0.75])) == pytest.approx([0.5, 1.0, 2.0])


def test_a_song_without_onsets_has_no_candidates() -> None:
    assert candidate_beats_hz(spectrum_of(np.zeros(3000))) == ()
