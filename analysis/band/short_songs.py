"""Short songs without faults, and the drummer's take of one: what the demo house shows of work that is further on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from analysis.band.clock import Steady
from analysis.band.harmony import Key
from analysis.band.render import mix_stems, render_stems, write_wav
from analysis.band.score import SongPlan, write_score
from analysis.band.songs import DemoSong
from analysis.core.reports import Brief

# House choices, as are all plans below: sections and bars, who plays, and how far the mix is turned down for the drums.
_FORM = (("verse", 4), ("chorus", 6), ("outro", 2))
_PLAYERS = ("bass", "keys", "click")
_MIX_GAIN = 0.4
# Each microphone hears the left and the right of the kit by so much.
_MICROPHONES = {"KickIn": (0.5, 0.4), "SnTop": (0.3, 0.4), "OHL": (0.6, 0.0), "OHR": (0.0, 0.6)}


@dataclass(frozen=True)
class DrumTake:
    """What a drummer makes of a song: a rough mix with the drums in it, and a track for each microphone."""

    rough_mix: Path
    tracks: tuple[Path, ...]


def render_take(song: DemoSong, folder: Path, *, number: int = 1) -> DrumTake:
    """Write a take of the song's drums to `folder`; takes of different numbers are played differently."""
    rate_hz = song.sample_rate_hz
    stems = render_stems(write_score(song.plan), rate_hz)
    stems.pop("click", None)
    drum_plan = replace(song.plan, players=("drums",), seed=song.plan.seed * 10 + number)
    drums = render_stems(write_score(drum_plan), rate_hz)["drums"]
    mix = mix_stems({**stems, "drums": drums}) * np.float32(_MIX_GAIN)
    tracks = [
        write_wav(folder / f"{song.slug}_{name}.wav", drums @ np.array(hears, np.float32)[:, None], rate_hz)
        for name, hears in _MICROPHONES.items()
    ]
    return DrumTake(write_wav(folder / f"{song.slug}_rough-{number}.wav", mix, rate_hz), tuple(tracks))


def _short_song(slug: str, title: str, seed: int, bpm: int, *, feel: str, key: Key, words: str) -> DemoSong:
    plan = SongPlan(title, seed, Steady(Fraction(bpm)), feel=feel, key=key, form=_FORM, players=_PLAYERS)
    return DemoSong(slug, plan, Brief(bpm=bpm, meter="4/4", starts="bar-one"), words, _PLAYERS)


SHORT_SONGS = (
    _short_song("paper-plate", "Paper Plate Beside Radiator", 201, 120, feel="straight", key=Key(7),
                words="Short and simple: a verse, a chorus, out. Keep the hats closed, please."),
    _short_song("grey-folder", "Grey Folder Under Bench", 202, 132, feel="straight", key=Key(2),
                words="132, from bar one. Play it straight, one fill into the chorus."),
    _short_song("empty-jar", "Empty Jar Near Doormat", 203, 126, feel="four-floor", key=Key(9, minor=True),
                words="Four on the floor, please. Nothing fancy."),
    _short_song("loose-button", "Loose Button On Counter", 204, 116, feel="straight", key=Key(0),
                words="116, with a click. It is for a short film, so it has to be tight."),
)  # fmt: skip
SHORT_SONG_BY_SLUG = {song.slug: song for song in SHORT_SONGS}
