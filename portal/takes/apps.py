from django.apps import AppConfig


class TakesConfig(AppConfig):
    name = "portal.takes"
    label = "takes"
    default_auto_field = "django.db.models.BigAutoField"
