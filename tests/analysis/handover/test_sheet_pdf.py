"""The sheet on paper, read back by the tables from glyphs to Unicode that it carries (ISO 32000-1, 9.10.3)."""

import dataclasses
import io
import re
import zlib

from PIL import Image

from analysis.delivery.check_results import Check
from analysis.handover.sheet import LetPass, Sheet, SheetTrack
from analysis.handover.sheet_lines import figure_of, moment_in_words, rank_of
from analysis.handover.sheet_pdf import pdf_of_sheet
from analysis.maps.tempo_map import TempoMap

TRACK = SheetTrack(
    "KickIn.wav", "ab" * 32, "", 48_000, 24, 1, 11_520_000, (), "kick", "dynamic, inside", "flipped", "5"
)
SHEET = Sheet(
    title="Cold Bus Under Spoons",
    booking="Two songs",
    number=2,
    made_by="Ida Low",
    made_at="2026-11-25T09:00:00Z",
    perspective="as the drummer sits",
    tracks=(TRACK, dataclasses.replace(TRACK, file="Hat.wav", channel="hat", microphone="")),
    checks=(
        Check("clipped", "Hat.wav", passed=False, message="Hat.wav is clipped.", value=3),
        Check("sides", None, passed=True, undecided=True, message="Can't tell left from right."),
        Check("length", "KickIn.wav", passed=True, message="KickIn.wav is long.", value=480, low=479.5, high=480.5),
    ),
    let_pass=(LetPass("clipped", "Hat.wav", "meant to be", "Ida Low"),),
    map=TempoMap.constant("112", "4/4", 2).to_json(),
    repairs=("Hat.wav was moved.",),
    recall="Snare tuned to G.",
)


def streams(pdf: bytes) -> list[bytes]:
    bodies = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    return [zlib.decompress(body) if body[:1] == b"x" else body for body in bodies]


def words(pdf: bytes) -> str:
    """What the pages say, cell by cell. The fonts' tables stand in the order of their names: /F1, /F2, ..."""
    found = streams(pdf)
    tables = [
        {int(glyph, 16): chr(int(letter, 16)) for glyph, letter in re.findall(rb"<(\w{4})> <(\w{4})>\n", one)}
        for one in found
        if b"beginbfchar" in one
    ]
    said, font = [], 1
    for one in found:
        for name, text in (
            re.findall(rb"/F(\d) [0-9.]+ Tf|\((.*?)(?<!\\)\) Tj", one, re.DOTALL) if b" Tj" in one else ()
        ):
            font = int(name or font)
            plain = re.sub(
                rb"\\(.)", lambda sign: {b"r": b"\r", b"n": b"\n"}.get(sign[1], sign[1]), text, flags=re.DOTALL
            )
            glyphs = [int.from_bytes(plain[at : at + 2], "big") for at in range(0, len(plain), 2)]
            said.append("".join(tables[font - 1].get(glyph, "?") for glyph in glyphs))
    return " ".join(one for one in said if one)


def test_it_says_what_the_sheet_says() -> None:
    said = words(pdf_of_sheet(SHEET))

    for part in (
        "Cold Bus Under Spoons",
        "Recorded and delivered by Ida Low",
        "Released 25 November 2026, 09:00 UTC",
        "Checked not yet",
        "Length 11520000 frames",
        "Left and right as the drummer sits",
        "KickIn.wav kick, mono dynamic, inside flipped 5",
        "bar one at 2.000000 s: frame 96000 at 48000 Hz",
        "Hat.wav was moved.",
        "Snare tuned to G.",
        "KickIn.wav is long. 480 (479.5 to 480.5)",
        "undecided the set Can’t tell left from right.",
    ):
        assert part in said
    assert re.search(r"waived Hat\.wav Hat\.wav is clipped\. Ida Low: meant to be", said)
    assert said.index("waived") < said.index("undecided") < said.index("Checks that passed")
    assert "ab" * 16 in said


def test_a_long_name_is_broken_where_its_parts_begin() -> None:
    name = "RoomFar_stereo_pair_take07_comped_final.wav"
    tracks = (dataclasses.replace(TRACK, file=name),)
    said = words(pdf_of_sheet(dataclasses.replace(SHEET, tracks=tracks, checks=(), let_pass=())))
    rows = re.search(r"Note (.*?) kick, mono", said)
    assert rows is not None
    lines = rows[1].split(" ")
    assert len(lines) > 1
    assert "".join(lines) == name
    assert all(line.endswith("_") for line in lines[:-1])


def test_letters_of_other_scripts_are_there() -> None:
    assert "젖은 계단" in " ".join(words(pdf_of_sheet(dataclasses.replace(SHEET, title="젖은 계단"))).split())


def test_photographs_are_in_it_and_the_same_sheet_gives_the_same_bytes() -> None:
    photograph = io.BytesIO()
    Image.new("RGB", (640, 480), "navy").save(photograph, "JPEG")
    pdf = pdf_of_sheet(SHEET, [photograph.getvalue()])

    assert pdf == pdf_of_sheet(SHEET, [photograph.getvalue()])
    assert re.findall(rb"/Width (\d+)|/Height (\d+)", pdf) in (
        [(b"640", b""), (b"", b"480")],
        [(b"", b"480"), (b"640", b"")],
    )
    assert photograph.getvalue() in pdf


def test_a_sheet_of_an_empty_set() -> None:
    assert "Delivery sheet" in words(pdf_of_sheet(Sheet()))


def test_times_are_printed_in_utc_and_say_so() -> None:
    assert moment_in_words("2026-11-25T14:30:00+05:30") == "25 November 2026, 09:00 UTC"
    assert moment_in_words("") == ""


def test_left_and_right_are_of_the_pair() -> None:
    sides = Check("sides", "Overhead_L.wav", passed=False, message="They are swapped.")
    said = words(pdf_of_sheet(dataclasses.replace(SHEET, checks=(sides,))))
    assert "failed the pair They are swapped." in said


def test_faults_of_the_sound_come_before_names() -> None:
    codes = ["safe-name", "hum", "polarity", "bits", "sounding"]
    assert sorted(codes, key=rank_of) == ["sounding", "polarity", "hum", "bits", "safe-name"]
    assert figure_of(Check("drift", None, passed=True, value=-0.0, low=-0.14, high=0.13)) == "0 (−0.14 to 0.13)"
