from importlib import import_module

from celery import shared_task
from django.conf import settings


@shared_task
def clear_sessions() -> None:
    """Sessions that have ended: nobody can use them, and each anonymous visitor may leave one."""
    import_module(settings.SESSION_ENGINE).SessionStore.clear_expired()
