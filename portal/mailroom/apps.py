from django.apps import AppConfig


class MailroomConfig(AppConfig):
    name = "portal.mailroom"
    label = "mailroom"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.bookings import hooks
        from portal.mailroom.letters import tell_of_cancelling

        hooks.on_booking_cancelled.append(tell_of_cancelling)
