"""How much of a tool's life a hole takes in one parent material or another, as people write it. PURE.

A life factor is a whole percentage: 150 says that one hole takes the life of one and a half. Which materials there are
the app above says, once, when it starts (`know`): here they are codes that are compared, with the word of each.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping

from inventory.errors import Reason, Refused
from inventory.kinds import plain

MOST = 10_000  # percent; a hole that takes the life of more than a hundred is a slip of the finger

_WORDS: dict[str, str] = {}


def know(words: Mapping[str, str]) -> None:
    """Make the parent materials known: each code with its word.

    >>> know({"grey_iron": "grey cast iron"})
    >>> materials()["grey_iron"]
    'grey cast iron'
    """
    _WORDS.update(words)


def materials() -> dict[str, str]:
    """The parent materials that are known, by their code.

    >>> materials() is _WORDS
    False
    """
    return dict(_WORDS)


def read_factors(text: str) -> dict[str, int]:
    """Life factors in percent by material, as a sheet or somebody writes them: "steel 150; grey iron 120 %".

    Each stands on a line or behind a semicolon; a material is named by its code or its word, in any case.
    Raises `Refused`: life_factor_unreadable, life_factor_twice, material_unknown with what is spelt alike or, where
    nothing is, what is known.

    >>> know({"steel": "steel", "grey_iron": "grey cast iron"})
    >>> read_factors("steel 150; Grey cast iron 120 %")
    {'steel': 150, 'grey_iron': 120}
    """
    codes = {plain(name): code for code, word in _WORDS.items() for name in (code, word)}
    found: dict[str, int] = {}
    for part in filter(None, (part.strip() for part in re.split(r"[;\r\n]", text))):
        match = re.fullmatch(r"(\D*[^\d\s])\s*[:=]?\s+([0-9]{1,5})\s*%?", part)
        if match is None or not 0 < int(match[2]) <= MOST:
            raise Refused(Reason("life_factor_unreadable", typed=part[:80], most=MOST))
        typed = match[1].rstrip(" :=")
        code = codes.get(plain(typed))
        if code is None:
            near = difflib.get_close_matches(plain(typed), codes, n=1)
            known = () if near else tuple(sorted(_WORDS.values()))
            raise Refused(Reason("material_unknown", typed=typed[:80], near=near[0] if near else "", known=known))
        if code in found:
            raise Refused(Reason("life_factor_twice", material=_WORDS[code]))
        found[code] = int(match[2])
    return found


def write_factors(factors: Mapping[str, int]) -> str:
    """The same as one line that reads back as it was, in the order of the codes.

    >>> write_factors({"steel": 150, "bronze": 80})
    'bronze 80; steel 150'
    """
    return "; ".join(f"{code} {factors[code]}" for code in sorted(factors))


def worn_by(holes: int, percent: int, ahead: int = 0) -> tuple[int, int]:
    """The life in whole holes that so many holes take at this percentage, and by how many hundredths of a hole that is
    rounded up, 0 to 99. What an earlier rounding is `ahead` is taken into account: three times one hole takes what
    three holes at once take.

    >>> worn_by(3, 150), worn_by(3, 100), worn_by(3, 50)
    ((5, 50), (3, 0), (2, 50))
    >>> worn_by(1, 150), worn_by(1, 150, ahead=50), worn_by(1, 40, ahead=60)
    ((2, 50), (1, 0), (0, 20))
    """
    taken = holes * percent - ahead
    life = max(0, -(-taken // 100))
    return life, life * 100 - taken
