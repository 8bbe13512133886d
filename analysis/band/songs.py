"""The invented songs of the demo house: what is played, what the client says of it, what is wrong with the files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from shutil import copyfile

from analysis.band import damage
from analysis.band.clock import Drift, Slowing, Steady, Step
from analysis.band.damage import Sound
from analysis.band.harmony import Key
from analysis.band.render import mix_stems, render_stems, write_wav
from analysis.band.score import SongPlan, write_score
from analysis.band.truth import Truth
from analysis.core.reports import Brief

_Spoil = Callable[[Sound], Sound]
ROUGH_MIX = "rough-mix"


@dataclass(frozen=True)
class DemoSong:
    """One song as a client sends it.

    `sends` names the files in order: players of the plan, or `ROUGH_MIX`. `spoilt` changes a file's samples on the way
    out; `label_hz` is the rate written into the headers when it is not the true one; `cut_short` keeps that share of a
    file's bytes; `twice` sends a file again under another name. `due` are the findings that it is there for.
    """

    slug: str
    plan: SongPlan
    brief: Brief
    words: str
    sends: tuple[str, ...]
    sample_rate_hz: int = 48_000
    depth: str = "PCM_24"
    suffix: str = ".wav"
    spoilt: tuple[tuple[str, _Spoil], ...] = ()
    label_hz: int | None = None
    cut_short: tuple[tuple[str, float], ...] = ()
    twice: tuple[str, ...] = ()
    due: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        return self.plan.title


@dataclass(frozen=True)
class RenderedSong:
    song: DemoSong
    truth: Truth
    paths: tuple[Path, ...]


def render_song(song: DemoSong, folder: Path, *, form: tuple[tuple[str, int], ...] | None = None) -> RenderedSong:
    """Write the song's files to `folder`. A shorter `form` makes a quick version of the same song."""
    score = write_score(replace(song.plan, form=form) if form else song.plan)
    stems = render_stems(score, song.sample_rate_hz)
    paths = []
    for name in song.sends:
        sound = mix_stems(stems) if name == ROUGH_MIX else stems[name]
        for spoilt_name, spoil in song.spoilt:
            sound = spoil(sound) if spoilt_name == name else sound
        path = folder / f"{song.slug}_{name}{song.suffix}"
        paths.append(write_wav(path, sound, song.label_hz or song.sample_rate_hz, depth=song.depth))
    _spoil_files(song, folder, paths)
    return RenderedSong(song, score.truth, tuple(paths))


def _spoil_files(song: DemoSong, folder: Path, paths: list[Path]) -> None:
    for name in song.twice:
        again = folder / f"{song.slug}_{name}_2{song.suffix}"
        copyfile(folder / f"{song.slug}_{name}{song.suffix}", again)
        paths.append(again)
    for name, keep in song.cut_short:
        damage.truncate_file(folder / f"{song.slug}_{name}{song.suffix}", keep=keep)


# Section and bars (house choice).
_LONG_FORM = (("intro", 4), ("verse", 16), ("chorus", 8), ("verse", 16), ("chorus", 8), ("bridge", 8), ("chorus", 16),
             ("outro", 4))  # fmt: skip

