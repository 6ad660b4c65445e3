"""The bench and the shelf that most whole paths start from."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from tests.repairs.bench import Bench


@pytest.fixture
def bench(db: None, tmp_path: Path, as_of: datetime) -> Bench:
    """An empty shelf with the published families and the demo's house families loaded."""
    return Bench(tmp_path, as_of)
