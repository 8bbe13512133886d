"""A delivery as a set. Lengths and rates are exact; lag and polarity to one frame (house choice)."""

from pathlib import Path

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.delivery.check_results import Check, VerifyReport, still_open
from analysis.delivery.verify import verify_set
from analysis.maps.tempo_map import TempoMap
from analysis.media.broadcast import Broadcast, create_broadcast
from tests import signals
from tests.analysis.encoded import write_sound

FRAMES = 96_000
NAMES = ("KickIn", "KickOut", "Hat", "Tom1", "Tom2", "Floor1", "Floor2", "Ride", "RmMono", "Click", "Spare1", "Spare2")


def write_set(folder: Path, tracks: dict[str, Samples], **options: int) -> list[Path]:
    return [
        write_sound(folder / f"{name}.wav", samples, options.get(name, 48_000))
        for name, samples in sorted(tracks.items())
    ]


def plain_tracks(count: int = 4, frames: int = FRAMES) -> dict[str, Samples]:
    return {name: signals.noise(duration_s=frames / 48_000, seed=seed) for seed, name in enumerate(NAMES[:count])}


def failed(report: VerifyReport) -> list[Check]:
    return [check for check in report.checks if not check.passed]


def by_code(report: VerifyReport, code: str) -> list[Check]:
    return [check for check in report.checks if check.code == code]


def test_equal_tracks_pass(tmp_path: Path) -> None:
    report = verify_set(write_set(tmp_path, plain_tracks(12)))

    assert report.passed
    assert len(by_code(report, "length")) == 12
    assert VerifyReport.from_json(report.to_json()) == report


def test_one_frame_short(tmp_path: Path) -> None:
    tracks = plain_tracks()
    tracks["Hat"] = tracks["Hat"][:-1]
    report = verify_set(write_set(tmp_path, tracks))

    assert not report.passed
    (check,) = failed(report)
    assert (check.code, check.file, check.value, check.limit) == ("length", "Hat.wav", FRAMES - 1, FRAMES)
    assert "1 frame short" in check.message


def test_another_rate_fails_before_any_sound_is_read(tmp_path: Path) -> None:
    report = verify_set(write_set(tmp_path, plain_tracks(), Hat=44_100))

    assert ("rate", "Hat.wav") in [(check.code, check.file) for check in failed(report)]
    assert by_code(report, "sounding") == []


@pytest.mark.parametrize(("inverted", "passed"), [(False, True), (True, False)])
def test_overhead_against_the_snare(tmp_path: Path, inverted: bool, passed: bool) -> None:
    """0.95 m further away: 133 frames at 48 kHz (343 m/s)."""
    pair = signals.overhead_pair(inverted=inverted)
    report = verify_set(write_set(tmp_path, {"SnTop": pair.first, "OHL": pair.second}))

    (check,) = by_code(report, "polarity")
    assert check.value == pytest.approx(133, abs=1)
    assert (check.file, check.passed) == ("OHL.wav", passed)
    assert ("polarity opposite" in check.message) == inverted


def test_the_other_head_is_opposite_by_nature(tmp_path: Path) -> None:
    pair = signals.snare_heads()
    report = verify_set(write_set(tmp_path, {"SnTop": pair.first, "SnBot": pair.second}))

    (check,) = by_code(report, "polarity")
    assert check.passed
    assert "expected" in check.message


@pytest.mark.parametrize(
    ("labels", "words"),
    [({}, []), ({"Audio 1.wav": "SnTop", "Audio 2.wav": "SnBot"}, ["expected"])],
)
def test_what_a_name_does_not_say_is_said_by_a_label(tmp_path: Path, labels: dict[str, str], words: list[str]) -> None:
    pair = signals.snare_heads()
    tracks = write_set(tmp_path, {"Audio 1": pair.first, "Audio 2": pair.second})
    checks = by_code(verify_set(tracks, labels=labels), "polarity")
    assert [word for check in checks for word in ("expected",) if word in check.message] == words


@pytest.mark.parametrize("name", ["Ärger & Söhne - Demo (final).wav", "aux.wav", "CON.wav", "kick in.wav"])
def test_unsafe_names_get_a_suggestion(tmp_path: Path, name: str) -> None:
    write_sound(tmp_path / name, signals.noise())
    (check,) = by_code(verify_set([tmp_path / name]), "safe-name")

    assert not check.passed
    assert check.limit.endswith(".wav")


def test_names_that_a_disk_may_take_for_one(tmp_path: Path) -> None:
    """Composed and decomposed spelling of one name (Unicode NFC)."""
    for seed, name in enumerate(("caf\u00e9.wav", "cafe\u0301.wav")):
        write_sound(tmp_path / name, signals.noise(seed=seed))
    report = verify_set(sorted(tmp_path.iterdir()))

    assert len(by_code(report, "distinct-name")) == 1


