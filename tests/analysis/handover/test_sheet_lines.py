from analysis.delivery.check_results import Check
from analysis.handover.sheet_lines import PassedRow, channel_words, figure_of, in_print, passed_rows, tempo_lines
from analysis.maps.tempo_map import TempoMap


def test_the_map_in_words() -> None:
    """Bar one at 2 s: frame 88 200 at 44.1 kHz, 96 000 at 48 kHz (Source: arithmetic)."""
    assert tempo_lines(TempoMap.constant("112", "4/4", 2), {48_000, 44_100}) == [
        "from bar 1, at 2.000000 s: 112.00000 bpm in 4/4",
        "bar one at 2.000000 s: frame 88200 at 44100 Hz, counted from 0",
        "bar one at 2.000000 s: frame 96000 at 48000 Hz, counted from 0",
    ]


def test_figures_with_their_interval() -> None:
    assert figure_of(Check("lined-up", None, passed=True, value=480, low=479.5, high=480.5)) == "480 (479.5 to 480.5)"
    assert figure_of(Check("length", "a.wav", passed=True, value=11_520_000)) == "11520000"
    assert figure_of(Check("sounding", None, passed=True, value=-13.1269)) == "−13.13"
    assert [figure_of(Check("x", None, passed=True, value=value)) for value in (None, True, "a.wav")] == [""] * 3


def test_channels() -> None:
    assert [channel_words(count) for count in (None, 1, 2, 6)] == ["", "mono", "stereo", "6 channels"]


def test_print_has_its_own_minus_and_apostrophe_and_leaves_names_alone() -> None:
    assert (
        in_print("Can't tell: -29.2 (-3 to -1) dBFS, 20-30, take-2.")
        == "Can’t tell: −29.2 (−3 to −1) dBFS, 20-30, take-2."
    )
    name = "Bob's Tom -1.wav"
    assert in_print(f"{name} isn't at -1.", [name]) == f"{name} isn’t at −1."


def test_what_passed_is_one_row_of_a_kind_with_every_figure() -> None:
    names = ("Hat.wav", "Kick.wav", "Ride.wav")
    checks = [
        *(Check("rate", name, passed=True, value=48_000, message=f"{name} is at 48 kHz.") for name in names),
        *(
            Check("sounding", name, passed=True, value=-value, message=f"{name} peaks at {-value} dBFS.")
            for name, value in zip(names, (13.1, 12.5, 12.5), strict=True)
        ),
        Check("stored-intact", "Hat.wav", passed=True, value="ab", message="“Hat.wav” is stored unchanged."),
        Check("hum", None, passed=True, message="No track hums."),
        Check("length", "Hat.wav", passed=False, value=3, message="Hat.wav is short."),
        Check("tempo", None, passed=True, undecided=True, message="Can't tell."),
    ]
    assert passed_rows(checks, names) == [
        PassedRow("rate", "Each of the 3 tracks is at 48 kHz.", "48000"),
        PassedRow(
            "sounding",
            "Hat.wav peaks at −13.1 dBFS. Each of Kick.wav, Ride.wav peaks at −12.5 dBFS.",
            "Hat.wav −13.1, Kick.wav −12.5, Ride.wav −12.5",
        ),
        PassedRow("stored-intact", "Hat.wav is stored unchanged.", ""),
        PassedRow("hum", "No track hums.", ""),
    ]
