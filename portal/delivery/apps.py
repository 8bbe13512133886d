from django.apps import AppConfig


class DeliveryConfig(AppConfig):
    name = "portal.delivery"
    label = "delivery"
    default_auto_field = "django.db.models.BigAutoField"