SONGS: tuple[DemoSong, ...] = (
    DemoSong(
        "thursday-ladder",
        SongPlan("Thursday Ladder Behind Soup", 101, Steady(Fraction(112)), feel="straight", key=Key(7),
                 form=_LONG_FORM, silence_s=Fraction(1, 2), strings_sound="steel"),
        Brief(),
        "All stems from the top. I never worked to a click, sorry! Big choruses please, verses can stay small.",
        ("bass", "keys", "strings", "pad", "lead"),
        due=("no-click",),
    ),
    DemoSong(
        "wet-stairs",
        SongPlan("Wet Stairs Beside Kettle", 102, Steady(Fraction(185, 2)), feel="straight", key=Key(2),
                 form=_LONG_FORM, pickup_beats=Fraction(3, 2), silence_s=Fraction(2), keys_sound="reeds",
                 hiss_dbfs=-78.0),
        Brief(bpm=92.5, meter="4/4"),
        "92.5. The voice comes in before bar one. Rough mix and stems attached.",
        ("bass", "keys", "strings", "lead", ROUGH_MIX),
        due=("pickup",),
    ),
    DemoSong(
        "borrowed-stapler",
        SongPlan("Borrowed Stapler Under Porridge", 103, Steady(Fraction(58)), feel="rolling", key=Key(9, minor=True),
                 form=(("intro", 4), ("verse", 16), ("chorus", 16), ("verse", 16), ("chorus", 16), ("outro", 4)),
                 players=("bass", "keys", "strings", "pad", "lead", "click"), count_in_bars=2, keys_sound="hammers",
                 strings_sound="nylon", click_sound="block"),
        Brief(bpm=58, meter="6/8", starts="count-in", count_in_bars=2),
        "In 6/8, click on the dotted quarter, two bars of count-in. Brushes if you have them.",
        ("click", "bass", "keys", "strings", "pad", "lead"),
    ),
    DemoSong(
        "damp-receipt",
        SongPlan("Damp Receipt Near Cupboard", 104, Steady(Fraction(128)), feel="four-floor", key=Key(4, minor=True),
                 form=_LONG_FORM, keys_sound="tines"),
        Brief(bpm=128, meter="4/4", starts="bar-one"),
        "128, everything starts at bar one. The bass is hot, that's the sound.",
        ("bass", "keys", "strings", "pad", "lead"),
        spoilt=(("bass", partial(damage.clip, over_db=6.0)), ("keys", partial(damage.start_late, frames=5_280))),
        due=("clipped", "start-differs"),
    ),
    DemoSong(
        "eleven-buckets",
        SongPlan("Eleven Buckets Without Handles", 105, Drift(Fraction(84), depth=0.025, period_beats=90),
                 feel="ballad", key=Key(0), keys_sound="hammers", silence_s=Fraction(3, 4), form=_LONG_FORM,
                 strings_sound="nylon", hiss_dbfs=-72.0),
        Brief(meter="4/4"),
        "We played this live in one room, no click. It breathes, please go with it.",
        ("bass", "keys", "strings", "lead", ROUGH_MIX),
        due=("no-click", "tempo-drifts"),
    ),
    DemoSong(
        "wrong-parcel",
        SongPlan("Wrong Parcel Beside Carrots", 106, Steady(Fraction(112)), feel="sixteen", key=Key(5),
                 keys_sound="tines"),
        Brief(bpm=112, meter="4/4", starts="bar-one", sample_rate_hz=48_000),
        "112 bpm, 48k. Sounds a bit slow on my phone?",
        ("bass", "keys", "strings", "lead"),
        label_hz=44_100,
        due=("wrong-rate-suspected",),
    ),
    DemoSong(
        "second-sock",
        SongPlan("Second Sock Inside Drawer", 107, Step(Fraction(96), Fraction(108), at_bar=13), feel="straight",
                 key=Key(10), keys_sound="hammers", strings_sound="driven"),
        Brief(bpm=96, meter="4/4", starts="bar-one"),
        "96 at the top. We push on when the chorus comes.",
        ("bass", "keys", "strings", "pad", ROUGH_MIX),
        twice=("pad",),
        due=("tempo-changes", "duplicate"),
    ),
    DemoSong(
        "seven-radishes",
        SongPlan("Seven Radishes Past Monday", 108, Steady(Fraction(212)), feel="seven", key=Key(11, minor=True),
                 players=("bass", "keys", "strings", "lead"), silence_s=Fraction(1),
                 form=(("intro", 8), ("verse", 16), ("chorus", 16), ("verse", 16), ("chorus", 16), ("outro", 8))),
        Brief(meter="7/8"),
        "Seven-eight, counted two-two-three. The strings upload stopped half way, is it all there?",
        ("bass", "keys", "strings", "lead"),
        cut_short=(("strings", 0.6),),
        due=("cut-short", "no-click"),
    ),
    DemoSong(
        "slowest-toaster",
        SongPlan("Slowest Toaster In Corridor", 109, Slowing(Fraction(138), last_beats=6), feel="waltz", key=Key(3),
                 keys_sound="hammers", strings_sound="nylon",
                 form=(("intro", 8), ("verse", 32), ("chorus", 32), ("verse", 32), ("outro", 8))),
        Brief(bpm=138, meter="3/4", starts="bar-one"),
        "A waltz at 138 that slows down at the end.",
        ("bass", "keys", "strings", "lead", ROUGH_MIX),
        sample_rate_hz=44_100,
        depth="PCM_16",
    ),
)  # fmt: skip

SONG_BY_SLUG = {song.slug: song for song in SONGS}
