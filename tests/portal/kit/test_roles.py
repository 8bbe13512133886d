"""What part a file plays, by the names that clients give to stems (common practice, from memory)."""

from __future__ import annotations

import pytest

from analysis.core.reports import Drums, FileReport
from portal.kit.roles import role_of


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("Cold Bus_BASS_di.wav", "bass"),
        ("ColdBus_EGtr 2.wav", "guitars"),
        ("03 Guitars L.wav", "guitars"),
        ("KeysLeft.flac", "keys"),
        ("lead vox.wav", "voices"),
        ("guide drums.wav", "drums"),
        ("Kick In.wav", "drums"),
        ("drum mix.wav", "drums"),
        ("rough mix.mp3", "mix"),
        ("mix no drums.wav", "mix"),
        ("Rough_without_drums.wav", "mix"),
        ("Cold Bus click.wav", "click"),
        ("monkey business.wav", "other"),
        ("ghost.wav", "other"),
        (".wav", "other"),
        ("", "other"),
    ],
)
def test_a_name_says_its_part(name: str, role: str) -> None:
    assert role_of(name, None, is_click=False) == role


def test_what_was_measured_says_it_where_the_name_does_not() -> None:
    report = FileReport(name="track 4.wav", sha256="", drums=Drums(present=True, confidence=0.9))
    assert role_of("track 4.wav", report, is_click=False) == "drums"
    assert role_of("bass.wav", report, is_click=False) == "bass"
    assert role_of("track 4.wav", report, is_click=True) == "click"
