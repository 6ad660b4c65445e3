"""Published tables as data files: each names its standard, clause and unit, each row says how it is known.
PURE.
"""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass
from functools import cache

# os.path, not pathlib: that alone would be a tenth of what the import of the room costs.
_FOLDER = os.path.join(os.path.dirname(__file__), "tables")


@dataclass(frozen=True, slots=True)
class Table:
    """One published table: where it comes from and its rows as text, in the unit of print.

    `how` explains the words of the column of that name: "read" was seen in a copy, "memory" was not.
    """

    name: str
    standard: str
    clause: str
    unit: str
    how: str
    rows: tuple[dict[str, str], ...]

    @property
    def source(self) -> str:
        """Standard and clause in one phrase.

        >>> table("iso261").source
        'ISO 261:1998, table 2'
        """
        return f"{self.standard}, {self.clause}"


@cache
def table(name: str, folder: str = _FOLDER) -> Table:
    """The table in `tables/<name>.csv`, or of another room's `folder`; raises FileNotFoundError for no such name.

    >>> table("iso261").rows[0]["pitch"]
    '0.35'
    >>> table("iso261").unit
    'mm'
    """
    head: dict[str, str] = {}
    body: list[str] = []
    with open(os.path.join(folder, f"{name}.csv"), encoding="utf-8") as file:
        lines = file.read().splitlines()
    for line in lines:
        if line.startswith("#"):
            word, _, text = line[1:].partition(":")
            head[word.strip()] = text.strip()
        else:
            body.append(line)
    return Table(
        name=name,
        standard=head["standard"],
        clause=head["clause"],
        unit=head["unit"],
        how=head.get("how", ""),
        rows=tuple(csv.DictReader(body)),
    )
