from django.apps import AppConfig


class MoneyConfig(AppConfig):
    name = "portal.money"
    label = "money"
    default_auto_field = "django.db.models.BigAutoField"
