import re

import pytest

from analysis.media.safe_names import collisions, is_safe, safe_name

SAFE = re.compile(r"^[A-Za-z0-9_-]+\.wav$")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Ärger & Söhne / Demo (final).wav", "Arger_and_Sohne_Demo_final.wav"),
        ("KickIn.wav", "KickIn.wav"),
        ("../../etc/passwd", "etc_passwd.wav"),
        ("x.wav.", "x.wav"),
        ("trailing .wav ", "trailing.wav"),
        ("Łódź ß.WAV", "Lodz_ss.wav"),
        ("안녕.wav", "audio.wav"),
        ("🥁.wav", "audio.wav"),
        ("CON.wav", "file_CON.wav"),
        ("aux.wav", "file_aux.wav"),
        ("a\"b'c.wav", "a_b_c.wav"),
        ("", "audio.wav"),
    ],
)
def test_suggests_a_name_that_every_disk_keeps(name: str, expected: str) -> None:
    assert safe_name(name) == expected
    assert is_safe(expected)


def test_long_names_are_shortened() -> None:
    assert len(safe_name("x" * 300 + ".wav")) <= 100
    assert not is_safe("x" * 300 + ".wav")


@pytest.mark.parametrize("name", ["CON.wav", "aux.wav", "x.wav.", "x.wav ", "kick in.wav", "é.wav", "x.WAV", "a/b.wav"])
def test_unsafe_names_are_told(name: str) -> None:
    assert not is_safe(name)
    assert SAFE.match(safe_name(name))


def test_collisions() -> None:
    """Unicode NFC, capitals, and dots at the end."""
    names = ["caf\u00e9.wav", "cafe\u0301.wav", "Snare.wav", "snare.wav", "kick.wav", "kick.wav."]

    assert collisions(names) == {"cafe\u0301.wav": "caf\u00e9.wav", "snare.wav": "Snare.wav", "kick.wav.": "kick.wav"}
