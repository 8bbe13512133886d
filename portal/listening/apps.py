from django.apps import AppConfig


class ListeningConfig(AppConfig):
    name = "portal.listening"
    label = "listening"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.intake import hooks
        from portal.listening.services import reasons_against

        hooks.more_reasons_against.append(reasons_against)
