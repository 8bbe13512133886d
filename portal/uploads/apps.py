from django.apps import AppConfig


class UploadsConfig(AppConfig):
    name = "portal.uploads"
    label = "uploads"
    default_auto_field = "django.db.models.BigAutoField"
