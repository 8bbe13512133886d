from django.apps import AppConfig


class BookingsConfig(AppConfig):
    name = "portal.bookings"
    label = "bookings"
    default_auto_field = "django.db.models.BigAutoField"
