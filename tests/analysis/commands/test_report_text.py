"""What a person reads in a terminal."""

from analysis.commands.report_text import conform_text, feel_text, song_text, verify_text
from analysis.core.reports import FileReport, SongReport
from analysis.delivery.check_results import Check, VerifyReport
from analysis.delivery.feel_report import FeelReport, FeelSection, Offsets
from analysis.findings.catalogue import make_finding
from analysis.session.pack import PackReport
from tests.analysis.session.conformed import conformed_file

BASS = FileReport(
    name="Bass.wav",
    sha256="",
    codec="pcm_s24le",
    sample_rate_hz=48_000,
    bit_depth=24,
    channels=1,
    frames=48_000,
    duration_s=72.0,
    sample_peak_dbfs=-6.02,
    true_peak_dbtp=-5.9,
    leading_silence_s=0.25,
)


def test_a_file_is_a_row() -> None:
    text = song_text(SongReport(files=(BASS,)))

    assert "Bass.wav  pcm_s24le 48 kHz/24 1ch  1:12    -6.0  -5.9       –     0.250 s" in text
    assert "Nothing to report." in text


def test_a_file_without_numbers() -> None:
    finding = make_finding("not-audio", file="List.wav", value={"reason": "is not audio but a text file"})
    text = song_text(SongReport(files=(FileReport(name="List.wav", sha256=""),), findings=(finding,)))

    assert "Tempo    none found" in text
    assert "STOP  Not an audio file: “List.wav” is not audio but a text file." in text


def test_checks_of_a_delivery() -> None:
    checks = (
        Check("rate", "a.wav", passed=True, message="a.wav is at 48 kHz."),
        Check("length", "b.wav", passed=False, message="b.wav is 1 frame short."),
    )

    assert verify_text(VerifyReport(passed=False, checks=checks)).splitlines() == [
        "ok    a.wav is at 48 kHz.",
        "FAIL  b.wav is 1 frame short.",
        "",
        "The set is not ready.",
    ]
    assert verify_text(VerifyReport(passed=True)).endswith("The set is ready to deliver.")


def test_what_could_not_be_checked_assures_nobody() -> None:
    unknown = Check("lined-up", None, passed=True, message="Can't tell whether it lines up.", undecided=True)

    assert verify_text(VerifyReport(passed=True, checks=(unknown,))).splitlines() == [
        "?     Can't tell whether it lines up.",
        "",
        "Nothing failed, but 1 could not be decided.",
    ]


def test_conformed_files() -> None:
    report = PackReport(
        1,
        96_000,
        480_000,
        (conformed_file(name="Bass DI.wav", out="Bass_DI.wav", shift_frames=-24_000),),
        (("notes.wav", "it is not audio"),),
    )

    assert conform_text(report).splitlines() == [
        "Bass DI.wav → Bass_DI.wav: moved by -24000 samples",
        "notes.wav: left out: it is not audio",
        "All are 480000 frames long; bar one is at frame 96000.",
    ]


def test_feel_in_words() -> None:
    kick = Offsets("low", 12, -3.2, 4.0)
    hat = Offsets("high", 40, 5.0, 2.5, trend_ms=6.0)
    report = FeelReport(4, (kick, hat), (FeelSection(9, 8, (hat,)),))

    assert feel_text(report).splitlines() == [
        "All of it:",
        "  Kick: 3.2 ms ahead, spread 4 ms, 12 strokes",
        "  Hat and cymbals: 5 ms behind, spread 2.5 ms, 40 strokes, 6 ms later at the end",
        "Bars 9 to 16:",
        "  Hat and cymbals: 5 ms behind, spread 2.5 ms, 40 strokes, 6 ms later at the end",
    ]
