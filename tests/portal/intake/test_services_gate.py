"""What the drummer decides: findings waived, maps approved or overruled, the gate to tracking."""

from __future__ import annotations

from decimal import Decimal

import pytest

from analysis.maps.tempo_map import TempoMap
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake import hooks
from portal.intake.checks import jobs, questions, services
from portal.intake.errors import GateError, MapInputError, NoMapError
from portal.intake.models import ApprovedMap, Finding, SongCheck
from portal.mailroom.models import Message, Question
from portal.people.models import User
from tests.factories import (
    make_check,
    make_finding,
    make_question,
    make_source,
    measured_song,
)

pytestmark = pytest.mark.django_db


class TestWaive:
    def test_a_waived_finding_keeps_who_and_why(self, song: Song, drummer: User) -> None:
        finding = make_finding(song=song, code="clipped")

        for _ in range(2):
            services.waive(finding=finding, by=drummer, reason="it is the sound of the amp")

        finding.refresh_from_db()
        assert (finding.state, finding.ended_by, finding.reason) == (
            Finding.State.WAIVED,
            drummer,
            "it is the sound of the amp",
        )
        assert song.timeline.filter(text="waived “clipped peaks”: it is the sound of the amp").count() == 1

    def test_waiving_all_that_was_asked_takes_the_question_back(
        self, song: Song, asked: Message, drummer: User
    ) -> None:
        for finding in song.findings.all():
            services.waive(finding=finding, by=drummer, reason="I hear it")

        asked.refresh_from_db()
        song.refresh_from_db()
        assert asked.state == Message.State.WITHDRAWN
        assert song.stage == SongStage.ON_DESK


