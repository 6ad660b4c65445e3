"""The families that ship with the program and the demo's house families, read once."""

from pathlib import Path

import pytest

from repairs.methods.families_file import FamilyFile, read_family
from repairs.methods.values import Size

ROOT = Path(__file__).resolve().parents[3]
FILES = [
    *sorted((ROOT / "repairs" / "published").glob("*.toml")),
    *sorted((ROOT / "fixtures" / "families").glob("*.toml")),
]


@pytest.fixture(scope="session")
def families() -> dict[str, FamilyFile]:
    read = [read_family(path.read_bytes()) for path in FILES]
    return {family.code: family for family in read}


@pytest.fixture(scope="session")
def sizes(families: dict[str, FamilyFile]) -> list[Size]:
    return [size for family in families.values() for size in family.sizes]
