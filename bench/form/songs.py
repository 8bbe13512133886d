"""Write songs with known form: python -m bench.form.songs FOLDER [--songs N] [--first SEED].

Each is a folder with its files and `truth.json`: `downbeats_s` (bar lines and the end of the last bar), `bars`,
`meters` of the bars, `sections` (start_bar, bars, label, dynamic, transpose), `hits`, `stops`, `fills` and the beats
that they begin on, `grooves`, `ending`. Half the songs have drums, half come as stems. Rules are found on the seeds of
`FITTED` and `FURTHER`; what is reported is measured on those of `HELD_OUT`.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from bench.form.arrangements import Arrangement, arrange
from bench.form.parts import beat_times_s, first_beats, push_beat, seconds_at, write_notes
from bench.form.render import RATE_HZ, render

# The second of each are songs whose sections differ little.
FITTED = (range(40), range(2000, 2016))
# Hits, stops and drums in a mix are learned from these too.
FURTHER = (range(200, 280), range(300, 340))
HELD_OUT = (range(1000, 1060), range(3000, 3020))
DRUM_BY_SOUND = {"kick": "kick", "snare": "snare", "hat": "hat", "open": "hat", "ride": "hat"}


def write_song(seed: int, folder: Path) -> Path:
    """Render one song into a folder of its own, unless it is there; the truth is written last."""
    home = folder / f"song-{seed:04d}"
    if (home / "truth.json").is_file():
        return home
    home.mkdir(parents=True, exist_ok=True)
    song = arrange(seed)
    for player, samples in render(song).items():
        soundfile.write(home / f"{player}.wav", samples, RATE_HZ, subtype="PCM_16")
    (home / "truth.json").write_text(json.dumps(truth_of(song)) + "\n", "utf-8")
    return home


def sound_files(home: Path) -> list[Path]:
    return sorted(home.glob("*.wav"))


def truth_of(song: Arrangement) -> dict[str, Any]:
    starts = first_beats(song)
    downbeats_s = [round(float(time), 6) for time in seconds_at(song, beat_times_s(song), np.array(starts))]
    return {
        "seed": song.seed,
        "drums": song.drums,
        "stems": song.stems,
        "bpm": song.bpm,
        "meter": song.meter.sign,
        "swing": song.meter.swing,
        "bars": len(song.bars),
        "downbeats_s": downbeats_s,
        "meters": [bar.sign for bar in song.bars],
        "sections": _sections(song),
        "hits": _hits(song),
        "stops": _stops(song),
        "fills": (fills := _fills(song)),
        "fill_beats": _fill_beats(song, fills),
        "grooves": _grooves(song),
        "ending": _ending(song),
    }


def _sections(song: Arrangement) -> list[dict[str, Any]]:
    return [
        {
            "start_bar": one.start_bar,
            "bars": one.bars,
            "label": one.name,
            "dynamic": one.dynamic,
            "transpose": one.transpose,
            "players": list(one.players),
        }
        for one in song.sections
    ]


def _hits(song: Arrangement) -> list[dict[str, Any]]:
    found = []
    for number, bar in enumerate(song.bars, 1):
        found += [
            {"bar": number, "beat": round(beat, 4), "length_beats": length, "alone": bar.alone, "kind": "figure"}
            for beat, length in bar.hits
        ]
        if bar.push and number < len(song.bars):
            beat = round(push_beat(song, bar), 4)
            found.append({"bar": number, "beat": beat, "length_beats": 1.5, "alone": True, "kind": "push"})
    return found


def _stops(song: Arrangement) -> list[dict[str, Any]]:
    return [
        {"bar": number, "beat": bar.stop[0], "beats": bar.stop[1]}
        for number, bar in enumerate(song.bars, 1)
        if bar.stop
    ]


def _fills(song: Arrangement) -> list[int]:
    drummed = _drummed(song)
    return [
        number
        for number, bar in enumerate(song.bars, 1)
        if bar.fill and not bar.hits and not bar.stop and bar.section in drummed and number < len(song.bars)
    ]


def _fill_beats(song: Arrangement, fills: list[int]) -> list[float]:
    """Where in its bar each fill begins, in the middle or on the last pulse: from there on time is kept no more."""
    starts = first_beats(song)
    kept = np.array([note.beat for note in write_notes(song) if DRUM_BY_SOUND.get(note.sound) == "hat"])
    found = []
    for number in fills:
        bar = song.bars[number - 1]
        middle, last = 1 + bar.beats // 2, 1 + max(0, bar.beats - song.meter.pulse)
        beats = kept - starts[number - 1] + 1
        is_kept = ((beats > middle - 1e-6) & (beats < last - 1e-6)).any()
        found.append(float(last if is_kept else middle))
    return found


def _drummed(song: Arrangement) -> set[int]:
    """Sections in which the drums play a groove."""
    starts = first_beats(song)
    beats = sorted({note.beat for note in write_notes(song) if note.sound in ("kick", "snare")})
    found = set()
    for index, section in enumerate(song.sections):
        first, last = starts[section.start_bar - 1], starts[section.start_bar + section.bars - 2]
        if sum(first <= beat < max(last, first + 1) for beat in beats) >= 2:
            found.add(index)
    return found


def _grooves(song: Arrangement) -> list[dict[str, Any]]:
    drummed = _drummed(song)
    return [
        {
            "section": index + 1,
            "kick": [round(beat, 4) for beat in section.material.groove.kick],
            "snare": [round(beat, 4) for beat in section.material.groove.snare],
            "hat": [round(beat, 4) for beat in section.material.groove.hat],
            "cymbal": section.material.groove.cymbal,
        }
        for index, section in enumerate(song.sections)
        if index in drummed
    ]


def _ending(song: Arrangement) -> dict[str, Any]:
    return {"kind": song.ending, "bar": len(song.bars)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--songs", type=int, default=60)
    parser.add_argument("--first", type=int, default=HELD_OUT[0].start)
    options = parser.parse_args()
    for seed in range(options.first, options.first + options.songs):
        print(write_song(seed, options.folder))


if __name__ == "__main__":
    main()
