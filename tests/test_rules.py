"""The rules of the house that a machine can check, beside those of import-linter in pyproject.toml."""

import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from django.apps import apps
from django.core.management.base import BaseCommand
from django.db import models
from django.db.migrations.loader import MigrationLoader

from inventory.guards import registered
from tests.reasons import given_reasons, sentences

ROOT = Path(__file__).resolve().parents[1]
APPS = ("inventory", "repairs")
PURE = (
    "inventory.errors",
    "inventory.kinds",
    "inventory.naming",
    "inventory.quantities",
    "inventory.queries",
    "inventory.reordering",
    "inventory.threads",
    "inventory.wear",
    "repairs.buying",
    "repairs.cutting",
    "repairs.drawings",
    "repairs.matching",
    "repairs.methods",
    "repairs.strength",
)
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "manage.py",
    "pyproject.toml",
    "requirements.txt",
    "requirements-dev.txt",
    "inventory",
    "repairs",
    "tests",
    "fixtures",
}
# Not rooms but what Django finds by name; what they do is tested under the noun that they serve.
FOUND_BY_NAME = {
    "__init__",
    "admin",
    "apps",
    "errors",
    "forms",
    "management",
    "migrations",
    "models",
    "site",
    "static",
    "templates",
    "urls",
    "views",
}
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def _sources(app: str) -> Iterator[Path]:
    return (path for path in sorted((ROOT / app).rglob("*.py")) if "migrations" not in path.parts)


def _rooms() -> list[tuple[str, str]]:
    return sorted(
        (app, path.stem)
        for app in APPS
        for path in (ROOT / app).iterdir()
        if (path.suffix == ".py" or (path / "__init__.py").exists()) and path.stem not in FOUND_BY_NAME
    )


def _has_its_test(app: str, room: str) -> bool:
    folder = ROOT / "tests" / app
    return (folder / f"test_{room}.py").exists() or any((folder / room).glob("test_*.py"))


def test_every_room_has_its_test_file() -> None:
    assert [f"{app}/{room}" for app, room in _rooms() if not _has_its_test(app, room)] == []


def test_no_module_is_called_after_nothing_in_particular() -> None:
    nothing = {"utils", "helpers", "common", "core", "misc", "services", "selectors", "repositories"}
    paths = [path.relative_to(ROOT) for app in APPS for path in _sources(app)]
    assert [str(path) for path in paths if nothing & set(path.with_suffix("").parts)] == []


# The PURE rooms


def _exists(name: str) -> bool:
    path = ROOT.joinpath(*name.split("."))
    return path.with_suffix(".py").exists() or (path / "__init__.py").exists()


def _pure_modules() -> Iterator[ModuleType]:
    for name in filter(_exists, PURE):
        module = importlib.import_module(name)
        yield module
        for found in pkgutil.walk_packages(getattr(module, "__path__", ()), f"{name}."):
            yield importlib.import_module(found.name)


def _public(kind: Callable[[Any], bool]) -> list[Any]:
    """What the PURE rooms define themselves of this kind, with names that do not begin with an underscore."""
    return [
        thing
        for module in _pure_modules()
        for name, wrapped in sorted(vars(module).items())
        if not name.startswith("_")
        and kind(thing := inspect.unwrap(wrapped) if callable(wrapped) else wrapped)
        and thing.__module__ == module.__name__
    ]


def _called(thing: Any) -> str:
    return f"{thing.__module__}.{thing.__qualname__}"


@pytest.mark.parametrize("function", _public(inspect.isfunction), ids=_called)
def test_every_public_function_of_a_pure_room_has_a_doctest(function: Callable[..., Any]) -> None:
    assert ">>> " in (inspect.getdoc(function) or "")


@pytest.mark.parametrize("kind", _public(inspect.isclass), ids=_called)
def test_every_public_class_of_a_pure_room_is_documented(kind: type) -> None:
    assert kind.__doc__
    assert not kind.__doc__.startswith(f"{kind.__name__}("), "what a dataclass writes where nobody else did"


