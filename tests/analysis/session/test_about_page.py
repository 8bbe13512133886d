"""The page says what was done to which file, and shows no name as markup."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from analysis.maps.tempo_map import TempoMap
from analysis.session.about_page import about_page, changes_of, format_words, session_lines
from analysis.session.settings import SessionSettings
from analysis.session.timeline import Timeline, plan_session
from tests.analysis.session.conformed import conformed_file


def timeline_of(**settings: int) -> Timeline:
    chosen = SessionSettings(**settings)  # type: ignore[arg-type]
    return plan_session([Path("x")], TempoMap.constant(120), chosen, lengths_s=[Fraction(20)])


@pytest.mark.parametrize(
    ("fields", "sentences"),
    [
        ({}, ["not moved", "samples unchanged"]),
        ({"shift_frames": 5}, ["moved 5 frames later, with silence before", "samples unchanged"]),
        ({"shift_frames": -5}, ["starts 5 frames later in its sound: only silence was left out", "samples unchanged"]),
        (
            {"resampled": True, "source_rate_hz": 44_100},
            ["not moved", "converted from 44.1 kHz to 48 kHz, once (soxr VHQ)", "rounded to 24 bit without dither"],
        ),
        (
            {"dithered": True, "bit_depth": 16},
            ["not moved", "brought to 16 bit with dither (triangular, two steps wide) because bits are lost"],
        ),
        (
            {"source_bits": 32, "bit_depth": 32},
            ["not moved", "rounded to 32 bit floating point without dither"],
        ),
        (
            {"held_samples": 2, "replaced_samples": 3, "channels": 6},
            [
                "not moved",
                "samples unchanged",
                "2 samples over full scale were held at it",
                "3 samples were no numbers and became silence",
                "6 channels kept in their order",
            ],
        ),
    ],
)
def test_what_was_done(fields: dict[str, object], sentences: list[str]) -> None:
    assert changes_of(conformed_file(**fields)) == sentences


def test_a_format_is_said_in_words() -> None:
    # What FFmpeg calls pcm_s24le is 24-bit PCM to anybody else.
    assert format_words(conformed_file()) == "PCM, 48 kHz, 24 bit, mono"
    lossy = conformed_file(source_codec="mp3", source_bits=None, source_rate_hz=44_100)
    assert format_words(lossy) == "MP3, 44.1 kHz, lossy, mono"
    assert format_words(conformed_file(source_codec="vorbis", source_bits=None)).startswith("Vorbis, ")


def test_names_are_no_markup() -> None:
    page = about_page(
        "<b>Salt</b>",
        timeline_of(),
        [conformed_file(name="<script>.wav")],
        [("<img>.wav", "is not audio")],
        "Click.wav",
    )

    assert "<script>" not in page
    assert "<img>" not in page
    assert "&lt;b&gt;Salt&lt;/b&gt;: session pack" in page
    assert "is not audio" in page


def test_a_later_start_is_explained() -> None:
    assert not any("starts later" in line for line in session_lines(timeline_of(), "c.wav"))
    assert any("starts later" in line for line in session_lines(timeline_of(count_in_bars=4), "c.wav"))
