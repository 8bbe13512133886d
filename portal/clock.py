"""What `celery -A portal beat` runs. Tested in `tests/portal/test_celery.py`."""

from celery import Celery
from celery.apps.beat import Beat


class Clock(Beat):
    """It sends tasks by their names and knows their times: what they do, and all that this imports, is the workers'."""

    app: Celery

    def init_loader(self) -> None:
        self.app.finalize()
