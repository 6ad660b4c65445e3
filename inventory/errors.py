"""Reasons and refusals: a code with data in base units; `wording.py` turns them into sentences. PURE."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something is so: a code and the numbers behind it.

    Lengths in whole nanometres under keys that end in `_nm`, torques in newton millimetres (`_nmm`),
    loads in newtons (`_newton`), stresses in megapascals (`_mpa`),
    times as aware datetimes or dates, counts as int, everything else as text or tuples of text.

    >>> Reason("too_short", usable_nm=80_000_000, needed_nm=83_000_000)["needed_nm"]
    83000000
    """

    code: str
    data: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))

    def __init__(self, code: str, /, **data: Any) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "data", MappingProxyType(dict(data)))

    def __getitem__(self, key: str) -> Any:
        return self.data[key]

    def __hash__(self) -> int:
        return hash((self.code, tuple(sorted((key, repr(value)) for key, value in self.data.items()))))

    def __reduce__(self) -> tuple[Any, ...]:
        return (rebuilt, (self.code, dict(self.data)))


def rebuilt(code: str, data: Mapping[str, Any]) -> Reason:
    """A reason that was taken apart, to be pickled or written as a document; nothing is checked.

    >>> rebuilt("too_short", {"usable_nm": 80_000_000})["usable_nm"]
    80000000
    """
    return Reason(code, **data)


class Refused(Exception):
    """An act or a reading that cannot be done; carries its `Reason`.

    >>> str(Refused(Reason("tag_taken", tag="T-014")))
    "tag_taken tag='T-014'"
    """

    def __init__(self, reason: Reason) -> None:
        super().__init__(reason)
        self.reason = reason

    def __str__(self) -> str:
        return " ".join([self.reason.code, *(f"{key}={value!r}" for key, value in self.reason.data.items())])
