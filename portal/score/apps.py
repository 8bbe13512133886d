from django.apps import AppConfig


class ScoreConfig(AppConfig):
    name = "portal.score"
    label = "score"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.intake import hooks
        from portal.score.services import copy_soon

        hooks.on_file_measured.append(copy_soon)
