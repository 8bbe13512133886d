"""Loudness and true peak beside an independent meter: FFmpeg's `ebur128` filter, on any recordings at hand.

`python -m bench opinion FOLDER...` prints both and the largest difference. The same decoder feeds both, so that only
the meters differ.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np

from analysis.core.blocks import Block
from analysis.core.units import dbfs_from_amplitude
from analysis.levels.loudness import LoudnessMeter
from analysis.levels.true_peak import TruePeakMeter
from analysis.media.reader import open_media
from bench.files.alarms import SOUND

MOST_FILES = 60
SMALLEST_BYTES = 2**17


@dataclass(frozen=True)
class Reading:
    loudness_lufs: float
    true_peak_dbtp: float


def run(options: argparse.Namespace) -> None:
    files = sorted(path for folder in options.folders for path in folder.rglob("*") if path.suffix.lower() in SOUND)
    files = [path for path in files if path.is_file() and path.stat().st_size >= SMALLEST_BYTES][:MOST_FILES]
    if not files:
        print("\nSecond opinion: left out. Say which folders of recordings to measure.")
        return
    print("\nSecond opinion: ours, then FFmpeg's ebur128; LUFS and dBTP")
    worst = np.zeros(2)
    for path in files:
        ours, theirs = read_ours(path), read_theirs(path)
        apart = np.abs([ours.loudness_lufs - theirs.loudness_lufs, ours.true_peak_dbtp - theirs.true_peak_dbtp])
        worst = np.maximum(worst, apart)
        numbers = (ours.loudness_lufs, theirs.loudness_lufs, ours.true_peak_dbtp, theirs.true_peak_dbtp)
        print(f"  {path.name[:36]:<38}" + "".join(f"{number:>9.2f}" for number in numbers))
    print(f"  {len(files)} recordings; furthest apart: {worst[0]:.3f} LU, {worst[1]:.3f} dB")


def read_ours(path: Path) -> Reading:
    with open_media(path) as media:
        rate_hz, channels, frames = media.facts.sample_rate_hz, media.facts.channels, 0
        loudness, true_peak = LoudnessMeter(rate_hz, channels), TruePeakMeter(rate_hz, channels)
        for samples in media.blocks():
            block = Block(samples, frames)
            frames += block.frames
            loudness.add(block)
            true_peak.add(block)
    return Reading(loudness.finish().integrated_lufs or -70.0, dbfs_from_amplitude(true_peak.finish()) or -200.0)


def read_theirs(path: Path) -> Reading:
    with open_media(path) as media:
        layout = "mono" if media.facts.channels == 1 else "stereo"
        graph = av.filter.Graph()
        source = graph.add_abuffer(sample_rate=media.facts.sample_rate_hz, format="flt", layout=layout)
        meter = graph.add("ebur128", "peak=true:metadata=1")
        sink = graph.add("abuffersink")
        source.link_to(meter)
        meter.link_to(sink)
        graph.configure()
        loudness, peak, frames = -70.0, 0.0, 0
        for samples in media.blocks():
            words = np.ascontiguousarray(samples.reshape(1, -1), np.float32)
            frame = av.AudioFrame.from_ndarray(words, format="flt", layout=layout)
            frame.sample_rate, frame.pts = media.facts.sample_rate_hz, frames
            frames += len(samples)
            source.push(frame)
            loudness, peak = _drained(sink, loudness, peak)
        source.push(None)
        loudness, peak = _drained(sink, loudness, peak)
    return Reading(loudness, dbfs_from_amplitude(peak) or -200.0)


def _drained(sink: av.filter.context.FilterContext, loudness: float, peak: float) -> tuple[float, float]:
    while True:
        try:
            said = sink.pull().metadata
        except (BlockingIOError, EOFError):
            return loudness, peak
        loudness = float(said.get("lavfi.r128.I", loudness))
        peaks = [float(value) for key, value in said.items() if key.startswith("lavfi.r128.true_peaks_ch")]
        peak = max([peak, *peaks])
