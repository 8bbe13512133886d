"""The notes of a song as a page lists them: by bar, as the map counts now."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import uuid4

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.people.models import User
from portal.takes.models import BarNote, NoteAnswer
from portal.takes.note_bars import NoteBars, bars_of
from portal.takes.note_forms import NoteForm
from portal.takes.services import waiting_notes
from portal.takes.stages import STAGES_OF_MIXES


@dataclass(frozen=True)
class NoteShown:
    note: BarNote
    bars: NoteBars
    answers: tuple[NoteAnswer, ...]
    can_take_back: bool


@dataclass(frozen=True)
class NotesPage:
    song: Song
    user: User
    notes: tuple[NoteShown, ...]
    map_version: int
    can_write: bool
    # The clients' notes that they have not asked for yet.
    waiting: int
    trouble: str
    form: NoteForm

    @property
    def open_count(self) -> int:
        return sum(not shown.note.is_done for shown in self.notes)

    @property
    def counts_waiting(self) -> bool:
        """Whether the page asks its reader for a decision on the mix."""
        return not self.user.is_drummer and self.song.stage == SongStage.IN_REVIEW and not self.song.mix_accepted

    @property
    def were_moved(self) -> bool:
        return any(shown.bars.moved_from for shown in self.notes)


def notes_page(song: Song, user: User, *, trouble: str = "") -> NotesPage:
    approved = song.maps.first()
    rows = song.bar_notes.visible_to(user).select_related(
        "approved_map", "written_by", "done_by", "rough_mix__take", "asked_with"
    )
    shown = [_shown(note, bars_of(note, approved), user) for note in rows.prefetch_related("answers__written_by")]
    can_write = approved is not None and song.stage in STAGES_OF_MIXES and not song.booking.is_over
    version = approved.version if approved else 0
    return NotesPage(
        song=song,
        user=user,
        notes=tuple(sorted(shown, key=lambda one: (one.bars.first, one.note.pk))),
        map_version=version,
        can_write=can_write,
        waiting=waiting_notes(song).count(),
        trouble=trouble,
        form=NoteForm(initial={"map_version": version, "key": uuid4()}),
    )


def _shown(note: BarNote, bars: NoteBars, user: User) -> NoteShown:
    answers = tuple(note.answers.all())
    is_own = note.written_by_id == user.pk
    return NoteShown(note, bars, answers, is_own and note.asked_with_id is None and not answers)
