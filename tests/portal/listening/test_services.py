from __future__ import annotations

import json
from datetime import timedelta
from decimal import Decimal

import pytest
import soundfile
from django.core.files.storage import default_storage
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.bookings.stages import BookingStage, SongStage, Turn
from portal.intake.checks.services import keep_map, reasons_against
from portal.intake.desk.queue_filter import Look
from portal.intake.desk.queue_page import queue_page
from portal.intake.models import ApprovedMap
from portal.listening import jobs, services, tasks
from portal.listening.errors import ListeningError
from portal.listening.models import Excerpt
from portal.listening.page import excerpt_shown
from portal.mailroom.models import Mail
from portal.people.models import User
from tests.factories import make_check, make_map, make_song, make_source, store_content
from tests.locks import locked_by

pytestmark = pytest.mark.django_db


def approve_free(song: Song) -> None:
    """120 BPM in 4/4 from 0 s; bars 5 to 8 free, for 10 s instead of 8."""
    approved = make_map(song=song, bpm=120.0, bar_one_s=0.0)
    approved.map["segments"] += [
        {"bar": 5, "time_s": 8.0, "bpm": 96.0, "meter": "4/4", "free": True},
        {"bar": 9, "time_s": 18.0, "bpm": 120.0, "meter": "4/4"},
    ]
    approved.save()


