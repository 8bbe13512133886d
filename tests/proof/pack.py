"""Checks a session pack with no code of Kitpost's: `python -m tests.proof.pack FOLDER_OR_ZIP`.

Hashes, chunks, lengths, rates, depths, time references, every onset of the click (tolerance 0), the cue sheet, the
interchange file, and the MIDI file by two libraries. Prints one line a check; exit status 1 when one fails.
"""

from __future__ import annotations

import csv
import hashlib
import json
import struct
import sys
import tempfile
import wave
import zipfile
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pretty_midi
import soundfile

from tests.proof.grid import Grid

SECONDS_PER_HOUR = 3_600
SOUND_S = 0.06  # a click is over by then
READ_BYTES = 2**20
SUBTYPES = {16: "PCM_16", 24: "PCM_24", 32: "FLOAT"}


class ProofError(AssertionError):
    """What is wrong with the pack."""


def claim(true: object, sentence: str) -> None:
    if not true:
        raise ProofError(sentence)


def sha256_of(path: Path) -> str:
    seen = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(READ_BYTES):
            seen.update(piece)
    return seen.hexdigest()


def check_hashes(root: Path, _grid: Grid) -> str:
    lines = (root / "SHA256SUMS").read_text().splitlines()
    listed = {name: digest for digest, _, name in (line.partition("  ") for line in lines)}
    there = {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()} - {"SHA256SUMS"}
    claim(there == set(listed), f"listed and there differ: {there ^ set(listed)}")
    for name, digest in listed.items():
        claim(sha256_of(root / name) == digest, f"{name} has another hash")
    return f"{len(listed)} hashes"


def chunks_of(path: Path) -> dict[str, tuple[int, int]]:
    """Offset and length of each chunk of a RIFF or RF64 file."""
    found: dict[str, tuple[int, int]] = {}
    with path.open("rb") as file:
        form, _, kind = struct.unpack("<4sI4s", file.read(12))
        claim(form in (b"RIFF", b"RF64") and kind == b"WAVE", f"{path.name} is no WAV")
        long_bytes = 0
        while head := file.read(8):
            name, size = struct.unpack("<4sI", head)
            if name == b"ds64":
                long_bytes = struct.unpack("<8xQ", file.read(16))[0]
                file.seek(-16, 1)
            size = long_bytes if name == b"data" and form == b"RF64" else size
            found[name.decode()] = (file.tell(), size)
            file.seek(size + size % 2, 1)
        claim(file.tell() == path.stat().st_size, f"{path.name} is cut short or has more bytes than its chunks")
    claim((form == b"RF64") >= (path.stat().st_size >= 2**32), f"{path.name} is too long for RIFF")
    return found


def check_sound_files(root: Path, grid: Grid) -> str:
    """EBU Tech 3285: the time reference is 64 bits at 338 of the `bext` chunk."""
    paths = sorted((root / "audio").iterdir())
    for path in paths:
        chunks = chunks_of(path)
        content = path.read_bytes()[chunks["bext"][0] :][:346]
        reference = struct.unpack_from("<Q", content, 338)[0]
        wanted = grid.settings["clock_start_h"] * SECONDS_PER_HOUR * grid.rate_hz
        claim(reference == wanted, f"{path.name}: time reference {reference}, not {wanted}")
        info = soundfile.info(path)
        facts = (info.samplerate, info.frames, info.subtype)
        wanted_facts = (grid.rate_hz, grid.frames, SUBTYPES[grid.settings["bit_depth"]])
        claim(facts == wanted_facts, f"{path.name}: {facts}, not {wanted_facts}")
        data_bytes = grid.frames * info.channels * grid.settings["bit_depth"] // 8
        claim(chunks["data"][1] == data_bytes, f"{path.name}: {chunks['data'][1]} bytes of sound, not {data_bytes}")
        if info.channels <= 2 and info.subtype != "FLOAT" and info.format == "WAV":
            with wave.open(str(path)) as plain:
                claim((plain.getframerate(), plain.getnframes()) == facts[:2], f"{path.name}: wave reads otherwise")
    return f"{len(paths)} files of {grid.frames} frames at {grid.rate_hz} Hz"


def check_click(root: Path, grid: Grid) -> str:
    """Every onset on the nearest frame to the map's time; all clicks of a kind the same; nothing sounds elsewhere."""
    (path,) = [path for path in (root / "audio").iterdir() if description_of(path) == "SessionClick"]
    samples = soundfile.read(path, always_2d=True)[0][:, 0]
    clicks, length = grid.clicks(), int(SOUND_S * grid.rate_hz)
    allowed = np.zeros(len(samples), bool)
    models: dict[str, Any] = {}
    ends = [frame for frame, _ in clicks[1:]] + [grid.frames]
    for (frame, kind), end in zip(clicks, ends, strict=True):
        allowed[frame : frame + length] = True
        sound = samples[frame : min(end, frame + length)]
        model = models.setdefault(kind, sound)
        shared = min(len(model), len(sound))
        claim(samples[frame] != 0, f"no click at frame {frame}")
        claim(np.array_equal(model[:shared], sound[:shared]), f"the click at frame {frame} is not where it should be")
        before = samples[max(0, frame - 1) : frame]
        claim(not before.any() or allowed[frame - 1], f"something sounds before frame {frame}")
    claim(not samples[~allowed].any(), "something sounds where no click is due")
    peak = float(20 * np.log10(np.abs(samples).max()))
    claim(peak <= grid.click["peak_dbfs"] + 0.01, f"peaks at {peak:.2f} dBFS")
    return f"{len(clicks)} onsets, all on their frame; peak {peak:.2f} dBFS"


