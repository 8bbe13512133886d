"""Recordings whose truth nobody wrote down: what the engine says, checked by hand. python -m bench by-hand [FOLDER ...]

Onsets come from a plain spectral flux, an even grid from how well they agree with it: nothing of the engine's is used
but its answer. Prints how far the onsets lie from the stated grid in four places over the song, how far that wanders
from end to end, and which even tempo near the stated one the onsets themselves would choose.

Without a folder, songs of games in Debian are fetched: some 150 MB, licences in docs/yardstick.md.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray
from scipy.signal import find_peaks, stft

from bench.tempo.readers import read_kitpost
from bench.tempo.recordings import fetch
from bench.tempo.scores import Reading

Doubles = NDArray[np.float64]
RATE_HZ, HOP, WINDOW = 44_100, 220, 1_024
# Package, and the song's file in it.
SONGS = (
    ("pushover-data", "aztec.ogg"),
    ("lincity-ng-data", "02 - *.ogg"),
    ("lincity-ng-data", "03 - *.ogg"),
    ("asc-music", "machine_wars.mp3"),
    ("xmoto-data", "batcave.ogg"),
    ("hyperrogue-music", "hr3-graveyard.ogg"),
    ("warzone2100-music", "menu.opus"),
)
LOW_BIN, HIGH_BIN = 3, 372  # 130 Hz to 16 kHz
PEAK_STDS, PEAK_APART_HOPS, BASE_HOPS = 0.6, 6, 121
DIVISIONS = (2, 3, 4, 6)
PLACES, PLACE_S, WINDOWS = 4, 15.0, 20
NEAR_BPM = 0.012  # the even tempo is looked for this share around the stated one
CLEAR = 0.25  # a window whose onsets agree less than this says nothing


@dataclass(frozen=True)
class Onsets:
    times_s: Doubles
    weights: Doubles

    def between(self, start_s: float, end_s: float) -> NDArray[np.bool_]:
        return (self.times_s >= start_s) & (self.times_s < end_s)


def run(options: argparse.Namespace) -> None:
    given = [path for folder in options.folders for path in sorted(folder.iterdir()) if path.is_file()]
    for path in given or _fetched(options.data / "unannotated"):
        check(path, read_kitpost([path]))


def _fetched(folder: Path) -> list[Path]:
    unpacked = {package: fetch(folder, package) for package, _ in SONGS}
    missing = sorted(package for package, place in unpacked.items() if place is None)
    if missing:
        print(f"\n  Left out, since Debian's package tools or lists are not here: {', '.join(missing)}")
    return [path for package, name in SONGS if (place := unpacked[package]) for path in place.rglob(name)]


def onsets_of(path: Path) -> Onsets:
    channels, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    sound = soxr.resample(channels.mean(axis=1), rate_hz, RATE_HZ)
    _, times_s, spectrum = stft(sound, RATE_HZ, nperseg=WINDOW, noverlap=WINDOW - HOP)
    loud = np.log1p(200 * np.abs(spectrum[LOW_BIN:HIGH_BIN]))
    flux = np.maximum(0, loud[:, 2:] - loud[:, :-2]).sum(axis=0)
    over = flux - np.convolve(flux, np.ones(BASE_HOPS) / BASE_HOPS, "same")
    peaks, _ = find_peaks(over, height=PEAK_STDS * np.std(flux), distance=PEAK_APART_HOPS)
    before, at, after = flux[peaks - 1], flux[peaks], flux[peaks + 1]
    vertex = (before - after) / (2 * (before - 2 * at + after) - 1e-12)
    return Onsets(times_s[1:-1][peaks] + vertex * HOP / RATE_HZ, over[peaks])


def agreement(places: Doubles, weights: Doubles) -> complex:
    """Length 1 where all places are the same fraction, 0 where they spread evenly; its angle is the fraction."""
    return complex(np.sum(weights * np.exp(2j * np.pi * places)) / weights.sum())


def check(path: Path, reading: Reading) -> None:
    heard = onsets_of(path)
    print(f"\n  {path.name}: says {reading.bpm} BPM, {reading.kind}, {reading.meter}, bar one {reading.bar_one_s}")
    if not reading.bpm or len(reading.beats_s) < PLACES:
        print(f"    no grid to check; {len(heard.times_s)} onsets")
        return
    beats_s = np.array(reading.beats_s)
    inside = heard.between(beats_s[0], beats_s[-1])
    onsets = Onsets(heard.times_s[inside], heard.weights[inside])
    beats = np.interp(onsets.times_s, beats_s, np.arange(len(beats_s)))
    parts = max(DIVISIONS, key=lambda parts: abs(agreement(beats * parts, onsets.weights)))
    bpm, even = even_tempo(onsets, reading.bpm, parts)
    stated = abs(agreement(beats * parts, onsets.weights))
    print(f"    agreement with the stated grid {stated:.2f} (1/{parts} beat), with an even {bpm:.3f} BPM {even:.2f}")
    _print_places(onsets, beats * parts, beats_s, 60_000 / reading.bpm / parts)


def _print_places(onsets: Onsets, places: Doubles, beats_s: Doubles, cell_ms: float) -> None:
    for start_s in np.linspace(beats_s[0], beats_s[-1] - PLACE_S, PLACES):
        off_ms, sure = _off_ms(onsets, places, cell_ms, start_s, start_s + PLACE_S)
        print(f"    from {max(0.0, start_s):5.0f} s: {off_ms:+6.1f} ms from the song's middle, agreement {sure:.2f}")
    windows = list(pairwise(np.linspace(beats_s[0], beats_s[-1], WINDOWS + 1)))
    offs = [(start_s, *_off_ms(onsets, places, cell_ms, start_s, end_s)) for start_s, end_s in windows]
    clear = np.array([(start_s, off_ms) for start_s, off_ms, sure in offs if sure > CLEAR])
    if len(clear) > 2:
        slope = np.polyfit(clear[:, 0], clear[:, 1], 1)[0]
        print(f"    end to end {slope * (beats_s[-1] - beats_s[0]):+.1f} ms; spread {np.std(clear[:, 1]):.1f} ms")


def _off_ms(onsets: Onsets, places: Doubles, cell_ms: float, start_s: float, end_s: float) -> tuple[float, float]:
    here = onsets.between(start_s, end_s)
    if not here.any():
        return 0.0, 0.0
    whole = agreement(places, onsets.weights)
    local = agreement(places[here], onsets.weights[here])
    return float(np.angle(local * np.conj(whole)) / (2 * np.pi) * cell_ms), abs(local)


def even_tempo(onsets: Onsets, near_bpm: float, parts: int) -> tuple[float, float]:
    """The even tempo near a stated one that the onsets agree with most, and how much they do."""
    tempi = near_bpm * (1 + np.arange(-NEAR_BPM, NEAR_BPM, 1e-5))
    agreed = [abs(agreement(onsets.times_s * bpm / 60 * parts, onsets.weights)) for bpm in tempi]
    best = int(np.argmax(agreed))
    return float(tempi[best]), float(agreed[best])
