"""The house's own settings, in a folder that is thrown away. From outside come only the two servers to test against."""

import atexit
import os
import shutil
import tempfile
from urllib.parse import urlsplit

SERVERS = {"KITPOST_DATABASE_URL", "KITPOST_BROKER_URL"}
for name in [name for name in os.environ if name.startswith("KITPOST_") and name not in SERVERS]:
    del os.environ[name]
TEST_DATA_DIR = tempfile.mkdtemp(prefix="kitpost-test-")
atexit.register(shutil.rmtree, TEST_DATA_DIR, ignore_errors=True)
os.environ["KITPOST_DATA_DIR"] = TEST_DATA_DIR
os.environ["KITPOST_DEMO"] = "true"
os.environ["KITPOST_BASE_URL"] = "http://testserver"
os.environ.setdefault("KITPOST_BROKER_URL", "memory://")
# Of several processes that test side by side each has a numbered database on the queue's server, too.
broker = urlsplit(os.environ["KITPOST_BROKER_URL"])
if broker.scheme == "redis":
    number = os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")
    os.environ["KITPOST_BROKER_URL"] = broker._replace(path=f"/{number}").geturl()

from portal.settings import *  # noqa: E402, F403
from portal.settings import DATA_DIR, DATABASES  # noqa: E402

# A file, not memory: a page's threads and the test share it under the same locking as the house itself.
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}
# Each client of the tests starts a site of its own, which need not read all static files' dates first.
WHITENOISE_AUTOREFRESH = True
# A task runs where it is queued, and its error is the test's error. Tests of the queue itself start a worker.
CELERY_TASK_ALWAYS_EAGER = True
CELERY_TASK_EAGER_PROPAGATES = True
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
