"""The site's settings for a test run: a data folder that is thrown away, and the database of this run.

`manage.py test` says by THREADCRIB_TEST_ON which database the run is on; without it, it is SQLite.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path


def _throw_away_folder() -> str:
    folder, maker = tempfile.mkdtemp(prefix="threadcrib-test-"), os.getpid()
    # Processes that a test starts share the folder and must leave it there.
    atexit.register(lambda: shutil.rmtree(folder, ignore_errors=True) if os.getpid() == maker else None)
    return folder


# Nothing of the machine's own Threadcrib may reach a test, nor be reached by one.
_KEPT = {"THREADCRIB_TEST_ON", "THREADCRIB_TEST_POSTGRES", "THREADCRIB_TEST_DATA", "THREADCRIB_REQUIRE_ALL"}
for _name in [name for name in os.environ if name.startswith("THREADCRIB_") and name not in _KEPT]:
    del os.environ[_name]
os.environ["COLUMNS"] = "132"  # commands wrap at the width of the terminal, which a worker takes from elsewhere
if "THREADCRIB_TEST_DATA" not in os.environ:
    os.environ["THREADCRIB_TEST_DATA"] = _throw_away_folder()
# Workers that share a run share no file; a process that a worker starts stays in its worker's folder.
_worker, _folder = os.environ.get("PYTEST_XDIST_WORKER", ""), Path(os.environ["THREADCRIB_TEST_DATA"])
if _worker and _folder.name != _worker:
    (_folder / _worker).mkdir(exist_ok=True)
    os.environ["THREADCRIB_TEST_DATA"] = str(_folder / _worker)
os.environ["THREADCRIB_DATA"] = os.environ["THREADCRIB_TEST_DATA"]
if os.environ.get("THREADCRIB_TEST_ON") == "postgresql":
    os.environ["THREADCRIB_DATABASE_URL"] = os.environ["THREADCRIB_TEST_POSTGRES"]

from repairs.site.settings import *  # noqa: E402, F403
from repairs.site.settings import DATA, DATABASES  # noqa: E402

# On SQLite a file, since the default, in memory, is one connection and cannot show what two writers do.
DATABASES["default"]["TEST"] = {
    "NAME": "test_threadcrib" if "THREADCRIB_DATABASE_URL" in os.environ else str(Path(DATA) / "test.sqlite3")
}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
