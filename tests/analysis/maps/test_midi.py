"""Standard MIDI Files, byte by byte where the standard fixes them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import mido
import pytest

from analysis.maps.anchors import Anchor, map_through
from analysis.maps.midi import Marker, MidiError, microseconds_per_quarter, quarters_per_minute, read_midi, write_midi
from analysis.maps.tempo_map import MeterSign, TempoMap
from tests.analysis.playing import FREE_MAP

# Standard MIDI File 1.1, Set Tempo FF 51 03 tt tt tt: microseconds per quarter, rounded (derived).
STORED = {
    "60": "0F4240",
    "92.5": "09E5C9",
    "108": "087A24",
    "112": "082CA2",
    "120": "07A120",
    "128": "07270E",
    "140": "068A1B",
    "174": "0542FC",
}


def written(tempo_map: TempoMap, path: Path, *, bars: int = 8) -> bytes:
    write_midi(tempo_map, path / "map.mid", bars=bars)
    return (path / "map.mid").read_bytes()


@pytest.mark.parametrize("bpm", STORED)
def test_stores_the_rounded_microseconds_per_quarter(bpm: str, tmp_path: Path) -> None:
    assert bytes.fromhex("FF5103" + STORED[bpm]) in written(TempoMap.constant(bpm), tmp_path)


def test_six_eight_is_stored_as_its_quarter_tempo(tmp_path: Path) -> None:
    # SMF 1.1: tempo counts quarters, whatever the beat; a dotted quarter at 72 is a quarter at 108.
    data = written(TempoMap.constant(72, "6/8"), tmp_path)

    assert bytes.fromhex("FF5103087A24") in data
    assert bytes.fromhex("0CB735") not in data
    assert bytes.fromhex("FF580406032408") in data


@pytest.mark.parametrize(
    ("meter", "stored"), [("4/4", "FF580404021808"), ("7/8", "FF580407030C08"), ("3/4", "FF580403021808")]
)
def test_stores_the_meter(meter: str, stored: str, tmp_path: Path) -> None:
    # SMF 1.1, Time Signature FF 58 04 nn dd cc bb.
    assert bytes.fromhex(stored) in written(TempoMap.constant(112, meter), tmp_path)


def test_header_and_end_of_track(tmp_path: Path) -> None:
    data = written(TempoMap.constant(112), tmp_path)

    assert data[:8] == b"MThd\x00\x00\x00\x06"
    assert data.endswith(bytes.fromhex("FF2F00"))


def test_reads_back_the_tempo_that_was_meant(tmp_path: Path) -> None:
    # 535 714 microseconds are 112.0000597 BPM; half a microsecond is all that rounding can explain.
    write_midi(TempoMap.constant(112), tmp_path / "map.mid", bars=8)

    assert read_midi(tmp_path / "map.mid").tempo_map.segments[0].bpm == 112


@pytest.mark.parametrize("bpm", ["92.5", "108", "174", "111.95", "133.333"])
def test_snaps_only_to_what_would_be_stored_alike(bpm: str) -> None:
    stored = microseconds_per_quarter(Fraction(bpm), Fraction(1))

    assert microseconds_per_quarter(quarters_per_minute(stored), Fraction(1)) == stored
    assert quarters_per_minute(stored) == pytest.approx(float(bpm), abs=0.0005)


def test_a_map_with_changes_survives_the_round_trip(tmp_path: Path) -> None:
    tempo_map = TempoMap.from_json(
        {
            "segments": [
                {"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"},
                {"bar": 5, "time_s": 8, "bpm": 100, "meter": "3/4"},
                {"bar": 9, "time_s": 15.2, "bpm": 60, "meter": "6/8"},
            ]
        }
    )
    write_midi(tempo_map, tmp_path / "map.mid", bars=12, markers=[Marker(1, "Intro"), Marker(5, "Verse")])

    facts = read_midi(tmp_path / "map.mid")

    assert facts.tempo_map == tempo_map
    assert facts.markers == (Marker(1, "Intro"), Marker(5, "Verse"))


def test_bars_lead_up_to_a_late_bar_one(tmp_path: Path) -> None:
    write_midi(TempoMap.constant(112, "4/4", Fraction(5, 2)), tmp_path / "map.mid", bars=8)

    facts = read_midi(tmp_path / "map.mid")

    assert float(facts.tempo_map.bar_one_s) == pytest.approx(2.5, abs=2e-5)
    assert facts.tempo_map.segment_at_bar(1).bpm == 112


def test_without_events_it_is_120_in_four_four(tmp_path: Path) -> None:
    # SMF 1.1: the default until an event says otherwise.
    file = mido.MidiFile(type=1, ticks_per_beat=960)
    file.tracks.append(mido.MidiTrack([mido.MetaMessage("end_of_track", time=0)]))
    file.save(tmp_path / "empty.mid")

    facts = read_midi(tmp_path / "empty.mid")

    assert (facts.tempo_map.segments[0].bpm, str(facts.tempo_map.segments[0].meter)) == (Fraction(120), "4/4")
    assert not facts.states_tempo


def test_finds_tempo_events_outside_the_first_track(tmp_path: Path) -> None:
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    file.tracks += [mido.MidiTrack(), mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=535_714, time=0)])]
    file.save(tmp_path / "late.mid")

    assert read_midi(tmp_path / "late.mid").tempo_map.segments[0].bpm == 112


@pytest.mark.parametrize(
    "data", [b"", b"MThd", b"not a midi file at all", b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\xe7\x28", b"RIFF" * 40]
)
def test_refuses_what_is_no_midi_file(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "bad.mid").write_bytes(data)

    with pytest.raises(MidiError):
        read_midi(tmp_path / "bad.mid")


def test_refuses_a_meter_that_nobody_counts(tmp_path: Path) -> None:
    file = mido.MidiFile(type=1)
    file.tracks.append(mido.MidiTrack([mido.MetaMessage("time_signature", numerator=99, denominator=4, time=0)]))
    file.save(tmp_path / "map.mid")

    with pytest.raises(MidiError, match="99/4 is not a meter"):
        read_midi(tmp_path / "map.mid")


def test_a_free_passage_is_bent_so_that_later_bars_fall_right(tmp_path: Path) -> None:
    """Read by mido: 16 quarters in 10 s are 625 000 µs each; bar 9 falls at 32 quarters and 18 s, between the markers
    (Source: SMF 1.1, FF 51 03 and FF 06)."""
    write_midi(FREE_MAP, tmp_path / "map.mid", bars=12)
    tempos, marks, clock_s, quarters, tempo_us = [], [], 0.0, 0.0, 500_000
    for message in mido.MidiFile(tmp_path / "map.mid").tracks[0]:
        clock_s += mido.tick2second(message.time, 480, tempo_us)
        quarters += message.time / 480
        if message.type == "set_tempo":
            tempo_us = message.tempo
            tempos.append((quarters, tempo_us))
        if message.type == "marker":
            marks.append((quarters, message.text, round(clock_s, 9)))

    assert tempos == [(0.0, 500_000), (16.0, 625_000), (32.0, 600_000)]
    assert marks == [(16.0, "free", 8.0), (32.0, "in time", 18.0)]
    assert clock_s == pytest.approx(18 + 4 * 1.8)


def test_what_is_free_survives_the_round_trip(tmp_path: Path) -> None:
    write_midi(FREE_MAP, tmp_path / "map.mid", bars=12)

    facts = read_midi(tmp_path / "map.mid")

    assert facts.tempo_map == FREE_MAP
    assert facts.markers == (Marker(5, "free"), Marker(9, "in time"))


def test_a_song_free_to_its_end_is_never_in_time_again(tmp_path: Path) -> None:
    four = MeterSign(4, 4)
    anchors = [Anchor(1, Fraction(0), four), Anchor(3, Fraction(4), four, free=True)]
    tempo_map = map_through(anchors, last_bpm=Fraction(120))
    write_midi(tempo_map, tmp_path / "map.mid", bars=12)

    assert read_midi(tmp_path / "map.mid").markers == (Marker(3, "free"),)
    assert read_midi(tmp_path / "map.mid").tempo_map == tempo_map


def test_a_free_passage_before_bar_one_is_marked_at_bar_one(tmp_path: Path) -> None:
    """Bar 0 is free from -2 s on, bar 2 begins at 2 s: what comes before the files cannot be marked."""
    four = MeterSign(4, 4)
    anchors = [Anchor(0, Fraction(-2), four, free=True), Anchor(2, Fraction(2), four)]
    write_midi(map_through(anchors, last_bpm=Fraction(120)), tmp_path / "map.mid", bars=4)

    assert read_midi(tmp_path / "map.mid").markers == (Marker(1, "free"), Marker(2, "in time"))


def midi_of(folder: Path, *messages: mido.MetaMessage) -> Path:
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    file.tracks.append(mido.MidiTrack(messages))
    file.save(folder / "map.mid")
    return folder / "map.mid"


def test_a_tempo_of_nothing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MidiError, match="states a tempo of 0 microseconds per quarter note, which is none"):
        read_midi(midi_of(tmp_path, mido.MetaMessage("set_tempo", tempo=0)))


def test_markers_are_one_clean_line(tmp_path: Path) -> None:
    path = midi_of(tmp_path, mido.MetaMessage("marker", text="verse\0\x1b[2J\n two"))

    assert read_midi(path).markers == (Marker(1, "verse / [2J two"),)


def test_markers_keep_letters_of_other_scripts(tmp_path: Path) -> None:
    names = [Marker(1, "A 후렴"), Marker(3, "Perché no")]
    write_midi(TempoMap.constant(120), tmp_path / "map.mid", bars=4, markers=names)

    # Read by mido with the same encoding, and by our own reader; an older file in Latin-1 reads as before.
    file = mido.MidiFile(tmp_path / "map.mid", charset="utf-8")
    assert [one.text for one in file.tracks[0] if one.type == "marker"] == ["A 후렴", "Perché no"]
    assert read_midi(tmp_path / "map.mid").markers == tuple(names)
    assert read_midi(midi_of(tmp_path, mido.MetaMessage("marker", text="Perché"))).markers == (Marker(1, "Perché"),)


def test_thousands_of_tempos_are_read_at_once_and_stay_exact(tmp_path: Path) -> None:
    """A tempo for each quarter, none like another: four of them make a bar, and bars follow on one another.

    By arithmetic: bar n begins when the n - 1 bars before it have passed. Two milliseconds are left for what a tempo
    loses that is read as a thousandth of a BPM.
    """
    tempos = [400_000 + 41 * number for number in range(4_000)]
    messages = [mido.MetaMessage("set_tempo", tempo=us, time=480 if number else 0) for number, us in enumerate(tempos)]
    tempo_map = read_midi(midi_of(tmp_path, *messages)).tempo_map

    for bar in (2, 500, 1_000):
        assert float(tempo_map.time_of_bar(bar)) == pytest.approx(sum(tempos[: 4 * (bar - 1)]) / 1e6, abs=2e-3)
    assert max(segment.time_s.denominator for segment in tempo_map.segments) <= 10**12


def test_more_than_a_song_holds_is_refused(tmp_path: Path) -> None:
    many = midi_of(tmp_path, *[mido.MetaMessage("set_tempo", tempo=500_000, time=1)] * 20_001)
    with pytest.raises(MidiError, match="holds too many tempo events"):
        read_midi(many)

    (tmp_path / "large.mid").write_bytes(b"MThd" + bytes(4 * 2**20))
    with pytest.raises(MidiError, match="is larger than the MIDI file of any song"):
        read_midi(tmp_path / "large.mid")