def test_pure_rooms_run_without_django() -> None:
    names = [module.__name__ for module in _pure_modules()]
    program = f"import sys\nfor name in {names!r}: __import__(name)\nprint('django' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, env={})
    assert ran.stdout.strip() == "False", ran.stderr


def test_the_linters_hold_every_pure_room_to_its_rules() -> None:
    contract = next(c for c in PYPROJECT["tool"]["importlinter"]["contracts"] if c["name"].startswith("PURE"))
    assert sorted(contract["source_modules"]) == sorted(filter(_exists, PURE))
    strict = next(o for o in PYPROJECT["tool"]["mypy"]["overrides"] if "inventory.kinds" in o["module"])
    assert sorted(name.removesuffix(".*") for name in strict["module"]) == sorted(PURE)


def test_pytest_reads_the_doctests_of_every_pure_room() -> None:
    read = {ROOT / path for path in PYPROJECT["tool"]["pytest"]["ini_options"]["testpaths"]}
    paths = (ROOT.joinpath(*name.split(".")) for name in PURE)
    assert [path for path in paths if path not in read and path.with_suffix(".py") not in read] == []


# The arrow from repairs to inventory


def test_nothing_in_inventory_names_repairs() -> None:
    text = {".py", ".html", ".txt", ".css", ".js", ".json", ".csv", ".svg", ".md"}
    paths = [path for path in (ROOT / "inventory").rglob("*") if "__pycache__" not in path.parts]
    lines = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in paths
        if path.suffix in text
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if re.search(r"\brepairs\b", line)
    ]
    assert lines == []
    assert [str(path.relative_to(ROOT)) for path in paths if path.stem == "repairs"] == []


def test_no_relation_of_an_inventory_model_leads_to_repairs() -> None:
    relations = {
        f"{model.__name__}.{field.name}": field.related_model._meta.app_label
        for model in apps.get_app_config("inventory").get_models()
        for field in model._meta.get_fields()
        if field.is_relation and not field.auto_created and isinstance(field.related_model, type)
    }
    assert {name: app for name, app in relations.items() if app == "repairs"} == {}


# The tables


def _own_models() -> list[type[models.Model]]:
    return [model for app in APPS for model in apps.get_app_config(app).get_models()]


@pytest.mark.parametrize("model", _own_models(), ids=lambda model: model._meta.label)
def test_no_model_keeps_a_float_nor_a_generic_relation(model: type[models.Model]) -> None:
    fields = model._meta.get_fields()
    assert [field.name for field in fields if isinstance(field, models.FloatField)] == []
    assert [field.name for field in fields if type(field).__name__.startswith("Generic")] == []


@pytest.mark.parametrize("model", _own_models(), ids=lambda model: model._meta.label)
def test_no_model_has_business_in_its_save(model: type[models.Model]) -> None:
    assert model.save is models.Model.save
    assert model.delete is models.Model.delete


def test_migrations_are_named_by_hand_and_form_one_line() -> None:
    loader = MigrationLoader(None)
    ours = [name for app, name in loader.disk_migrations if app in APPS]
    assert [name for name in ours if "_auto_" in name] == []
    assert loader.detect_conflicts() == {}
    assert sorted(app for app, _ in loader.graph.leaf_nodes() if app in APPS) == sorted(APPS)


# The commands


def _commands() -> list[tuple[str, str]]:
    return sorted(
        (app, path.stem)
        for app in APPS
        for path in (ROOT / app / "management" / "commands").glob("*.py")
        if not path.stem.startswith("_")
    )


@pytest.mark.parametrize(("app", "name"), _commands())
def test_every_command_and_each_of_its_arguments_has_help(app: str, name: str) -> None:
    command: BaseCommand = importlib.import_module(f"{app}.management.commands.{name}").Command()
    assert command.help.strip()
    arguments = command.create_parser("manage.py", name)._actions
    assert [action.dest for action in arguments if not (action.help or "").strip()] == []