class TestMaps:
    def test_a_map_settles_what_asks_for_one_unless_the_client_was_asked(self, song: Song, drummer: User) -> None:
        make_check(song=song)
        unasked = make_finding(song=song, code="no-click")
        held = make_finding(song=song, code="no-tempo", question=make_question(song=song, state=Question.State.HELD))
        other = make_finding(song=song, code="pickup")

        services.approve(song=song, by=drummer)

        for finding in (unasked, held):
            finding.refresh_from_db()
            assert (finding.state, finding.ended_by) == (Finding.State.WAIVED, drummer)
            assert finding.reason == "the tempo map is approved (version 1)"
        other.refresh_from_db()
        assert other.state == Finding.State.OPEN
        assert not questions.is_held(song)

    def test_what_the_client_was_asked_waits_for_their_answer(self, song: Song, drummer: User) -> None:
        make_check(song=song)
        asked = make_finding(song=song, code="no-click", question=make_question(song=song))

        services.approve(song=song, by=drummer)

        asked.refresh_from_db()
        assert asked.state == Finding.State.OPEN
        assert questions.is_unanswered(song)

    def test_a_map_is_approved_as_measured_once(self, song: Song, drummer: User) -> None:
        check = make_check(song=song)

        approved = [services.approve(song=song, by=drummer) for _ in range(2)]

        kept = ApprovedMap.objects.get()
        assert approved == [kept, kept]
        assert (kept.version, kept.origin, kept.check_seen) == (1, ApprovedMap.Origin.MEASURED, check)
        # Bar 113 at 112 bpm in 4/4 begins 112 bars of 4 * 60/112 s after bar one, which lies at 2 s: 242 s.
        assert TempoMap.from_json(kept.map).time_of_bar(113) == 242

    def test_without_a_measured_tempo_there_is_nothing_to_approve(self, song: Song, drummer: User) -> None:
        with pytest.raises(NoMapError):
            services.approve(song=song, by=drummer)
        make_check(song=song, report=measured_song(bpm=None))
        with pytest.raises(NoMapError, match="by hand"):
            services.approve(song=song, by=drummer)

    def test_an_overruled_map_is_exact_and_keeps_what_was_measured_beside_it(self, song: Song, drummer: User) -> None:
        check = make_check(song=song)
        services.approve(song=song, by=drummer)

        kept = services.overrule(
            song=song, by=drummer, bpm=Decimal("92.1"), meter="6/8", bar_one_s=Decimal("0.125"), note="by ear"
        )

        assert (kept.version, kept.origin, kept.check_seen, kept.note) == (2, "overruled", check, "by ear")
        # 6/8 has two felt beats in a bar: bar 922 begins 921 * 2 * 60/92.1 = 1200 s after bar one.
        assert TempoMap.from_json(kept.map).time_of_bar(922) == Decimal("1200.125")

    def test_figures_that_make_no_map_are_refused(self, song: Song, drummer: User) -> None:
        with pytest.raises(MapInputError):
            services.overrule(song=song, by=drummer, bpm=Decimal(112), meter="99/3", bar_one_s=Decimal(0))
        assert not ApprovedMap.objects.exists()

    def test_later_apps_hear_of_an_approved_map(
        self, song: Song, drummer: User, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        heard: list[int] = []
        monkeypatch.setattr(hooks, "on_map_approved", [heard.append])
        make_check(song=song)

        approved = services.approve(song=song, by=drummer)

        assert heard == [approved.pk]


class TestReady:
    def test_an_approved_map_and_nothing_open_let_the_song_go_on(self, song: Song, drummer: User) -> None:
        make_check(song=song)
        services.approve(song=song, by=drummer)

        for _ in range(2):
            services.mark_ready(song=song, by=drummer)

        song.refresh_from_db()
        assert song.stage == SongStage.READY
        assert song.timeline.filter(text="marked the song ready to track").count() == 1

    def test_every_reason_is_said_at_once(self, song: Song, drummer: User) -> None:
        song.booking.deposit_required = True
        song.booking.save()
        make_finding(song=song, code="clipped", source=song.sources.get())

        with pytest.raises(GateError) as caught:
            services.mark_ready(song=song, by=drummer)

        assert caught.value.reasons == (
            "Blocked by: clipped peaks in “bass.wav”.",
            "No tempo map with bar one is approved.",
            "The deposit has not been received.",
        )

    @pytest.mark.parametrize(("code", "severity"), [("no-click", "ask"), ("pickup", "note")])
    def test_what_does_not_stop_does_not_stop(self, song: Song, drummer: User, code: str, severity: str) -> None:
        make_check(song=song)
        services.approve(song=song, by=drummer)
        make_finding(song=song, code=code, severity=severity)

        services.mark_ready(song=song, by=drummer)

    def test_a_map_from_before_the_last_change_has_to_be_looked_at_again(self, song: Song, drummer: User) -> None:
        make_check(song=song)
        services.approve(song=song, by=drummer)
        make_source(song=song, name="keys.wav")
        make_check(song=song)

        with pytest.raises(GateError, match="changed after the tempo map was approved"):
            services.mark_ready(song=song, by=drummer)

    def test_questions_that_were_not_answered_are_taken_back(self, song: Song, asked: Message, drummer: User) -> None:
        services.approve(song=song, by=drummer)

        services.mark_ready(song=song, by=drummer)

        asked.refresh_from_db()
        assert asked.state == Message.State.WITHDRAWN

    @pytest.mark.parametrize("stage", [SongStage.WAITING, SongStage.CHECKING, SongStage.TRACKING])
    def test_only_a_song_that_was_checked_can_be_ready(self, song: Song, drummer: User, stage: SongStage) -> None:
        make_check(song=song)
        services.approve(song=song, by=drummer)
        song.move_to(stage)

        with pytest.raises(GateError):
            services.mark_ready(song=song, by=drummer)


def test_checks_of_the_same_inputs_are_one(song: Song) -> None:
    make_check(song=song)
    for _ in range(2):
        jobs.measure(song.pk)

    assert SongCheck.objects.count() == 1
