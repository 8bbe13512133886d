"""From an empty set to files that the client has accepted."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from django.db import transaction
from django.utils import timezone

from portal.bookings import services as bookings
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.bookings.turn_page import asks
from portal.delivery.changes import changes_of
from portal.delivery.check_titles import title_of
from portal.delivery.errors import BalanceMissingError, NameTakenError, NotCheckedError, SetClosedError
from portal.delivery.jobs import checked_for
from portal.delivery.models import SHEET_COLUMNS, Delivery, DeliveryFile, SetRepair, Waiver, key_of
from portal.delivery.names import fold
from portal.delivery.sheet import papers
from portal.delivery.song_facts import note_sets
from portal.intake.files.receivers import SENT_WITH_LENGTH, said_of
from portal.mailroom import services as mailroom
from portal.people.models import House, User
from portal.queueing import queue_task_on_commit
from portal.takes.models import RoughMix
from portal.uploads.models import Upload

STAGES_OF_DELIVERY = (SongStage.TRACKING, SongStage.IN_REVIEW, SongStage.DELIVERED)
# What holds for a track of the same name in the next set.
REMEMBERED = ("channel", "microphone")
BALANCE_SENTENCE = "The full files are released when the balance is recorded."


@transaction.atomic
def open_delivery(*, song: Song, by: User) -> Delivery:
    """Begin a set, or go on with the one that is open. An accepted rough mix is usual; without one it is noted."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    if song.stage not in STAGES_OF_DELIVERY or song.booking.is_over:
        raise SetClosedError(f"“{song.title}” is {song.get_stage_display()}: files are delivered after tracking.")
    newest = song.deliveries.first()
    if newest is not None and newest.is_open:
        return newest
    number, perspective = newest.number + 1 if newest else 1, House.get().perspective
    delivery = Delivery.objects.create(song=song, number=number, perspective=perspective)
    is_accepted = song.rough_mixes.filter(state=RoughMix.State.ACCEPTED).exists()
    text = f"opened delivery {delivery.number}" + ("" if is_accepted else " without an accepted rough mix")
    bookings.record(song.booking, text, actor=by, song=song)
    return delivery


@transaction.atomic
def receive_track(*, upload: Upload) -> DeliveryFile:
    """A track of a name that is there already takes its place, and its row on the delivery sheet."""
    delivery = locked_open(Delivery.objects.get(pk=upload.target_id))
    versions = delivery.files.filter(folded_name=fold(upload.file_name))
    earlier, newest = versions.current().first(), versions.order_by("-version").first()
    if earlier is not None and earlier.sha256 == upload.sha256:
        return earlier  # the very same again changes nothing
    sent_with = said_of(upload, "sentwith")[:SENT_WITH_LENGTH]
    if earlier is not None and sent_with and earlier.sent_with == sent_with:
        raise NameTakenError(f"Two files sent together are named “{upload.file_name}”. Rename one, then send it again.")
    _reopen(delivery)
    version = newest.version + 1 if newest else 1
    if earlier is not None:
        earlier.be_replaced()
        text = f"sent “{upload.file_name}” anew in delivery {delivery.number}: version {version}"
        bookings.record(delivery.song.booking, text, actor=upload.owner, song=delivery.song)
    said = {name: getattr(earlier, name) for name in SHEET_COLUMNS} if earlier else remembered(upload)
    return DeliveryFile.objects.create(
        delivery=delivery,
        version=version,
        sent_with=sent_with,
        **said,
        sent_by=upload.owner,
        name=upload.file_name,
        folded_name=fold(upload.file_name),
        sha256=upload.sha256,
        key=upload.key,
        size_bytes=upload.length_bytes,
    )


def remembered(upload: Upload) -> dict[str, str]:
    """What this drummer said last of a track of this name, in any delivery: which channel, which microphone."""
    known = DeliveryFile.objects.filter(sent_by=upload.owner, folded_name=fold(upload.file_name)).order_by("-pk")
    said = ((name, known.exclude(**{name: ""}).values_list(name, flat=True).first()) for name in REMEMBERED)
    return {name: value for name, value in said if value}


@transaction.atomic
def remove_track(*, file: DeliveryFile, by: User) -> None:
    """Take a file out of an open set. The store keeps its bytes."""
    delivery = locked_open(file.delivery)
    name = file.name
    if DeliveryFile.objects.get(pk=file.pk).replaced_at is not None:
        raise SetClosedError(f"“{name}” is replaced already: this version is not delivered.")
    file.delete()
    _reopen(delivery)
    text = f"took “{name}” out of delivery {delivery.number}"[:300]
    bookings.record(delivery.song.booking, text, actor=by, song=delivery.song)


@transaction.atomic
def describe(*, delivery: Delivery, save: Callable[[], object]) -> bool:
    """Write on the delivery sheet as long as the set is open: under the lock under which it is released. Where left and
    right, the beginning or a channel are stated otherwise, the set was checked for something else: then it is checked
    again, and this is True."""
    before = checked_for(locked_open(delivery))
    save()
    delivery = Delivery.objects.get(pk=delivery.pk)
    if delivery.state == Delivery.State.OPEN or checked_for(delivery) == before:
        return False
    delivery.reopen()
    ask_check(delivery=delivery)
    return True


