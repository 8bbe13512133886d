from django.apps import AppConfig


class BookingsConfig(AppConfig):
    name = "portal.bookings"
    label = "bookings"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.bookings.services import record_correction
        from portal.people import hooks

        hooks.on_client_corrected.append(record_correction)
