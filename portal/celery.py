"""The queue: `celery -A portal worker` and `celery -A portal beat`. Its settings are the CELERY_ names in settings.py."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")

app = Celery("kitpost")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