def description_of(path: Path) -> str:
    offset = chunks_of(path)["bext"][0]
    with path.open("rb") as file:
        file.seek(offset)
        return file.read(256).rstrip(b"\0").decode()


def check_cue_sheet(root: Path, grid: Grid) -> str:
    with (root / "cue-sheet.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    told = [(int(row["session bar"]), int(row["song bar"]), int(row["frame"])) for row in rows]
    wanted = [(bar + grid.start_bar - 1, bar, grid.frame(bar)) for bar in grid.song_bars]
    claim(told == wanted, f"bars differ, first {next(iter(set(told) ^ set(wanted)), None)}")
    return f"{len(rows)} bars"


def check_interchange(root: Path, grid: Grid) -> str:
    (path,) = root.glob("*.otio")
    session = json.loads(path.read_text("utf-8"))
    tracks = session["tracks"]["children"]
    for track in tracks:
        (clip,) = track["children"]
        claim(clip["source_range"]["duration"]["value"] == grid.frames, f"{track['name']} has another length")
        claim(clip["source_range"]["duration"]["rate"] == grid.rate_hz, f"{track['name']} has another rate")
        address = clip["media_references"]["DEFAULT_MEDIA"]["target_url"]
        claim((root / address).is_file(), f"{address} is not in the pack")
    claim(len(tracks) == len(list((root / "audio").iterdir())), "not every file has a track")
    return f"{len(tracks)} tracks"


def check_midi_by_mido(root: Path, grid: Grid) -> str:
    file = mido.MidiFile(root / "tempo-map.mid")
    now_s, tick, tempo, quarters = 0.0, 0, 500_000, Fraction(0)
    bars = {int(Fraction(0)): 2 - grid.start_bar}
    for bar in grid.song_bars:
        bars[round(quarters * file.ticks_per_beat)] = bar
        quarters += grid.stretch(bar).quarters
    worst, found = 0.0, []
    for message in file.tracks[0]:
        now_s += mido.tick2second(message.time, file.ticks_per_beat, tempo)
        tick += message.time
        tempo = message.tempo if message.type == "set_tempo" else tempo
        if message.type in ("marker", "time_signature") and tick in bars:
            worst = max(worst, abs(now_s - float(grid.time_s(bars[tick]))))
        found += [message.text] if message.type == "marker" else []
    claim("bar one" in found, "no marker names bar one")
    claim(worst <= rounding_s(quarters), f"{worst * 1e6:.1f} µs off")
    return f"{len(found)} markers; at most {worst * 1e6:.1f} µs from the map (its tempos are whole microseconds)"


def check_midi_by_pretty_midi(root: Path, grid: Grid) -> str:
    """Bar lines as another library counts them."""
    song = pretty_midi.PrettyMIDI(str(root / "tempo-map.mid"))
    signs = [(sign.numerator, sign.denominator, sign.time) for sign in song.time_signature_changes]
    quarters, worst = Fraction(0), 0.0
    for bar in grid.song_bars:
        at = song.tick_to_time(round(quarters * song.resolution))
        worst = max(worst, abs(at - float(grid.time_s(bar))))
        stretch = grid.stretch(bar)
        last = [sign for sign in signs if sign[2] <= at + 1e-6][-1]
        claim(last[:2] == (stretch.upper, stretch.lower), f"bar {bar} has meter {last[:2]}")
        quarters += stretch.quarters
    claim(worst <= rounding_s(quarters), f"{worst * 1e6:.1f} µs off")
    return f"{len(grid.song_bars)} bars; at most {worst * 1e6:.1f} µs from the map"


def rounding_s(quarters: Fraction) -> float:
    """Half a microsecond for each quarter note: what SMF 1.1 rounds."""
    return float(quarters) * 0.5e-6 + 1e-6


CHECKS: dict[str, Callable[[Path, Grid], str]] = {
    "hashes": check_hashes,
    "sound files": check_sound_files,
    "click": check_click,
    "cue sheet": check_cue_sheet,
    "interchange": check_interchange,
    "MIDI by mido": check_midi_by_mido,
    "MIDI by pretty_midi": check_midi_by_pretty_midi,
}


def prove(root: Path) -> Iterator[tuple[str, bool, str]]:
    """Name, passed, and a sentence of every check."""
    grid = Grid(json.loads((root / "session.json").read_text("utf-8")))
    for name, check in CHECKS.items():
        try:
            yield name, True, check(root, grid)
        except ProofError as error:
            yield name, False, str(error)


def main(given: Path) -> int:
    with tempfile.TemporaryDirectory(prefix="proof-") as folder:
        if given.is_file():
            with zipfile.ZipFile(given) as packed:
                packed.extractall(folder)
            given = next(Path(folder).rglob("SHA256SUMS")).parent
        results = list(prove(given))
    for name, passed, sentence in results:
        sys.stdout.write(f"{'ok  ' if passed else 'FAIL'}  {name}: {sentence}\n")
    return 0 if all(passed for _, passed, _ in results) else 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
