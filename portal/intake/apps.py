from django.apps import AppConfig


class IntakeConfig(AppConfig):
    name = "portal.intake"
    label = "intake"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.bookings import hooks
        from portal.intake.checks.answering import close_cancelled
        from portal.intake.files import services as song_files

        hooks.on_booking_cancelled.append(close_cancelled)
        hooks.on_brief_saved.append(song_files.check_again)