# The words


def _given(app: str) -> set[str]:
    return {code for path in _sources(app) for given in given_reasons(path) for code in given.codes}


def _refused_by_the_database() -> set[str]:
    constraints = {constraint.name for model in _own_models() for constraint in model._meta.constraints}
    return constraints | {guard.name for guard in registered()}


def _sentences(*apps: str) -> set[str]:
    return {code for app in apps for code in importlib.import_module(f"{app}.wording").SENTENCES}


@pytest.mark.parametrize("app", APPS)
def test_every_code_of_a_reason_has_its_sentence(app: str) -> None:
    assert _given(app), "no code was found; does this test still read the source rightly?"
    assert sorted(_given(app) - _sentences("inventory", app)) == []


def test_every_constraint_and_guard_has_its_sentence() -> None:
    names = _refused_by_the_database()
    assert names
    assert sorted(names - _sentences(*APPS)) == []


def test_no_sentence_stands_for_a_code_that_nothing_gives() -> None:
    given = {code for app in APPS for code in _given(app)} | _refused_by_the_database()
    assert sorted(_sentences(*APPS) - given) == []


def test_the_code_of_every_reason_can_be_told_from_the_file_that_gives_it() -> None:
    paths = {path for app in APPS for path in _sources(app)}
    # One rebuilds what was pickled; in the other the code is a constraint's name, looked at above.
    paths -= {ROOT / "inventory" / "errors.py", ROOT / "inventory" / "guards.py"}
    lines = [(path, given.line) for path in paths for given in given_reasons(path) if not given.codes]
    assert [f"{path.relative_to(ROOT)}:{line}" for path, line in lines] == []


@pytest.mark.parametrize("app", APPS)
def test_no_sentence_stands_in_a_command(app: str) -> None:
    paths = sorted((ROOT / app / "management").rglob("*.py"))
    found = [f"{path.relative_to(ROOT)}:{each}" for path in paths for each in sentences(path)]
    assert paths
    assert found == [], "a sentence stands in wording.py, and a command gives its code"


# The top of the tree


def test_the_top_level_holds_what_the_design_lists_and_nothing_else() -> None:
    there = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert there - TOP_LEVEL - {"__pycache__"} == set()


# The locks


def _pins(lock: Path) -> dict[str, str]:
    return dict(re.findall(r"^([a-z0-9-]+)==(\S+)", lock.read_text(), re.MULTILINE))


def _asked(requirements: list[str]) -> dict[str, str]:
    pairs = (re.fullmatch(r"([A-Za-z0-9-]+)(?:\[[a-z,-]+\])?==(\S+)", text) for text in requirements)
    return {pair[1].lower(): pair[2] for pair in pairs if pair}


def test_the_locks_agree_with_pyproject_and_with_each_other() -> None:
    runtime, dev = _pins(ROOT / "requirements.txt"), _pins(ROOT / "requirements-dev.txt")
    wanted, wanted_dev = PYPROJECT["project"]["dependencies"], PYPROJECT["dependency-groups"]["dev"]
    assert len(_asked(wanted)) == len(wanted), "each dependency is pinned in pyproject.toml"
    assert len(_asked(wanted_dev)) == len(wanted_dev)
    assert _asked(wanted).items() <= runtime.items()
    assert _asked(wanted_dev).items() <= dev.items()
    assert runtime.items() <= dev.items(), "the dev lock holds the runtime lock"


@pytest.mark.parametrize("name", ["requirements.txt", "requirements-dev.txt"])
def test_every_pin_has_hashes_and_no_lock_holds_an_address(name: str) -> None:
    text = (ROOT / name).read_text()
    for pin in re.split(r"^(?=[a-z0-9-]+==)", text, flags=re.MULTILINE)[1:]:
        assert "--hash=sha256:" in pin, pin
    assert "://" not in text
    assert "--index-url" not in text