def test_silent_and_clipped_tracks(tmp_path: Path) -> None:
    tracks = plain_tracks()
    tracks["Hat"] = signals.silence(duration_s=2.0)
    tracks["Tom1"] = np.concatenate([signals.clipped_tone(), tracks["Tom1"][48_000:]])
    report = verify_set(write_set(tmp_path, tracks))

    found = [(check.code, check.file) for check in failed(report) if check.code in ("sounding", "clipped")]
    assert found == [("sounding", "Hat.wav"), ("clipped", "Tom1.wav")]


def test_the_same_track_twice(tmp_path: Path) -> None:
    tracks = plain_tracks()
    tracks["Tom1"] = tracks["Hat"]

    assert [check.code for check in failed(verify_set(write_set(tmp_path, tracks)))] == ["distinct-sound"]


@pytest.mark.parametrize(("late", "passed"), [(0, True), (1, True), (2, False), (480, False)])
def test_against_the_rough_mix(tmp_path: Path, late: int, passed: bool) -> None:
    tracks = plain_tracks()
    mix = signals.delayed(np.asarray(sum(tracks.values())), 1_000 - late)[: FRAMES - 1_000]
    rough = write_sound(tmp_path / "rough.wav", mix * 0.5)
    folder = tmp_path / "set"
    folder.mkdir()
    report = verify_set(
        write_set(folder, {name: signals.delayed(samples, 1_000) for name, samples in tracks.items()}), against=rough
    )

    (check,) = by_code(report, "lined-up")
    assert (check.passed, check.value) == (passed, late)


def test_a_mix_that_holds_something_else_cannot_tell(tmp_path: Path) -> None:
    rough = write_sound(tmp_path / "rough.wav", signals.noise(duration_s=2.0, seed=99))
    folder = tmp_path / "set"
    folder.mkdir()
    (check,) = by_code(verify_set(write_set(folder, plain_tracks()), against=rough), "lined-up")

    assert (check.passed, check.value) == (True, None)
    assert "Can't tell" in check.message


@pytest.mark.parametrize(("bars", "passed"), [(1, True), (2, False)])
def test_the_whole_song_must_be_covered(tmp_path: Path, bars: int, passed: bool) -> None:
    """120 BPM in 4/4: a bar lasts 2 s, and so do the tracks."""
    segments = [
        {"bar": 1, "time_s": 0.0, "bpm": 120.0, "meter": "4/4"},
        {"bar": 1 + bars, "time_s": 2.0 * bars, "bpm": 160.0, "meter": "4/4"},
    ]
    report = verify_set(
        write_set(tmp_path, plain_tracks(frames=FRAMES + 10)),
        map=TempoMap.from_json({"bar_one_s": 0.0, "segments": segments}),
    )

    assert all(check.passed == passed for check in by_code(report, "covers-map"))
    assert report.passed == passed


def test_what_cannot_be_read_fails(tmp_path: Path) -> None:
    paths = write_set(tmp_path, plain_tracks(2))
    notes = tmp_path / "notes.txt"
    notes.write_text("drums by tape")
    report = verify_set([*paths, notes])

    assert [(check.code, check.file) for check in failed(report)] == [("readable", "notes.txt")]


def test_what_lies_in_the_mix_needs_no_rhythm_to_be_placed() -> None:
    placed = Check("lined-up", None, passed=True, value=0)
    no_rhythm = [Check(code, None, passed=True, undecided=True) for code in ("tempo", "on-the-map", "fits-originals")]

    assert still_open([placed, *no_rhythm]) == ()
    assert still_open(no_rhythm) == ("tempo", "on-the-map", "fits-originals")
    assert still_open([placed, Check("click-bleed", None, passed=True, undecided=True)]) == ("click-bleed",)


def test_an_empty_set_fails() -> None:
    assert not verify_set([]).passed


@pytest.mark.parametrize(("stamps", "failed"), [((None, 0), []), ((0, 480), ["Tom2.wav"]), ((480, 480), [])])
def test_files_lie_where_their_time_references_say(
    tmp_path: Path, stamps: tuple[int | None, ...], failed: list[str]
) -> None:
    """In samples since midnight (EBU Tech 3285): one that says nothing lies where 0 does."""
    names = ("Hat.wav", "Tom1.wav", "Tom2.wav")
    for seed, (name, stamp) in enumerate(zip(names, (stamps[0], *stamps), strict=True)):
        broadcast = None if stamp is None else Broadcast(time_reference_frames=stamp)
        facts = {"sample_rate_hz": 48_000, "channels": 1, "bit_depth": 24, "frames": 48_000}
        with create_broadcast(tmp_path / name, **facts, broadcast=broadcast) as writer:
            writer.write(signals.noise(duration_s=1.0, seed=seed))
    checks = by_code(verify_set([tmp_path / name for name in names]), "time-reference")
    assert [check.file for check in checks if not check.passed] == failed
