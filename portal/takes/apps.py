from django.apps import AppConfig


class TakesConfig(AppConfig):
    name = "portal.takes"
    label = "takes"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.intake import hooks
        from portal.takes.models import RoughMix

        hooks.keeps_content.append(lambda key: RoughMix.objects.filter(key=key).exists())
