from django.apps import AppConfig


class IntakeConfig(AppConfig):
    name = "portal.intake"
    label = "intake"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.bookings import hooks
        from portal.intake import services

        hooks.on_brief_saved.append(services.check_again)
