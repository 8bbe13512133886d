from django.apps import AppConfig


class ListeningConfig(AppConfig):
    name = "portal.listening"
    label = "listening"
    default_auto_field = "django.db.models.BigAutoField"