class TestAsking:
    def test_eight_bars_go_to_the_client_with_a_letter_and_the_turn(self, song: Song, mara: User, out: Excerpt) -> None:
        """Bar 3 at 112 BPM: 2 + 2 × 4 × 60/112 = 6.285714 s; the excerpt starts half a second before."""
        song.refresh_from_db()
        assert (out.state, song.stage, song.turn) == (Excerpt.State.OUT, SongStage.ON_DESK, Turn.CLIENT)
        assert out.starts_at_s == pytest.approx(6.285714 - 0.5, abs=1e-6)
        assert soundfile.info(default_storage.path(out.key)).duration == pytest.approx(0.75 + 8 * 240 / 112, abs=1e-4)
        letter = Mail.objects.get(to=mara.email)
        assert "The fill, I mean." in letter.body
        assert out.get_absolute_url() in letter.body

    def test_asked_twice_the_same_it_is_one_question(self, song: Song, drummer: User) -> None:
        one, two = (services.ask(song=song, first_bar=3, note="", by=drummer) for _ in range(2))
        assert one == two

    def test_a_newer_question_takes_the_older_one_back(self, song: Song, drummer: User, out: Excerpt) -> None:
        newer = services.ask(song=song, first_bar=9, note="", by=drummer)
        out.refresh_from_db()
        assert (out.state, newer.state) == (Excerpt.State.WITHDRAWN, Excerpt.State.MAKING)

    def test_where_the_newer_one_cannot_be_made_the_turn_is_the_drummer_s(
        self, song: Song, drummer: User, out: Excerpt
    ) -> None:
        sha256 = store_content(b"no sound at all")
        song.sources.update(key=f"originals/{sha256[:2]}/{sha256}")
        newer = services.ask(song=song, first_bar=9, note="", by=drummer)
        jobs.make_excerpt(newer.pk)
        song.refresh_from_db()
        assert [one.state for one in song.excerpts.order_by("pk")] == [Excerpt.State.WITHDRAWN, Excerpt.State.FAILED]
        assert song.turn == Turn.DRUMMER

    def test_in_a_booking_that_is_over_it_does_not_go_out(self, song: Song, drummer: User) -> None:
        excerpt = services.ask(song=song, first_bar=3, note="", by=drummer)
        song.booking.stage = BookingStage.CANCELLED
        song.booking.save()
        jobs.let_out(excerpt.pk, key="excerpts/some.flac", trouble="")
        excerpt.refresh_from_db()
        song.refresh_from_db()
        assert (excerpt.state, song.turn) == (Excerpt.State.WITHDRAWN, Turn.DRUMMER)
        assert not Mail.objects.exists()

    def test_a_question_taken_back_while_it_is_made_does_not_go_out(self, song: Song, drummer: User) -> None:
        excerpt = services.ask(song=song, first_bar=3, note="", by=drummer)
        excerpt.withdraw()
        jobs.let_out(excerpt.pk, key="excerpts/some.flac", trouble="")
        excerpt.refresh_from_db()
        assert excerpt.state == Excerpt.State.WITHDRAWN
        assert not Mail.objects.exists()

    def test_the_song_is_locked_before_its_excerpt(
        self, song: Song, drummer: User, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        excerpt = services.ask(song=song, first_bar=3, note="", by=drummer)
        locked = locked_by(monkeypatch)
        jobs.let_out(excerpt.pk, key="excerpts/some.flac", trouble="")
        assert locked[:2] == [Song, Excerpt]

    def test_made_twice_it_goes_out_once(self, out: Excerpt) -> None:
        tasks.make_excerpt(out.pk)
        assert Mail.objects.count() == 1

    def test_past_the_end_there_is_nothing_to_hear(self, song: Song, drummer: User) -> None:
        with pytest.raises(ListeningError, match="ends before bar 40"):
            services.ask(song=song, first_bar=40, note="", by=drummer)

    def test_a_free_bar_has_no_click_to_ask_about(self, song: Song, drummer: User) -> None:
        approve_free(song)
        with pytest.raises(ListeningError, match="Bar 5 is free"):
            services.ask(song=song, first_bar=5, note="", by=drummer)

    def test_the_player_knows_what_is_free_and_the_tempo_is_the_one_that_is_kept(
        self, song: Song, drummer: User
    ) -> None:
        """Bar 3 at 120 begins at 4 s, the excerpt at 3.5 s; it is free from 8 s, 4.5 s into it."""
        approve_free(song)
        excerpt = services.ask(song=song, first_bar=3, note="", by=drummer)
        jobs.make_excerpt(excerpt.pk)
        excerpt.refresh_from_db()
        segments = json.loads(excerpt_shown(excerpt).map_json)["segments"]
        assert [(one["bar"], one["time_s"], one.get("free")) for one in segments] == [
            (3, 0.5, None),
            (5, 4.5, True),
            (9, 14.5, None),
        ]
        excerpt.answer = Excerpt.Answer.HALF
        assert services.brief_changes(excerpt) == {"bpm": Decimal(60)}

    def test_without_a_map_or_files_or_a_client_it_says_so(self, song: Song, drummer: User) -> None:
        for bare in (make_song(booking=song.booking, stage="on-desk"), make_song(stage="on-desk")):
            with pytest.raises(ListeningError, match=r"no tempo map|invite the client"):
                services.ask(song=bare, first_bar=1, note="", by=drummer)

    def test_only_from_the_desk(self, song: Song, drummer: User) -> None:
        Song.objects.filter(pk=song.pk).update(stage=SongStage.TRACKING)
        with pytest.raises(ListeningError, match="on the desk"):
            services.ask(song=song, first_bar=1, note="", by=drummer)

    def test_sound_that_cannot_be_read_is_said_to_the_drummer_alone(self, song: Song, drummer: User) -> None:
        sha256 = store_content(b"no sound at all")
        song.sources.update(key=f"originals/{sha256[:2]}/{sha256}")
        excerpt = services.ask(song=song, first_bar=1, note="", by=drummer)
        jobs.make_excerpt(excerpt.pk)
        excerpt.refresh_from_db()
        assert excerpt.state == Excerpt.State.FAILED
        assert "could not be played" in excerpt.trouble
        assert not Mail.objects.exists()

    def test_the_sweep_finds_what_was_left(self, song: Song, drummer: User, monkeypatch: pytest.MonkeyPatch) -> None:
        queued: list[int] = []
        monkeypatch.setattr(tasks.make_excerpt, "delay", queued.append)
        excerpt = services.ask(song=song, first_bar=1, note="", by=drummer)
        tasks.sweep()
        assert queued == []
        Excerpt.objects.update(asked_at=timezone.now() - jobs.LEFT_ALONE_FOR - timedelta(seconds=1))
        tasks.sweep()
        assert queued == [excerpt.pk]


def test_the_sound_goes_with_the_last_original_and_the_answer_stays(song: Song, mara: User, out: Excerpt) -> None:
    services.answer(excerpt=out, answer="right", by=mara)
    tasks.sweep()
    assert default_storage.exists(out.key)
    song.sources.update(gone_at=timezone.now())
    tasks.sweep()
    assert not default_storage.exists(out.key)
    out.refresh_from_db()
    assert (out.key, out.answer) == ("", "right")


class TestSourcesToHear:
    def test_a_mix_alone_when_there_is_one_and_never_the_click(self, song: Song) -> None:
        stem = song.sources.get()
        assert jobs.sources_to_hear(song) == [stem]
        mix = make_source(song=song, name="rough mix.wav", features_key="features/some.npz")
        make_check(song=song)
        assert jobs.sources_to_hear(song) == [mix]


class TestAnswers:
    @pytest.mark.parametrize(("answer", "bpm"), [("right", "112"), ("twice", "224"), ("half", "56")])
    def test_the_tempo_goes_into_the_brief_as_evidence(
        self, song: Song, mara: User, out: Excerpt, answer: str, bpm: str
    ) -> None:
        services.answer(excerpt=out, answer=answer, by=mara)
        song.refresh_from_db()
        song.brief.refresh_from_db()
        assert song.brief.bpm == Decimal(bpm)
        assert song.timeline.filter(text__startswith="answered the listening check").exists()

    @pytest.mark.parametrize(("bpm", "answer"), [(210, "twice"), (39, "half"), (450, "right")])
    def test_a_tempo_that_the_brief_does_not_take_stays_out_of_it(
        self, song: Song, mara: User, drummer: User, bpm: float, answer: str
    ) -> None:
        """420, 19.5 and 450 beats a minute: maps go further than the brief's 20 to 400."""
        excerpt = Excerpt.objects.create(
            song=song, asked_by=drummer, map=make_map(song=song, bpm=bpm).map, first_bar=3, state=Excerpt.State.OUT
        )
        services.answer(excerpt=excerpt, answer=answer, by=mara)
        excerpt.refresh_from_db()
        song.brief.refresh_from_db()
        assert (excerpt.answer, song.brief.bpm) == (answer, None)

    def test_taps_say_where_the_one_is_and_the_map_is_one_press_away(
        self, song: Song, mara: User, out: Excerpt
    ) -> None:
        """One beat later at 112 BPM: 2 + 60/112 = 2.535714 s."""
        taps = [2.0 + (4 * bar + 1) * 60 / 112 + 0.03 for bar in (2, 3, 4)]
        services.answer(excerpt=out, answer="elsewhere", taps_s=taps, by=mara)
        out.refresh_from_db()
        song.refresh_from_db()
        shown = excerpt_shown(out)
        assert (song.turn, song.brief.bpm) == (Turn.DRUMMER, None)
        assert shown.tapped_words == "the taps are one beat later"
        assert shown.change is not None
        assert (shown.change.bpm, shown.change.bar_one_s) == ("112", "2.535714")

    @pytest.mark.parametrize(
        ("taps", "words"),
        [([], ""), ([6.2857, 6.55, 6.82, 7.1, 7.35], "do not agree"), ([6.2857, 8.43], "on the click’s beat one")],
    )
    def test_taps_that_point_nowhere_change_nothing(
        self, mara: User, out: Excerpt, taps: list[float], words: str
    ) -> None:
        services.answer(excerpt=out, answer="elsewhere", taps_s=taps, by=mara)
        out.refresh_from_db()
        shown = excerpt_shown(out)
        assert words in shown.tapped_words
        assert shown.change is None

    @pytest.mark.parametrize("answer", ["right", "elsewhere", "other"])
    def test_a_no_stands_in_the_way_until_a_map_is_approved_after_it(
        self, song: Song, mara: User, out: Excerpt, answer: str
    ) -> None:
        make_map(song=song)
        assert not [reason for reason in reasons_against(song) if "listening check" in reason]
        services.answer(excerpt=out, answer=answer, words="later", by=mara)
        said = [reason for reason in reasons_against(song) if "listening check" in reason]
        assert bool(said) is (answer != "right")
        rows = queue_page(song.booking.created_by, Look()).rows
        assert [row.words for row in rows if row.song == song and row.objection] == said
        newest = song.maps.first()
        assert newest is not None
        for _ in range(2):  # pressed twice it is one version
            keep_map(song, newest.map, origin=ApprovedMap.Origin(newest.origin), by=song.booking.created_by)
        assert song.maps.count() == newest.version + (answer != "right")
        assert not [reason for reason in reasons_against(song) if "listening check" in reason]

    def test_twice_as_fast_is_one_press_away(self, mara: User, out: Excerpt) -> None:
        services.answer(excerpt=out, answer="twice", by=mara)
        out.refresh_from_db()
        change = excerpt_shown(out).change
        assert change is not None
        assert (change.bpm, change.bar_one_s, change.label) == ("224", "2.000000", "Take 224 bpm")

    def test_a_map_with_a_step_is_changed_on_the_map_itself(self, song: Song, mara: User, out: Excerpt) -> None:
        step = {"bar": 17, "time_s": 2 + 16 * 240 / 112, "bpm": 120.0, "meter": "4/4"}
        out.map["segments"].append(step)
        out.save()
        services.answer(excerpt=out, answer="half", by=mara)
        out.refresh_from_db()
        song.brief.refresh_from_db()
        assert (excerpt_shown(out).change, song.brief.bpm) == (None, None)

    def test_answered_once(self, mara: User, out: Excerpt) -> None:
        services.answer(excerpt=out, answer="right", by=mara)
        with pytest.raises(ListeningError, match="no longer needs an answer"):
            services.answer(excerpt=out, answer="half", by=mara)

    def test_after_the_desk_the_answer_is_written_down_and_moves_nothing(
        self, song: Song, mara: User, out: Excerpt
    ) -> None:
        Song.objects.filter(pk=song.pk).update(stage=SongStage.READY, turn=Turn.DRUMMER)
        services.answer(excerpt=out, answer="other", words="A bit slower?", by=mara)
        song.refresh_from_db()
        assert (song.stage, song.brief.bpm) == (SongStage.READY, None)
        assert "A bit slower?" in Mail.objects.get(to=Booking.objects.get().created_by.email).body
