from django.apps import AppConfig


class DeliveryConfig(AppConfig):
    name = "portal.delivery"
    label = "delivery"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.delivery.models import DeliveryFile
        from portal.intake import hooks

        hooks.keeps_content.append(lambda key: DeliveryFile.objects.filter(key=key).exists())