@transaction.atomic
def ask_check(*, delivery: Delivery) -> None:
    """Have the set checked as it stands. Asked again while it is being checked, it is checked once."""
    delivery = locked_open(delivery)
    if delivery.state == Delivery.State.CHECKING:
        return
    if not delivery.files.current().exists():
        raise NotCheckedError("There is nothing to check yet: add the files first.")
    delivery.ask_check()
    note_sets(delivery.song)
    # A queue that is down undoes nothing: the sweep finds the set.
    queue_task_on_commit("portal.delivery.tasks.check_delivery", delivery.pk)


@transaction.atomic
def waive(*, delivery: Delivery, code: str, file_name: str, reason: str, by: User) -> None:
    """Waive one failed check, and keep why."""
    delivery = locked_open(delivery)
    failed = [check for check in delivery.failures if key_of(check) == (code, file_name)]
    if delivery.state != Delivery.State.CHECKED or not failed:
        raise NotCheckedError("This check has not failed, or the set has changed.")
    Waiver.objects.create(delivery=delivery, code=code, file_name=file_name, reason=reason, waived_by=by)
    note_sets(delivery.song)
    about = f"“{title_of(code)}” of {file_name}" if file_name else f"“{title_of(code)}”"
    text = f"waived {about} in delivery {delivery.number}: {reason}"[:300]
    bookings.record(delivery.song.booking, text, actor=by, song=delivery.song)


@transaction.atomic
def release(*, delivery: Delivery, note: str, by: User) -> None:
    """Hand the set over. Pressed twice it goes once."""
    delivery = _locked(delivery)
    if not delivery.is_open:
        return
    delivery = locked_open(delivery)
    if delivery.state != Delivery.State.CHECKED:
        raise NotCheckedError("The set has changed since the last check: run the checks first.")
    if delivery.repairs.filter(state=SetRepair.State.MAKING).exists():
        raise NotCheckedError("A corrected set is being made: wait for it, then release it.")
    if delivery.failures:
        raise NotCheckedError(
            f"{len(delivery.failures)} failed checks block this set: fix the files or waive the checks."
        )
    delivery.release(note=note)
    transaction.on_commit(partial(keep_papers, delivery.pk), robust=True)
    song = delivery.song
    text = f"delivered set {delivery.number}"
    if song.stage == SongStage.DELIVERED:
        bookings.record(song.booking, text, actor=by, song=song)
    else:
        bookings.move_song(song, SongStage.DELIVERED, text=text, actor=by)
    says = f"{by.name} has delivered the files of “{song.title}”. {asks(Song.objects.get(pk=song.pk))}"
    if changes := changes_of(delivery):
        says += f"\n\nAgainst delivery {changes.earlier.number}: {changes.in_words}."
    if song.booking.files_wait_for_balance and (how := House.get().how_to_pay):
        says += f"\n\nHow to pay:\n{how}"
    mailroom.post(
        booking=song.booking,
        song=song,
        key=f"delivery:{delivery.pk}:released",
        subject=f"Delivery {delivery.number} of “{song.title}”",
        body=f"{note}\n\n{says}" if note else says,
        sender=by,
    )


def keep_papers(delivery_id: int) -> None:
    """As they are now. Where that fails, the first who asks for them makes them."""
    papers.keep_papers(Delivery.objects.select_related("song__booking__created_by").get(pk=delivery_id))


@transaction.atomic
def note_fetched(*, delivery: Delivery, by: User) -> None:
    """A client has begun to download: written down once for a delivery, however often and in how many pieces."""
    if Delivery.objects.filter(pk=delivery.pk, fetched_at=None).update(fetched_at=timezone.now()):
        song = delivery.song
        bookings.record(song.booking, f"started to download delivery {delivery.number}", actor=by, song=song)


@transaction.atomic
def accept(*, delivery: Delivery, by: User) -> None:
    """The client has what they need: the song is done, and its booking when all of its songs are."""
    delivery = _locked(delivery)
    if delivery.state == Delivery.State.ACCEPTED:
        return
    song = delivery.song
    is_newest = not song.deliveries.filter(number__gt=delivery.number, state__in=Delivery.SEEN_BY_CLIENT).exists()
    if delivery.state != Delivery.State.RELEASED or not is_newest or song.booking.is_over:
        raise SetClosedError(
            f"Delivery {delivery.number} cannot be accepted: there is a newer one, or it was already decided."
        )
    if song.booking.files_wait_for_balance:
        raise BalanceMissingError(f"{BALANCE_SENTENCE} You can accept them after you have downloaded them.")
    delivery.accept(by=by)
    bookings.move_song(song, SongStage.ACCEPTED, text=f"accepted delivery {delivery.number}", actor=by)
    mailroom.write_to_drummers(
        key=f"delivery:{delivery.pk}:accepted",
        subject=f"{by.name} accepts the files of “{song.title}”",
        body=f"{by.name} accepts delivery {delivery.number} of “{song.title}”.",
        path=song.get_absolute_url(),
    )


def _reopen(delivery: Delivery) -> None:
    """The set changed: a check that runs is of another one, and it is for the drummer to ask for the next."""
    delivery.reopen()
    note_sets(delivery.song)


def _locked(delivery: Delivery) -> Delivery:
    Song.objects.select_for_update().get(pk=delivery.song_id)  # releasing a newer set and accepting one take turns
    return Delivery.objects.select_for_update(of=("self",)).select_related("song__booking").get(pk=delivery.pk)


def locked_open(delivery: Delivery) -> Delivery:
    """Under the lock under which a set changes, and is released."""
    delivery = _locked(delivery)
    if not delivery.is_open or delivery.song.booking.is_over:
        raise SetClosedError(f"Delivery {delivery.number} is {delivery.get_state_display()}: open a new one.")
    return delivery
