"""E-mails about what the drummer changed in a booking: they tell, and ask for no answer but to a due date."""

from __future__ import annotations

from django.urls import reverse

from portal.bookings.models import Booking, Song
from portal.bookings.stages import BookingStage, SongStage
from portal.mailroom.emails import compose, letter, write_to, write_to_drummers, write_to_members
from portal.mailroom.links import absolute
from portal.people.models import User


def tell_of_cancelling(booking_id: int, by_id: int, reason: str) -> None:
    """What `bookings.hooks.on_booking_cancelled` calls: an e-mail to each client. Who never heard of the booking has no
    access any more."""
    booking, by = Booking.objects.get(pk=booking_id), User.objects.get(pk=by_id)
    why = f":\n\n{reason}\n\n" if reason else ". "
    for user in User.objects.filter(memberships__booking=booking, is_active=True).order_by("pk"):
        letter(
            to=user.email,
            subject=f"“{booking.title}” is cancelled",
            body=compose(
                to_name=user.name,
                body=f"{by.name} has cancelled “{booking.title}”{why}You can still read all messages and files.",
                link=absolute(booking.get_absolute_url()),
            ),
            key=f"cancelled:{booking.pk}:to:{user.pk}",
        )


def tell_of_due_date(booking_id: int, by_id: int) -> None:
    """What `bookings.hooks.on_due_date_asked` calls: the client is asked, the drummers hear the answer."""
    booking, by = Booking.objects.get(pk=booking_id), User.objects.get(pk=by_id)
    subject, path = f"The due date of “{booking.title}”", booking.get_absolute_url()
    key = f"due:{booking.pk}:{_newest_line(booking)}"
    if by.is_drummer and booking.due_proposed_on:
        day = f"{booking.due_proposed_on.day} {booking.due_proposed_on:%B %Y}"
        body = f"{by.name} proposes {day} as the new due date. Please accept or decline it on the booking’s page."
        write_to_members(booking=booking, by=by, key=key, subject=subject, body=body, path=path)
        return
    day = f"{booking.due_on.day} {booking.due_on:%B %Y}" if booking.due_on else "no day"
    body = f"{by.name} has answered the due date that you proposed. Due now: {day}."
    write_to_drummers(key=key, subject=subject, body=body, path=path)


def tell_of_seat(booking_id: int, user_id: int, by_id: int) -> None:
    """What `bookings.hooks.on_seat_withdrawn` calls: one e-mail to who cannot open the booking any more."""
    booking, user, by = Booking.objects.get(pk=booking_id), User.objects.get(pk=user_id), User.objects.get(pk=by_id)
    letter(
        to=user.email,
        subject=f"You are no longer in “{booking.title}”",
        body=compose(
            to_name=user.name,
            body=f"{by.name} has removed you from “{booking.title}”: you can no longer open its pages.",
            link=absolute(reverse("bookings:board")),
        ),
        key=f"seat-withdrawn:{booking.pk}:{_newest_line(booking)}:to:{user.pk}",
    )


def tell_of_song(song_id: int, by_id: int) -> None:
    """What `bookings.hooks.on_songs_changed` calls: who was sent a quote knows which songs it was for."""
    song, by = Song.objects.select_related("booking").get(pk=song_id), User.objects.get(pk=by_id)
    booking = song.booking
    if booking.stage == BookingStage.ENQUIRY or booking.is_over:
        return
    is_out = song.stage == SongStage.TAKEN_OUT
    did = f"{by.name} has taken “{song.title}” out of" if is_out else f"“{song.title}” is now part of"
    for member in booking.members.exclude(told_at=None).filter(user__is_active=True).select_related("user"):
        write_to(
            member.user,
            booking=booking,
            by=by,
            key=f"song:{song.pk}:{_newest_line(booking)}",
            subject=f"“{song.title}” {'is taken out' if is_out else 'is added'}",
            body=f"{did} “{booking.title}”. A price changes only when you accept a new quote.",
            path=song.get_absolute_url(),
        )


def _newest_line(booking: Booking) -> int:
    """One line of the timeline is one e-mail."""
    return booking.timeline.order_by("-pk").values_list("pk", flat=True)[0]
