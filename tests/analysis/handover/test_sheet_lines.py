from analysis.delivery.check_results import Check
from analysis.handover.sheet_lines import channel_words, figure_of, tempo_lines
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
    assert figure_of(Check("sounding", None, passed=True, value=-13.1269)) == "-13.13"
    assert [figure_of(Check("x", None, passed=True, value=value)) for value in (None, True, "a.wav")] == [""] * 3


def test_channels() -> None:
    assert [channel_words(count) for count in (None, 1, 2, 6)] == ["", "mono", "stereo", "6 channels"]
