from __future__ import annotations

from decimal import Decimal

import pytest

from portal.bookings.models import Brief, Song
from portal.intake.checks.offers import brief_changes, offers_for
from portal.intake.errors import AnswerError
from portal.intake.models import Finding
from tests.factories import make_song


def codes(*findings: Finding) -> list[str]:
    return [offer.code for offer in offers_for(make_song(), findings)]


def found(code: str, **value: object) -> Finding:
    return Finding(code=code, value=value)


@pytest.mark.django_db
class TestOffers:
    def test_a_tempo_that_differs_offers_both(self) -> None:
        differs = found("tempo-differs", said_bpm=120.0, measured_bpm=112.0004)

        assert codes(differs) == ["bpm=120", "bpm=112", "bpm"]

    def test_a_tempo_that_reads_two_ways_offers_each(self) -> None:
        assert codes(found("tempo-unsure", measured_bpm=72.0, other_bpm=108.0)) == ["bpm=72", "bpm=108", "bpm"]

    def test_a_meter_that_differs_offers_both(self) -> None:
        assert codes(found("meter-differs", said_meter="3/4", measured_meter="6/8")) == ["meter=6/8", "meter=3/4"]

    def test_a_late_bar_one_can_be_confirmed_or_denied(self) -> None:
        assert codes(found("bar-one-late", said="at bar one", bar_one_s=2.0)) == ["starts=later", "start-as-written"]

    def test_a_damaged_file_is_sent_anew_or_used(self) -> None:
        assert codes(found("clipped"), found("dropout")) == ["new-file", "as-is"]

    def test_a_useless_file_is_sent_anew_or_left_out(self) -> None:
        assert codes(found("not-audio")) == ["new-file", "leave-out"]

    def test_drums_are_asked_about_and_nothing_else_of_that_file(self) -> None:
        labels = [(offer.code, offer.label) for offer in offers_for(make_song(), [found("has-drums", confidence=0.95)])]

        assert labels == [
            ("new-file", "Yes, and a version without will come"),
            ("drums=guide", "Yes, please keep them as a guide"),
            ("drums=none", "No, there are no drums"),
        ]

    def test_a_tempo_on_a_button_names_the_note_it_counts(self) -> None:
        unsure = found("tempo-unsure", measured_bpm=70.0, measured_beat="dotted quarter", other_bpm=105.0)

        labels = [offer.label for offer in offers_for(make_song(), [unsure])]
        assert labels[:2] == ["70 bpm (dotted quarter) is right", "105 bpm is right"]

    def test_each_answer_is_offered_once(self) -> None:
        assert codes(found("no-click"), found("no-tempo")) == ["bpm", "make-map"]


class TestBriefChanges:
    def test_what_each_answer_says(self) -> None:
        assert brief_changes("bpm=112.5", "", []) == {"bpm": Decimal("112.5")}
        assert brief_changes("bpm", "98,5 bpm", []) == {"bpm": Decimal("98.5")}
        assert brief_changes("make-map", "", []) == {"click": Brief.Clicks.MAKE_MAP}
        assert brief_changes("meter=6/8", "", []) == {"meter": "6/8"}
        assert brief_changes("starts=unknown", "", []) == {"starts": "unknown"}
        assert brief_changes("as-is", "", []) == {}

    def test_a_tempo_where_a_click_was_asked_for_says_that_there_is_none(self) -> None:
        assert brief_changes("bpm=112", "", [found("no-click")])["click"] == Brief.Clicks.MAKE_MAP

    @pytest.mark.parametrize("text", ["0", "-5", "abc", "1e9", "19.9", "401"])
    def test_what_is_no_tempo_is_refused_with_a_sentence(self, text: str) -> None:
        with pytest.raises(AnswerError, match=r"\.$"):
            brief_changes("bpm", text, [])


def test_offers_leave_the_song_as_it_is(db: None) -> None:
    song = make_song()

    offers_for(song, [found("no-click")])

    assert Song.objects.get(pk=song.pk).brief.bpm is None
