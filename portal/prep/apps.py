from django.apps import AppConfig


class PrepConfig(AppConfig):
    name = "portal.prep"
    label = "prep"
    default_auto_field = "django.db.models.BigAutoField"
