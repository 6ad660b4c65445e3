"""Makes the project's own environment and runs the tests in it.

Standard library only: this runs before anything is installed. It never decides by importing, since a
package of the system's own, of whatever age, would fool it.
"""

import fcntl
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# The interpreter below any environment: the one that runs this may stand in the one to be thrown away.
BASE: str = getattr(sys, "_base_executable", sys.executable)
VENV = ROOT / ".venv"
PYTHON = VENV / "bin" / "python"
STAMP = VENV / "made-from"
UNFINISHED = "unfinished"
LOCKS = {"runtime": ROOT / "requirements.txt", "dev": ROOT / "requirements-dev.txt"}
NEEDS = {"runtime": "django", "dev": "pytest"}
NO_TESTS_RAN = 5
# A whole run goes over the processors, a file at a time; each worker has a database of its own.
SPREAD = ("-n", "auto", "--maxprocesses", "4", "--dist", "loadfile")


def enter(command: str) -> None:
    """Return inside an environment that can run the command; outside one, make `.venv` and start again in it.

    Someone's own active environment is left alone. An environment made from the dev lock, which holds
    the runtime lock, serves every command.
    """
    wanted = "dev" if command == "test" else "runtime"
    if _in_an_environment_of_ones_own():
        if importlib.util.find_spec(NEEDS[wanted]) is None:
            raise SystemExit(
                f"The active environment has no {NEEDS[wanted]}: install {LOCKS[wanted].name} in it, "
                "or leave it and run the same command again, which makes .venv."
            )
        return
    if prepare(wanted) or not _is_ours(sys.prefix):
        os.execv(PYTHON, [str(PYTHON), *sys.orig_argv[1:]])  # noqa: S606 - our own interpreter, our own words


def prepare(wanted: str) -> bool:
    """Bring `.venv` up to the lock, "runtime" or "dev"; False where its stamp says that it is there."""
    if _serves(wanted):
        return False
    try:
        with _alone():
            if _serves(wanted):
                return False
            made_from = _stamp()
            name = "dev" if made_from.startswith("dev ") else wanted
            start = time.monotonic()
            print(f"Setting up {VENV} from {LOCKS[name].name}", flush=True)
            _make(anew=made_from == UNFINISHED or not PYTHON.exists())
            _install(LOCKS[name], start)
            STAMP.write_text(_made_from(name))
            print(f"Set up in {time.monotonic() - start:.1f} s", flush=True)
            return True
    except OSError as error:
        raise SystemExit(f"Setting up {VENV} failed: {error}.") from None
    except KeyboardInterrupt:
        raise SystemExit("\nSetting up was stopped; the same command starts it again.") from None


def run_tests(arguments: Sequence[str]) -> int:
    """Run pytest as a process of its own: all tests on SQLite, then those that use a database on PostgreSQL.

    With no arguments it is the whole, spread over the processors. Returns the exit code. The second run comes
    only when the first has passed, so that the last line is always true of the whole.
    """
    databases = ["sqlite"]
    if os.environ.get("THREADCRIB_TEST_POSTGRES"):
        databases.append("postgresql")
    elif os.environ.get("THREADCRIB_REQUIRE_ALL") == "1":
        raise SystemExit("THREADCRIB_REQUIRE_ALL is set, but THREADCRIB_TEST_POSTGRES names no PostgreSQL.")
    else:
        print("PostgreSQL is skipped: THREADCRIB_TEST_POSTGRES (postgres://…) names none.", flush=True)
    for database in databases:
        print(f"Tests on {database}", flush=True)
        status = subprocess.run(  # noqa: S603 - pytest, with the arguments of whoever runs it
            [sys.executable, "-m", "pytest", *(arguments or SPREAD)],
            cwd=ROOT,
            env={**os.environ, "THREADCRIB_TEST_ON": database},
        ).returncode
        if database == "postgresql" and status == NO_TESTS_RAN:
            return 0
        if status:
            return status
    return 0


def _is_ours(prefix: str) -> bool:
    return Path(prefix).resolve() == VENV.resolve()


def _in_an_environment_of_ones_own() -> bool:
    active = sys.prefix if sys.prefix != sys.base_prefix else os.environ.get("VIRTUAL_ENV", "")
    # An active .venv without a stamp was not made here.
    return bool(active) and not (_is_ours(active) and STAMP.exists())


def _stamp() -> str:
    try:
        return STAMP.read_text()
    except FileNotFoundError:
        return ""


def _made_from(name: str) -> str:
    return f"{name} {hashlib.sha256(LOCKS[name].read_bytes()).hexdigest()}"


def _serves(wanted: str) -> bool:
    return PYTHON.exists() and _stamp() in {_made_from(wanted), _made_from("dev")}


@contextmanager
def _alone() -> Iterator[None]:
    """Hold the set-up's lock file, so that two commands at once do not write one environment."""
    with (ROOT / ".venv.lock").open("w") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            print("Another command is setting up; waiting for it.", flush=True)
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def _make(*, anew: bool) -> None:
    """Lay the environment and mark it unfinished until the stamp is written.

    An unfinished one is thrown away, since pip takes a package for whole that it was stopped in. Any
    other is kept and brought up to the lock: a site that is being served from it goes on.
    """
    if anew and VENV.exists():
        shutil.rmtree(VENV)
    VENV.mkdir(exist_ok=True)
    STAMP.write_text(UNFINISHED)
    if (VENV / "bin" / "pip").exists():
        return
    if subprocess.run([BASE, "-m", "venv", str(VENV)], capture_output=True).returncode:  # noqa: S603
        raise SystemExit(
            f"{BASE} cannot make an environment; on Debian and Ubuntu the package python3-venv is missing."
        )


def _install(lock: Path, start: float) -> None:
    """Install every pin of the lock, telling how far it is.

    The lock names all there is to install, so pip need not resolve (--no-deps) and takes only what has
    the hash written there; byte code is left to the first import of what is used (--no-compile).
    """
    total = sum("==" in line for line in lock.read_text().splitlines() if not line.startswith("#"))
    count, errors = 0, []
    options = ["--require-hashes", "--no-deps", "--no-compile", "--no-input", "--progress-bar", "off"]
    options += ["--retries", "2", "--disable-pip-version-check", "-r", str(lock)]
    with subprocess.Popen(  # noqa: S603 - pip of our own environment
        [str(PYTHON), "-u", "-I", "-m", "pip", "install", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as pip:
        for line in pip.stdout or ():
            word, _, rest = line.partition(" ")
            if word == "Ignoring":  # a pin for another system
                total -= 1
            elif word in ("Collecting", "Processing") or rest.startswith("already satisfied: "):
                count += 1
                name = Path(rest.removeprefix("already satisfied: ").split()[0]).name
                _tell(f"{count:3} of {total} packages", start, name, last=count == total)
            elif word == "Installing":
                _tell("unpacking them", start)
            elif word == "ERROR:":
                errors.append(rest.strip())
    if pip.returncode:
        why = errors[-1] if errors else f"pip ended with {pip.returncode}"
        raise SystemExit(f"The packages could not be installed: {why}. Go online and run this again.")


def _tell(what: str, start: float, name: str = "", *, last: bool = True) -> None:
    line = f"{what:<20}{time.monotonic() - start:5.1f} s  {name}".rstrip()
    if sys.stdout.isatty():
        print(f"\r{line:<78.78}", end="\n" if last else "", flush=True)
    else:
        print(line, flush=True)


if __name__ == "__main__":
    prepare("dev")
