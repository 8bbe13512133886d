from django.apps import AppConfig


class KitConfig(AppConfig):
    name = "portal.kit"
    label = "kit"
    default_auto_field = "django.db.models.BigAutoField"
