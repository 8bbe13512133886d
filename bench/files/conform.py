"""What conforming does to sound, beside other resamplers, and what a session pack costs beside a bare copy.

Null test: where nothing is resampled, the difference is 0. Else tones and a sum of tones that are known at both rates
by arithmetic: gain over the pass band, what comes back from above it, and all that is neither. Then a pack of 16 stems,
and one of a recording from an open package, checked by `tests.proof.pack`.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import librosa
import numpy as np
import soundfile

from analysis.core.samples import Doubles
from analysis.maps.tempo_map import TempoMap
from analysis.session.conform import conform_file
from analysis.session.settings import SessionSettings
from analysis.session.timeline import plan_session
from bench.speed.engine import LAUNCHER, timed_file
from bench.tempo.recordings import PACKAGE, fetch

Resample = Callable[[Doubles, int], Doubles]

SESSION_HZ = 48_000
TONE_S, EDGE_S = 2.0, 0.25
PASS_HZ = (20.0, 100.0, 1_000.0, 5_000.0, 10_000.0, 15_000.0, 18_000.0, 19_000.0, 20_000.0)
ABOVE_HZ = (25_000.0, 26_000.0, 28_000.0, 32_000.0, 40_000.0, 46_000.0)
NULL_TONES, NULL_SEED, HIGHEST_NULL_HZ = 200, 1, 18_000.0
STEMS = 16
MAP = TempoMap.constant("112", "4/4")
SETTINGS = SessionSettings(bit_depth=32, start_bar=1, count_in_bars=0)


def run(options: argparse.Namespace) -> None:
    print("\nConforming: what is not resampled, and what is")
    _print_null(options)
    for source_hz in (44_100, 96_000):
        _print_resamplers(source_hz)
    _print_cost(options)
    _print_recording(options)


def _print_null(options: argparse.Namespace) -> None:
    path = timed_file(options.data, options.minutes, SESSION_HZ)
    settings = SessionSettings()
    timeline = plan_session([path], MAP, settings)
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        conform_file(path, Path(folder, "x.wav"), timeline, name=path.name, out="x.wav")
        shift, differing, frames = timeline.shift_frames, 0, 0
        with soundfile.SoundFile(path) as before, soundfile.SoundFile(Path(folder, "x.wav")) as after:
            after.seek(shift)
            for block in before.blocks(2**18, dtype="int32", always_2d=True):
                differing += int(np.count_nonzero(after.read(len(block), "int32", always_2d=True) != block))
                frames += len(block)
    print(f"  48 kHz, 24 bits, moved by {shift} frames: {differing} of {frames} frames differ")


def ours(samples: Doubles, source_hz: int) -> Doubles:
    """Through files, as a pack is made; floating point, so that only the resampling counts."""
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        path = Path(folder, "a.wav")
        soundfile.write(path, samples, source_hz, "DOUBLE")
        timeline = plan_session([path], MAP, SETTINGS)
        conform_file(path, Path(folder, "b.wav"), timeline, name="a", out="b.wav")
        made: Doubles = soundfile.read(Path(folder, "b.wav"))[0]
        return made


def by_librosa(kind: str) -> Resample:
    def resample(samples: Doubles, source_hz: int) -> Doubles:
        made: Doubles = librosa.resample(samples, orig_sr=source_hz, target_sr=SESSION_HZ, res_type=kind)
        return made

    return resample


RESAMPLERS: dict[str, Resample] = {
    "Kitpost: conform (to 32 bits)": ours,
    "librosa: soxr_hq (its default)": by_librosa("soxr_hq"),
    "librosa: soxr_vhq": by_librosa("soxr_vhq"),
    "librosa: polyphase (Kaiser)": by_librosa("polyphase"),
}


def _print_resamplers(source_hz: int) -> None:
    above = f"{'from above':>12}" if source_hz > SESSION_HZ else ""
    print(f"\n  {source_hz / 1000:g} to 48 kHz, in dB{'':<13}{'ripple to 20k':>14}{'residual':>10}{'null':>8}{above}")
    for name, resample in RESAMPLERS.items():
        gains, residuals = zip(*(_tone(resample, source_hz, hz) for hz in PASS_HZ), strict=True)
        line = (
            f"  {name:<34}{max(gains) - min(gains):>14.4f}{max(residuals):>10.1f}{_null_db(resample, source_hz):>8.1f}"
        )
        if source_hz > SESSION_HZ:
            line += f"{max(_level_db(resample, source_hz, hz) for hz in ABOVE_HZ):>12.1f}"
        print(line)
    print("  residual: all but the tone, re the tone; null: difference to 200 tones up to 18 kHz, known at 48, re them")


def _tone(resample: Resample, source_hz: int, hz: float) -> tuple[float, float]:
    """Gain, and what is left beside the tone, in dB."""
    made = _inner(resample(_sines(np.array([hz]), np.zeros(1), source_hz), source_hz))
    place = np.arange(len(made)) * (2 * np.pi * hz / SESSION_HZ)
    basis = np.stack([np.sin(place), np.cos(place)], axis=1)
    weights, *_ = np.linalg.lstsq(basis, made, rcond=None)
    rest = made - basis @ weights
    gain = float(np.hypot(*weights)) / 0.5
    return 20 * np.log10(gain), 20 * np.log10(np.sqrt(np.mean(rest**2)) / (0.5 / np.sqrt(2)) + 1e-20)


def _level_db(resample: Resample, source_hz: int, hz: float) -> float:
    """Of a tone that 48 kHz cannot hold, re its own."""
    made = _inner(resample(_sines(np.array([hz]), np.zeros(1), source_hz), source_hz))
    return float(20 * np.log10(np.sqrt(np.mean(made**2)) / (0.5 / np.sqrt(2)) + 1e-20))


def _null_db(resample: Resample, source_hz: int) -> float:
    dice = np.random.default_rng(NULL_SEED)
    tones_hz, phases = dice.uniform(20.0, HIGHEST_NULL_HZ, NULL_TONES), dice.uniform(0, 2 * np.pi, NULL_TONES)
    made = resample(_sines(tones_hz, phases, source_hz), source_hz)
    wanted = _sines(tones_hz, phases, SESSION_HZ)[: len(made)]
    difference = _inner(made[: len(wanted)] - wanted)
    return float(20 * np.log10(np.sqrt(np.mean(difference**2) / np.mean(_inner(wanted) ** 2)) + 1e-20))


def _sines(tones_hz: Doubles, phases: Doubles, rate_hz: int) -> Doubles:
    time = np.arange(round(TONE_S * rate_hz)) / rate_hz
    waves = [np.sin(2 * np.pi * hz * time + phase) for hz, phase in zip(tones_hz, phases, strict=True)]
    mixed: Doubles = np.sum(waves, axis=0) * (0.5 / np.sqrt(len(tones_hz)))
    return mixed


def _inner(samples: Doubles) -> Doubles:
    """Without what the ends do."""
    edge = round(EDGE_S * SESSION_HZ)
    return samples[edge : len(samples) - edge]


def _print_cost(options: argparse.Namespace) -> None:
    song = timed_file(options.data, options.minutes, SESSION_HZ)
    with tempfile.TemporaryDirectory(prefix="bench-", dir=options.data) as folder:
        stems = [Path(folder, f"stem {number + 1}.wav") for number in range(STEMS)]
        for stem in stems:
            stem.hardlink_to(song)
        map_path = Path(folder, "map.json")
        map_path.write_text(json.dumps(MAP.to_json()))
        copy, pack = Path(folder, "copy"), Path(folder, "pack")
        copy.mkdir()
        copied = _timed(["cp", "--", *map(str, stems), str(copy)])
        command = [sys.executable, "-m", "analysis", "pack", "--map", str(map_path), "--out", str(pack)]
        packed = _timed([*command, *map(str, stems)])
        size = sum(path.stat().st_size for path in pack.rglob("*"))
    what = f"{STEMS} stereo stems of {options.minutes:g} min at 48/24 ({size / 1e9:.2f} GB)"
    print(f"\n  A pack of {what}, one core, beside copying the same bytes:")
    for name, cost in (("copy (cp)", copied), ("pack", packed)):
        print(f"  {name:<12}{cost['clock_s']:>8.1f} s{cost['cpu_s']:>8.1f} CPU s{cost['peak_mb']:>8.0f} MB")
    clock, cpu = (packed[unit] / copied[unit] for unit in ("clock_s", "cpu_s"))
    print(f"  ratio: {clock:.1f} in time, {cpu:.1f} in CPU seconds")


def _timed(command: list[str]) -> dict[str, float]:
    done = subprocess.run([sys.executable, "-c", LAUNCHER, *command], capture_output=True, text=True, check=True)
    cost: dict[str, float] = json.loads(done.stdout)
    assert cost["exit_code"] == 0, command
    return cost


def _print_recording(options: argparse.Namespace) -> None:
    unpacked = fetch(options.data / "recordings", PACKAGE)
    if unpacked is None:
        print("\n  A recording's pack: left out. It needs Debian's package tools and lists.")
        return
    song = min(path.parent for path in unpacked.rglob("song.ogg"))
    files = [str(song / name) for name in ("song.ogg", "guitar.ogg")]
    with tempfile.TemporaryDirectory(prefix="bench-", dir=options.data) as folder:
        map_path, pack = Path(folder, "map.json"), Path(folder, "pack")
        engine = [sys.executable, "-m", "analysis"]
        subprocess.run([*engine, "inspect", *files, "--map-out", map_path], capture_output=True, check=True)
        subprocess.run([*engine, "pack", "--map", map_path, "--out", pack, *files], capture_output=True, check=True)
        proof = subprocess.run(
            [sys.executable, "-m", "tests.proof.pack", str(pack)], capture_output=True, text=True, check=False
        )
    print(f"\n  “{song.name}” from Debian’s {PACKAGE}, packed and checked from outside:")
    print("".join(f"    {line}\n" for line in proof.stdout.splitlines() + proof.stderr.splitlines()[-3:]), end="")
