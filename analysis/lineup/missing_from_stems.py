"""Is everything in the rough mix also in a stem? And if not, from where to where?

The gain of each stem in the mix is found by least squares on a few stretches of sound; then the mix's energy, band by
band and 10 ms by 10 ms, is held against what the stems would give at those gains. What stands well above it, again and
again for some seconds, is in no stem. An equaliser over the whole mix is allowed for.

Tested in `tests/analysis/lineup/test_compare_files.py`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Flags
from analysis.core.thresholds import Limits
from analysis.features.feature_arrays import Features
from analysis.lineup.starts import MOST_WINDOWS, WINDOW_S, Source, Start
from analysis.media.windows import choose_windows, read_window

# The mix is judged in slots of this length (house choice).
_SLOT_S = 0.5
# So many frames of a slot must stand out: a drum's hit fills this many, a rounding of time only one
# (house choice).
_FEWEST_FRAMES = 3
# Frames on each side that a stem's energy is spread over: windows of the two files need not fall alike
# (house choice).
_SPREAD_FRAMES = 3
# One file may be a copy of another; two that were placed against a third make it the mix (house choice).
_FEWEST_STEMS = 2
# The stems are given this much more than their due: energies add up only on average (house choice: 3 dB).
_GENEROSITY = 2.0
# A band counts where it is as loud as this share of its own mean over the song (house choice).
_BAND_SHARE = 0.5
# How far an equaliser or compressor over the mix may have moved a band (house choice: 6 dB).
_EQUALISER_RANGE = 4.0
# Gaps up to this are bridged; so many slots of a stretch must stand out (house choices).
_GAP_S = 2.0
_FEWEST_SLOTS = 0.4
# Bands that hold less of the mix than this are left alone: what is in them is mostly noise (house choice).
_BAND_SHARE_OF_MIX = 0.003


@dataclass(frozen=True)
class Span:
    """A stretch of the song, in seconds from the common start."""

    start_s: float
    end_s: float


def mix_among(starts: Sequence[Start | None]) -> int | None:
    """The file that at least two others were placed against: it holds them."""
    votes = Counter(start.against for start in starts if start is not None)
    if not votes:
        return None
    mix, count = votes.most_common(1)[0]
    return mix if count >= _FEWEST_STEMS else None


def missing_spans(
    mix: int,
    sources: dict[int, Source],
    features: Sequence[Features],
    starts: Sequence[Start | None],
    limits: Limits,
) -> tuple[Span, ...]:
    """Where the mix holds something that is in no stem. Stems that could not be placed count as lined up.

    Parameters
    ----------
    mix : int
        Which of the files is the mix, as an index into `features` and `starts`.
    sources : dict of int to Source
        By index; the mix and the stems that can be read again.
    features : sequence of Features
        Of all files.
    starts : sequence of Start or None
        Of all files, in frames at each file's own rate.
    limits : Limits

    Returns
    -------
    tuple of Span
        In order of time, from the common start. Empty when the stems explain the whole mix.
    """
    stems = [index for index in sources if index != mix]
    late_s = [_late_s(starts[index], sources[index]) for index in stems]
    mix_late_s = _late_s(starts[mix], sources[mix])
    gains = _gains(sources[mix], mix_late_s, [sources[index] for index in stems], late_s)
    whole = _frame_energies(features[mix], mix_late_s)
    explained = np.zeros_like(whole)
    for index, gain, shift_s in zip(stems, gains, late_s, strict=True):
        part = _frame_energies(features[index], shift_s)[: len(whole)]
        explained[: len(part)] += gain**2 * part
    return _spans(_unexplained(whole, explained), limits)


def _late_s(start: Start | None, source: Source) -> float:
    return start.offset_frames / source.sample_rate_hz if start else 0.0


def _gains(mix: Source, mix_late_s: float, stems: Sequence[Source], late_s: Sequence[float]) -> Doubles:
    """Least squares over a few stretches; a gain that comes out negative is one of polarity, which energy ignores."""
    rate_hz, size = mix.sample_rate_hz, len(stems)
    frames = round(WINDOW_S * rate_hz)
    products, targets = np.zeros((size, size)), np.zeros(size)
    activities = [mix.activity, *(stem.activity for stem in stems)]
    for start_s in choose_windows(activities, window_s=WINDOW_S, most=MOST_WINDOWS):
        # Early files (a negative offset) have no sound before their start: look far enough inside.
        place_s = start_s + max(0.0, -min((mix_late_s, *late_s)))
        whole = read_window(mix.path, place_s + mix_late_s, frames, rate_hz)
        parts = np.stack(
            [read_window(stem.path, place_s + late, frames, rate_hz) for stem, late in zip(stems, late_s, strict=True)]
        )
        products += parts @ parts.T
        targets += parts @ whole
    # A little of each stem's own power on the diagonal keeps copies of one stem from cancelling each other.
    products += 1e-4 * np.diag(np.diag(products)) + 1e-12 * np.eye(size)
    return np.asarray(np.linalg.solve(products, targets))


def _frame_energies(features: Features, late_s: float) -> Doubles:
    """Mean power by frame and band, counted from the common start."""
    shift = round(late_s * features.band_rate_hz)
    powers = 10.0 ** (np.asarray(features.band_energy_db, np.float64) / 10.0)
    return powers[shift:] if shift >= 0 else np.pad(powers, ((-shift, 0), (0, 0)))


def _spread(powers: Doubles) -> Doubles:
    """Each frame as loud as the loudest of its neighbours."""
    padded = np.pad(powers, ((_SPREAD_FRAMES, _SPREAD_FRAMES), (0, 0)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _SPREAD_FRAMES + 1, axis=0)
    return np.asarray(windows.max(axis=-1))


def _unexplained(whole: Doubles, explained: Doubles) -> Flags:
    """Frames in which some band of the mix stands well above what the stems give."""
    means = whole.mean(axis=0)
    counts = means > _BAND_SHARE_OF_MIX * means.sum()
    flags = np.zeros(len(whole), bool)
    for band in np.flatnonzero(counts):
        part, due = whole[:, band], _spread(explained)[:, band]
        loud = part > _BAND_SHARE * means[band]
        if not loud.any():
            continue
        middle = float(np.median(part[loud] / np.maximum(explained[loud, band], 1e-15)))
        due = due * np.clip(middle, 1.0 / _EQUALISER_RANGE, _EQUALISER_RANGE)
        flags |= loud & (part - _GENEROSITY * due > 0.5 * part)
    return flags


def _spans(flags: Flags, limits: Limits) -> tuple[Span, ...]:
    """Stretches of slots that stand out, gaps bridged, the short ones left out."""
    per_slot = round(_SLOT_S * 100.0)
    whole = len(flags) // per_slot * per_slot
    slots = flags[:whole].reshape(-1, per_slot).sum(axis=1) >= _FEWEST_FRAMES
    spans: list[list[int]] = []
    for slot in np.flatnonzero(slots):
        if spans and slot - spans[-1][1] <= _GAP_S / _SLOT_S:
            spans[-1][1] = int(slot) + 1
        else:
            spans.append([int(slot), int(slot) + 1])
    kept = [
        (start, end)
        for start, end in spans
        if (end - start) * _SLOT_S >= limits.missing_from_stems_s and slots[start:end].mean() >= _FEWEST_SLOTS
    ]
    return tuple(Span(start * _SLOT_S, end * _SLOT_S) for start, end in kept)
