from django.apps import AppConfig


class PrepConfig(AppConfig):
    name = "portal.prep"
    label = "prep"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.intake import hooks
        from portal.prep.services import prepare

        hooks.on_map_approved.append(prepare)
