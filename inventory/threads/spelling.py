"""One spelling for the many ways in which sizes are typed. PURE."""

from __future__ import annotations

import re
import unicodedata

_SIGNS = str.maketrans(
    {
        "×": "x",
        "✕": "x",
        "✖": "x",
        "⨯": "x",
        "*": "x",
        "−": "-",
        "–": "-",
        "—": "-",
        "‐": "-",
        "‑": "-",
        "″": '"',
        "”": '"',
        "“": '"',
        "„": '"',
        "⁄": "/",
        "∕": "/",
        "№": "No",
        # The same letters on a Cyrillic keyboard.
        "М": "M",
        "м": "m",
        "х": "x",
        "Х": "X",
        # Marks that nobody sees, as pasted text brings them: soft hyphen, zero-width signs, direction, byte order.
        **dict.fromkeys("\u00ad\u200b\u200c\u200d\u200e\u200f\u2060\ufeff", ""),
    }
)
_COMMA = re.compile(r"(?<=\d),(?=\d)|(?<!\d),(?=\d)")


def level(text: str) -> str:
    """One kind of dash, quote, fraction and times sign, a point for the comma; letters as typed.

    >>> level("M14 × 1,5"), level("1½”")
    ('M14 x 1.5', '1 1/2"')
    """
    parts: list[str] = []
    for sign in text.translate(_SIGNS):
        kind = unicodedata.decomposition(sign)
        if kind.startswith("<fraction>"):
            # A vulgar fraction behind a digit is the rest of a mixed number, not another digit of it.
            parts.append((" " if parts and parts[-1].isdigit() else "") + unicodedata.normalize("NFKC", sign))
        elif kind.startswith("<wide>"):
            parts.append(unicodedata.normalize("NFKC", sign))
        else:
            parts.append(sign)
    joined = "".join(parts).translate(_SIGNS)
    return _COMMA.sub(".", " ".join(joined.split()))


def tidy(text: str) -> str:
    """`level`, in capitals.

    >>> tidy("m14*1,5 lh")
    'M14X1.5 LH'
    """
    return level(text).upper()
