"""A check is stored in pieces: until the last nobody sees a word of it, and a worker killed between two of them is
followed by one that ends with what a check in one piece ends with."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from analysis.core.reports import Finding as Found
from analysis.core.reports import Place, SongReport
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake.checks import jobs, storing
from portal.intake.files import services as song_files
from portal.intake.models import Finding, SongCheck
from portal.mailroom.models import Mail, MessageRule
from tests.factories import make_check, make_client, make_drummer, make_song, make_source, measured_song

pytestmark = pytest.mark.django_db

FILES = 6
# Three findings resolved and one measured anew; that one and six more opened; the last piece (arithmetic).
PIECES = 3 + 1 + 1 + 6 + 1
LONG_AGO = timezone.now() - timedelta(hours=1)


class KilledError(BaseException):
    """What no handler of ours stops, as nothing stops a signal."""


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(storing, "MOST_ROWS", 1)
    monkeypatch.setattr(storing, "PAUSE_S", 0)
    MessageRule.objects.update_or_create(code="clipped", defaults={"when": MessageRule.When.AT_ONCE})


def report(*, anew: bool) -> SongReport:
    """Of a first check: each file is clipped. Of a second: half of them no longer, one with other figures; and more."""
    clipped = [
        Found("clipped", "stop", f"{at}.wav", Place(time_s=3.0), {"runs": 9 if anew and at == FILES - 1 else 1})
        for at in range(FILES // 2 if anew else 0, FILES)
    ]
    more = [Found("dc-offset", "note", f"{at}.wav", Place(), {"dc_offset": 0.1}) for at in range(FILES if anew else 0)]
    return measured_song(findings=(*clipped, *more))


def checked_once() -> Song:
    """Its second check waits: a file more has come."""
    song = make_song(client=make_client(), title="Slow Tin Rain", stage=SongStage.CHECKING)
    for at in range(FILES):
        make_source(song=song, name=f"{at}.wav")
    make_check(song=song, report=report(anew=False))
    jobs.measure(song.pk)
    make_source(song=song, name="more.wav")
    song_files.check_again(song.pk)
    song.refresh_from_db()
    assert song.stage == SongStage.CHECKING
    return song


def seen(song: Song) -> dict[str, Any]:
    """All that a reader finds, without keys and times."""
    song.refresh_from_db()
    findings = song.findings.order_by("source__name", "code", "state", "pk")
    return {
        "stage": song.stage,
        "turn": song.turn,
        "checks": song.checks.done().count(),
        "findings": list(findings.values_list("source__name", "code", "state", "reason", "question__topic")),
        "questions": [
            (one.topic, one.state, one.text) for message in song.messages.all() for one in message.questions.all()
        ],
        "timeline": list(song.timeline.order_by("pk").values_list("text", flat=True)),
        "letters": Mail.objects.filter(message__song=song).count(),
    }


def begun(song: Song, monkeypatch: pytest.MonkeyPatch, *, killed_after: int | None) -> int:
    """The second check is measured and stored; its worker is killed after so many pieces. How many there were."""
    pieces = 0

    def counted(write: Any) -> Any:
        def write_one(*arguments: Any) -> Any:
            nonlocal pieces
            if pieces == killed_after:
                raise KilledError
            pieces += 1
            return write(*arguments)

        return write_one

    def in_counted_pieces(rows: Any, write: Any) -> None:
        in_pieces(rows, counted(write))

    in_pieces, finish = storing.in_pieces, storing.finish
    with monkeypatch.context() as patched:
        patched.setattr(jobs, "measured", lambda _: report(anew=True))
        patched.setattr(storing, "in_pieces", in_counted_pieces)
        patched.setattr(storing, "finish", counted(finish))
        try:
            jobs.measure(song.pk)
        except KilledError:
            assert pieces == killed_after
    return pieces


def test_stored_in_so_many_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    assert begun(checked_once(), monkeypatch, killed_after=None) == PIECES


@pytest.mark.parametrize("killed_after", range(PIECES))
def test_killed_between_pieces_nobody_sees_any_of_it_and_the_sweep_ends_it_once(
    killed_after: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    uncut, song = checked_once(), checked_once()
    begun(uncut, monkeypatch, killed_after=None)
    before = seen(song)

    begun(song, monkeypatch, killed_after=killed_after)

    assert seen(song) == before
    SongCheck.objects.filter(song=song).update(began_at=LONG_AGO)
    Song.objects.filter(pk=song.pk).update(turn_since=LONG_AGO)
    assert jobs.left_songs() == [song.pk]
    monkeypatch.setattr(jobs, "measured", lambda _: pytest.fail("it was measured already"))
    jobs.measure(song.pk)
    assert seen(song) == seen(uncut) != before
    assert not Finding.everything.coming().exists()
    jobs.measure(song.pk)
    assert seen(song) == seen(uncut)


def test_what_a_song_that_moved_on_had_written_ahead_is_cleared_away(monkeypatch: pytest.MonkeyPatch) -> None:
    song = checked_once()
    before = seen(song)
    written_ahead = storing.written_ahead

    def a_file_comes_meanwhile(*arguments: Any) -> Any:
        done = written_ahead(*arguments)
        make_source(song=song, name="late.wav")
        return done

    monkeypatch.setattr(storing, "written_ahead", a_file_comes_meanwhile)
    begun(song, monkeypatch, killed_after=None)

    assert seen(song) == before
    assert not Finding.everything.coming().exists()


def test_what_a_drummer_waives_meanwhile_stays_as_they_said(monkeypatch: pytest.MonkeyPatch) -> None:
    song = checked_once()
    written_ahead = storing.written_ahead
    mended = song.findings.get(source__name="0.wav")

    def waived_meanwhile(*arguments: Any) -> Any:
        done = written_ahead(*arguments)
        mended.end(Finding.State.WAIVED, by=make_drummer(), reason="meant so")
        return done

    monkeypatch.setattr(storing, "written_ahead", waived_meanwhile)
    begun(song, monkeypatch, killed_after=None)

    mended.refresh_from_db()
    assert (mended.state, mended.reason) == (Finding.State.WAIVED, "meant so")


def test_changes_worked_out_before_another_check_was_stored_are_worked_out_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    song = checked_once()
    finish = storing.finish
    tries: list[bool] = []

    def another_between(check: SongCheck, *arguments: Any) -> bool:
        if not tries:
            song.checks.done().get().finish()
        tries.append(finish(check, *arguments))
        return tries[-1]

    monkeypatch.setattr(storing, "finish", another_between)
    begun(song, monkeypatch, killed_after=None)

    assert tries == [False, True]
    assert song.checks.done().count() == 2
