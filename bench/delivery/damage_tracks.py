"""One track against the others: late, upside down, under the wrong name, or hearing the click."""

from __future__ import annotations

import numpy as np
from scipy import signal

from analysis.core.samples import Floats
from bench.delivery.hits import RATE_HZ
from bench.delivery.takes import DrumSet
from bench.delivery.truth import Damage, Maker, Truth

_DRUM_TRACKS = ("KickIn", "SnTop", "Hat", "Tom1", "Floor1", "OHL", "OHR", "RmL", "RmMono")


def shifted(track: Floats, frames: int) -> Floats:
    """Later by so many frames, as long as before; negative is earlier."""
    moved = np.zeros_like(track)
    if frames >= 0:
        moved[frames:] = track[: len(track) - frames]
    else:
        moved[:frames] = track[-frames:]
    return moved


def _late(name: str | None, frames: int) -> Maker:
    def make(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        mine = name or str(rng.choice([one for one in _DRUM_TRACKS if one in drum_set.tracks]))
        if mine not in drum_set.tracks:
            return None
        truth = Truth(("arrival",), (mine,), {"arrival": (frames, 0)}, f"{frames} frames late")
        return drum_set.with_tracks({mine: shifted(drum_set.tracks[mine], frames)}), truth

    return make


def _inverted(*names: str) -> Maker:
    def make(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        if any(name not in drum_set.tracks for name in names):
            return None
        return drum_set.with_tracks({name: -drum_set.tracks[name] for name in names}), Truth(("polarity",), names)

    return make


def _renamed(said: str, holds: str, *, swap: bool = False) -> Maker:
    """`said` holds what `holds` is; with `swap` the two have changed places."""

    def make(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        tracks = drum_set.tracks
        if said not in tracks or holds not in tracks:
            return None
        changed = {said: tracks[holds], holds: tracks[said]} if swap else {said: tracks[holds]}
        files = (said, holds)
        return drum_set.with_tracks(changed), Truth(("microphone", "distinct-sound", "sides"), files)

    return make


def _another_stroke_track(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
    """`KickIn` holds what a second snare microphone hears."""
    if "KickIn" not in drum_set.tracks:
        return None
    duller = signal.lfilter(*signal.butter(1, 5_000, fs=RATE_HZ), drum_set.tracks["SnTop"])
    return drum_set.with_tracks({"KickIn": shifted(np.asarray(duller, np.float32), 4)}), Truth(
        ("microphone",), ("KickIn",)
    )


def _empty_tom(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
    name = "Tom2" if "Tom2" in drum_set.tracks else "Tom1"
    if name not in drum_set.tracks:
        return None
    hiss = rng.standard_normal(drum_set.plan.frames, np.float32) * np.float32(10 ** (-78 / 20))
    return drum_set.with_tracks({name: hiss}), Truth(("microphone", "sounding"), (name,))


def _swapped_sides(drum_set: DrumSet, _rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
    """Both overheads have changed places: the hat, on the left, is heard first and loudest on the right."""
    tracks = drum_set.tracks
    truth = Truth(("sides",), ("OHL", "OHR"))
    return drum_set.with_tracks({"OHL": tracks["OHR"], "OHR": tracks["OHL"]}), truth


def click_bleed(drum_set: DrumSet, peak_dbfs: float, delay_frames: int) -> Floats:
    """The click as it leaks from headphones: thin, late by the way to the microphone, peaking at `peak_dbfs`."""
    thin = signal.lfilter(*signal.butter(2, 700, "high", fs=RATE_HZ), drum_set.click)
    thin = shifted(np.asarray(thin, np.float32), delay_frames)
    return thin * np.float32(10 ** (peak_dbfs / 20) / np.abs(thin).max())


def _bleeding(peak_dbfs: float) -> Maker:
    def make(drum_set: DrumSet, rng: np.random.Generator) -> tuple[DrumSet, Truth] | None:
        name = str(rng.choice([one for one in ("Hat", "SnTop", "OHL") if one in drum_set.tracks]))
        bleed = click_bleed(drum_set, peak_dbfs, int(rng.integers(20, 140)))
        truth = Truth(("click-bleed",), (name,), {"click-bleed": (peak_dbfs, 3.0)}, f"{peak_dbfs:.0f} dBFS in {name}")
        return drum_set.with_tracks({name: drum_set.tracks[name] + bleed}), truth

    return make


TRACK_DAMAGES = (
    *(Damage(f"one track late by {frames}", _late(None, frames)) for frames in (1, 48, 512, 960, 1_024)),
    Damage("the kick late by 1024", _late("KickIn", 1_024)),
    Damage("one track early by 48", _late(None, -48)),
    Damage("one track early by 1", _late("OHR", -1)),
    Damage("an overhead inverted", _inverted("OHL")),
    Damage("both overheads inverted", _inverted("OHL", "OHR")),
    Damage("the top microphone inverted", _inverted("SnTop")),
    Damage("top and bottom inverted", _inverted("SnTop", "SnBot"), needs=("SnBot",)),
    Damage("a room inverted", _inverted("RmL"), needs=("RmL",)),
    Damage("the mono room inverted", _inverted("RmMono"), needs=("RmMono",)),
    Damage("kick and snare under each other's name", _renamed("KickIn", "SnTop", swap=True)),
    Damage("KickIn holds a snare", _another_stroke_track),
    Damage("hat and floor tom under each other's name", _renamed("Hat", "Floor1", swap=True)),
    Damage("a tom and an overhead under each other's name", _renamed("Tom1", "OHL", swap=True)),
    Damage("OHR holds OHL", _renamed("OHR", "OHL")),
    Damage("a mono room twice", _renamed("RmR", "RmL"), needs=("RmL", "RmR")),
    Damage("an empty tom", _empty_tom),
    Damage("left and right swapped", _swapped_sides, aim=False),
    *(Damage(f"click bleed at {level} dBFS", _bleeding(level)) for level in (-40, -50, -60)),
    Damage("click bleed at -66 dBFS", _bleeding(-66), aim=False),
)
