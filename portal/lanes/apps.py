from django.apps import AppConfig


class LanesConfig(AppConfig):
    name = "portal.lanes"
    label = "score"  # the name of its tables
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.intake import hooks
        from portal.lanes.services import copy_soon

        hooks.on_file_measured.append(copy_soon)
