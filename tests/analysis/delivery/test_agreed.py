"""What was agreed is held against what the files say, and the song's map against where they were agreed to begin."""

from fractions import Fraction
from pathlib import Path

import pytest

from analysis.delivery.agreed import Agreed, agreed_checks, in_files_time
from analysis.delivery.check_results import Check, Header
from analysis.delivery.verify import verify_set
from tests.analysis.delivery.made_kit import RATE_HZ, kit, mix_of, write_kit
from tests.analysis.encoded import write_sound
from tests.analysis.lineup.test_click_heard import TEMPO_MAP

HALF = RATE_HZ // 2


def header(rate_hz: int = 48_000, depth: int | None = 24) -> Header:
    return Header(rate_hz, depth, 1, 1000, 0, False, None)


def said(headers: dict[str, Header], agreed: Agreed) -> list[Check]:
    return list(agreed_checks(headers, agreed))


def test_a_whole_set_at_another_rate_is_named_though_its_files_agree() -> None:
    (check,) = said({"a.wav": header(44_100), "b.wav": header(44_100)}, Agreed(sample_rate_hz=48_000))

    assert (check.code, check.passed, check.value, check.limit) == ("agreed-rate", False, 44_100, 48_000)
    assert check.message == "The set is at 44.1 kHz; 48 kHz were agreed."


def test_one_file_in_other_bits_is_named() -> None:
    (check,) = said({"a.wav": header(), "b.wav": header(depth=16), "c.wav": header()}, Agreed(bit_depth=24))

    assert (check.code, check.passed, check.value) == ("agreed-depth", False, 16)
    assert check.message == "b.wav: at 16 bits; 24 bits were agreed."


def test_what_is_as_agreed_passes_and_what_nobody_agreed_is_not_asked() -> None:
    assert [one.passed for one in said({"a.wav": header()}, Agreed(48_000, 24))] == [True, True]
    assert not said({"a.wav": header()}, Agreed())


def test_the_map_moves_into_the_time_of_the_files() -> None:
    moved = in_files_time(TEMPO_MAP, 0.25)

    assert moved.bar_one_s == TEMPO_MAP.bar_one_s - Fraction(1, 4)


@pytest.mark.parametrize(
    ("zero_s", "set_from", "mix_from", "lag"), [(0.5, HALF, 0, 0), (0.0, HALF, 0, -HALF), (-0.5, 0, HALF, 0)]
)
def test_the_set_is_looked_for_where_it_was_agreed_to_begin(
    tmp_path: Path, zero_s: float, set_from: int, mix_from: int, lag: int
) -> None:
    """The tracks begin half a second into the mix, or half a second before it; arithmetic."""
    tracks = {name: track[set_from:] for name, track in kit().items()}
    rough = write_sound(tmp_path / "rough.wav", mix_of(kit())[mix_from:], RATE_HZ)

    report = verify_set(write_kit(tmp_path / "set", tracks), against=rough, agreed=Agreed(zero_s=zero_s))

    assert [check.value for check in report.checks if check.code == "lined-up"] == [lag]
