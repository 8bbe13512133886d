from django.apps import AppConfig


class MailroomConfig(AppConfig):
    name = "portal.mailroom"
    label = "mailroom"
    default_auto_field = "django.db.models.BigAutoField"
