from django.apps import AppConfig


class SearchConfig(AppConfig):
    name = "portal.search"
    label = "search"
    default_auto_field = "django.db.models.BigAutoField"
