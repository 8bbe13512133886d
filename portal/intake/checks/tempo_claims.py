"""What the client's files say of the tempo besides the music, and how far one tempo is from another, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from analysis.bars import map_stated
from analysis.core import SongMeasures, tempo_in_figures, tempo_in_words
from analysis.maps import beat_name_of
from portal.intake.models import SongCheck, SourceFile

# Evidence in a file's report, in the order of its worth; how it is called beside the file name.
EVIDENCE = (("midi_bpm", "MIDI file"), ("tag_bpm", "file tag"), ("name_bpm", "file name"))
LEVELS = ((2.0, "twice the measured"), (0.5, "half of the measured"))
# The same pulse counted otherwise, within what a tempo written without decimals can be off (house choice).
SAME_PULSE = 0.006
TELL_FROM_BPM = Decimal("0.001")


@dataclass(frozen=True)
class FileSays:
    """One file's word on the tempo: `bpm`, or from there up to `highest_bpm` where it moves. `meter` is empty where it
    says none; where meters change, it names each."""

    file: str
    how: str
    bpm: float
    meter: str = ""
    highest_bpm: float | None = None

    @property
    def tempo(self) -> str:
        """A click and a MIDI file count the beat of their meter; a tag or a name gives a bare figure."""
        words = tempo_in_figures(self.bpm)
        if self.highest_bpm is not None:
            words = f"{words} to {tempo_in_figures(self.highest_bpm)}"
        return tempo_in_words(words, beat_name_of(self.meter))


def files_say(sources: Sequence[SourceFile], check: SongCheck | None) -> list[FileSays]:
    """The click first, as it was measured, several files of it as one; then what MIDI files, tags and names state."""
    clicks = check.click_names if check else set()
    song = check.numbers.song if check else None
    said = list(_click_says("”, “".join(source.name for source in sources if source.name in clicks), song))
    return said + [one for source in sources for one in _evidence_of(source)]


def _click_says(name: str, song: SongMeasures | None) -> Iterator[FileSays]:
    if name and song and song.tempo.source == "click" and song.tempo.bpm:
        yield FileSays(name, "click", song.tempo.bpm, song.meter.sign)


def _evidence_of(source: SourceFile) -> Iterator[FileSays]:
    metadata = source.numbers.metadata if source.numbers else {}
    yield from _moving_midi(source.name, metadata)
    for key, how in EVIDENCE:
        bpm = metadata.get(key)
        if isinstance(bpm, (int, float)) and bpm > 0:
            yield FileSays(source.name, how, float(bpm), _midi_meters(metadata) if key == "midi_bpm" else "")


def _moving_midi(name: str, metadata: dict[str, Any]) -> Iterator[FileSays]:
    """A MIDI file whose tempo changes states no one tempo, but a lowest and a highest."""
    if (midi_map := map_stated(metadata.get("midi_map"))) is None:
        return
    tempi = {segment.bpm for segment in midi_map.segments if not segment.free}
    if len(tempi) > 1:
        yield FileSays(name, "MIDI file", float(min(tempi)), _midi_meters(metadata), highest_bpm=float(max(tempi)))


def _midi_meters(metadata: dict[str, Any]) -> str:
    if "midi_meter" not in metadata:
        return ""
    midi_map = map_stated(metadata.get("midi_map"))
    meters = [str(segment.meter) for segment in midi_map.segments] if midi_map else [str(metadata["midi_meter"])]
    return ", ".join(dict.fromkeys(meters))


def apart_words(bpm: float | Decimal | None, song: SongMeasures | None) -> str:
    """How a stated tempo lies beside the measured one: "as measured", "0.4 bpm faster than measured". Where the beat is
    not the quarter, the note that the measured one counts is named."""
    if not bpm or song is None or not song.tempo.bpm:
        return ""
    said, measured = Decimal(str(bpm)), Decimal(str(song.tempo.bpm))
    beat = beat_name_of(song.meter.sign)
    if abs(said - measured) < TELL_FROM_BPM:
        return "as measured"
    for level, words in LEVELS:
        if abs(float(said / measured) / level - 1) < SAME_PULSE:
            return f"{words} {tempo_in_words(tempo_in_figures(measured), beat)}"
    way = "faster" if said > measured else "slower"
    return f"{tempo_in_words(tempo_in_figures(abs(said - measured)), beat)} {way} than measured"
