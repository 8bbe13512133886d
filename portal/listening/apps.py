from django.apps import AppConfig


class ListeningConfig(AppConfig):
    name = "portal.listening"
    label = "listening"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.bookings import hooks as booking_hooks
        from portal.intake import hooks
        from portal.listening.services import close_cancelled, reasons_against

        booking_hooks.on_booking_cancelled.append(close_cancelled)
        hooks.more_reasons_against.append(reasons_against)
