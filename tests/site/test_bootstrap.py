"""The two commands on a fresh machine: real environments, real pip, and packages made here."""

import hashlib
import os
import shutil
import subprocess
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from repairs.site.bootstrap import BASE, ROOT

DJANGO = {
    "django/__init__.py": "",
    "django/core/__init__.py": "",
    "django/core/exceptions.py": "class ImproperlyConfigured(Exception): ...\n",
    "django/core/management.py": "import sys\n"
    "def execute_from_command_line(argv): print('version VERSION ran', argv[1:], 'in', sys.prefix)\n",
}
PYTEST = {
    "pytest/__init__.py": "",
    "pytest/__main__.py": "import os, sys\n"
    "on = os.environ['THREADCRIB_TEST_ON']\n"
    "print('pytest', sys.argv[1:], 'on', on)\n"
    "raise SystemExit(int(os.environ.get('FAILS_ON_' + on, 0)))\n",
}


@dataclass
class House:
    """A checkout that holds no more than manage.py, the bootstrap, two locks and the packages they name."""

    root: Path
    pins: dict[str, str] = field(default_factory=dict)

    def lays_out(self) -> "House":
        site = self.root / "repairs" / "site"
        site.mkdir(parents=True)
        for name in ("manage.py", "repairs/__init__.py", "repairs/site/bootstrap.py"):
            shutil.copy(ROOT / name, self.root / name)
        self.offers("django", "0.1", DJANGO)
        self.offers("pytest", "0.1", PYTEST)
        return self

    def offers(self, name: str, version: str, files: dict[str, str]) -> None:
        """Put this wheel on the index and this pin into the locks."""
        (self.root / "index").mkdir(exist_ok=True)
        wheel = self.root / "index" / f"{name}-{version}-py3-none-any.whl"
        info = f"{name}-{version}.dist-info"
        extra = {
            f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n",
            f"{info}/WHEEL": "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
            f"{info}/RECORD": "",
        }
        with zipfile.ZipFile(wheel, "w") as archive:
            for path, text in {**files, **extra}.items():
                archive.writestr(path, text.replace("VERSION", version))
        digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
        self.pins[name] = f"{name}=={version} \\\n    --hash=sha256:{digest}\n"
        (self.root / "requirements.txt").write_text(self.pins["django"])
        (self.root / "requirements-dev.txt").write_text("".join(self.pins.values()))

    def starts(self, *arguments: str, **environment: str) -> "subprocess.Popen[str]":
        dropped = ("PIP_", "THREADCRIB_", "VIRTUAL_ENV", "PYTHON")
        kept = {name: value for name, value in os.environ.items() if not name.startswith(dropped)}
        pip = {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(self.root / "index"), "PIP_CONFIG_FILE": os.devnull}
        return subprocess.Popen(
            [BASE, *arguments],
            cwd=self.root,
            env={**kept, **pip, **environment},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def runs(self, *arguments: str, **environment: str) -> tuple[int, str, str]:
        process = self.starts(*arguments, **environment)
        out, err = process.communicate(timeout=60)
        return process.returncode, out, err

    @property
    def stamp(self) -> Path:
        return self.root / ".venv" / "made-from"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> House:
    """A house in which a command has run once."""
    house = House(tmp_path_factory.mktemp("served")).lays_out()
    status, out, err = house.runs("manage.py", "demo", "--fresh")
    assert status == 0, err
    assert "  1 of 1 packages" in out
    assert out.endswith(f"version 0.1 ran ['demo', '--fresh'] in {house.root / '.venv'}\n")
    return house


@pytest.fixture
def house(served: House, tmp_path: Path) -> House:
    """A copy of it, to be changed by one test."""
    shutil.copytree(served.root, tmp_path / "house", symlinks=True)
    return House(tmp_path / "house", dict(served.pins))


def test_the_second_time_nothing_is_installed(house: House) -> None:
    shutil.rmtree(house.root / "index")
    status, out, _ = house.runs("manage.py", "demo")
    assert (status, out) == (0, f"version 0.1 ran ['demo'] in {house.root / '.venv'}\n")


def test_a_changed_lock_is_installed_again_and_keeps_the_environment(house: House) -> None:
    house.offers("django", "0.2", DJANGO)
    (house.root / ".venv" / "kept").touch()
    status, out, _ = house.runs("manage.py", "demo")
    assert status == 0
    assert "version 0.2 ran ['demo']" in out
    assert (house.root / ".venv" / "kept").exists()


@pytest.mark.parametrize("damage", ["stopped in the middle", "the interpreter is gone"])
def test_a_half_made_environment_is_made_anew(house: House, damage: str) -> None:
    if damage == "stopped in the middle":
        house.stamp.write_text("unfinished")
    else:
        (house.root / ".venv" / "bin" / "python").unlink()
        (house.root / ".venv" / "bin" / "python").symlink_to(house.root / "no-such-python")
    shutil.rmtree(next((house.root / ".venv").glob("lib/*/site-packages/django")))  # pip would not miss it
    status, out, err = house.runs("manage.py", "demo")
    assert status == 0, err
    assert "version 0.1 ran ['demo']" in out


def test_without_the_packages_one_sentence_says_so_and_the_next_run_does_not_take_it_for_done(
    house: House,
) -> None:
    house.offers("django", "0.2", DJANGO)
    (house.root / "index" / "django-0.2-py3-none-any.whl").unlink()
    status, _, err = house.runs("manage.py", "demo")
    assert status == 1
    assert err == (
        "The packages could not be installed: No matching distribution found for django==0.2. "
        "Go online and run this again.\n"
    )
    assert house.stamp.read_text() == "unfinished"


def test_a_package_that_is_not_the_one_of_the_lock_is_refused(house: House) -> None:
    house.offers("django", "0.2", DJANGO)
    lock = house.root / "requirements.txt"
    lock.write_text(lock.read_text()[:-65] + "0" * 64 + "\n")
    status, out, err = house.runs("manage.py", "demo")
    assert status == 1
    assert "HASHES" in err
    assert "ran" not in out


def test_two_commands_at_once_make_one_environment(tmp_path: Path) -> None:
    house = House(tmp_path).lays_out()
    first, second = house.starts("manage.py", "demo"), house.starts("manage.py", "demo")
    outs = sorted((process.communicate(timeout=60)[0] for process in (first, second)), key=len)
    assert [first.returncode, second.returncode] == [0, 0]
    assert all("version 0.1 ran" in out for out in outs)
    assert outs[0].startswith("Another command is setting up; waiting for it.\nversion 0.1 ran")
    assert outs[1].startswith("Setting up")


def test_an_active_environment_of_ones_own_is_left_alone(tmp_path: Path) -> None:
    house = House(tmp_path).lays_out()
    # -S: without any package, whatever this machine has
    status, _, err = house.runs("-S", "manage.py", "demo", VIRTUAL_ENV=str(tmp_path / "mine"))
    assert status == 1
    assert err.startswith("The active environment has no django: install requirements.txt in it")
    assert not (house.root / ".venv").exists()


def test_the_activated_venv_of_the_project_is_still_kept_up_to_date(house: House) -> None:
    house.offers("django", "0.2", DJANGO)
    status, out, _ = house.runs("manage.py", "demo", VIRTUAL_ENV=str(house.root / ".venv"))
    assert status == 0
    assert "version 0.2 ran" in out


def test_the_test_command_adds_the_dev_lock_which_then_serves_every_command(house: House) -> None:
    status, out, _ = house.runs("manage.py", "test", "-k", "bite")
    assert status == 0
    assert "from requirements-dev.txt" in out
    assert out.endswith("Tests on sqlite\npytest ['-k', 'bite'] on sqlite\n")
    assert "PostgreSQL is skipped: THREADCRIB_TEST_POSTGRES" in out
    assert house.runs("manage.py", "demo")[1].startswith("version 0.1 ran")


def test_tests_run_on_both_databases_and_the_runner_has_the_last_word(house: House) -> None:
    house.runs("manage.py", "test")
    url = {"THREADCRIB_TEST_POSTGRES": "postgres://somewhere"}
    status, out, _ = house.runs("manage.py", "test", "-x", **url)
    assert status == 0
    assert [line for line in out.splitlines() if line.startswith("pytest")] == [
        "pytest ['-x'] on sqlite",
        "pytest ['-x'] on postgresql",
    ]
    assert out.endswith("on postgresql\n")

    status, out, _ = house.runs("manage.py", "test", **url, FAILS_ON_sqlite="1")
    assert status == 1
    assert out.endswith("on sqlite\n"), "a run that failed is not covered by one that passes after it"

    assert house.runs("manage.py", "test", **url, FAILS_ON_postgresql="1")[0] == 1
    none_of_these_uses_a_database = house.runs("manage.py", "test", **url, FAILS_ON_postgresql="5")
    assert none_of_these_uses_a_database[0] == 0
    assert house.runs("manage.py", "test", **url, FAILS_ON_sqlite="5")[0] == 5


def test_where_all_is_required_a_missing_postgresql_is_a_failure(house: House) -> None:
    house.runs("manage.py", "test")
    status, out, err = house.runs("manage.py", "test", THREADCRIB_REQUIRE_ALL="1")
    assert status == 1
    assert "THREADCRIB_TEST_POSTGRES names no PostgreSQL" in err
    assert "pytest" not in out
