from django.apps import AppConfig


class MailroomConfig(AppConfig):
    name = "portal.mailroom"
    label = "mailroom"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.bookings import hooks
        from portal.mailroom.asking import note_opened
        from portal.mailroom.emails import private_letter
        from portal.mailroom.tidings import tell_of_cancelling, tell_of_due_date, tell_of_seat, tell_of_song
        from portal.people import hooks as people_hooks

        hooks.on_page_opened.append(note_opened)
        hooks.on_booking_cancelled.append(tell_of_cancelling)
        hooks.on_due_date_asked.append(tell_of_due_date)
        hooks.on_seat_withdrawn.append(tell_of_seat)
        hooks.on_songs_changed.append(tell_of_song)
        people_hooks.carries_private_letter.append(private_letter)
