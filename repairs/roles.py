"""Who may plan, book and accept: the rights that repairs adds to the crib's own."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from inventory.roles import (
    BUY,
    COUNT,
    FOREMAN,
    MOVE_STOCK,
    ORDER_POINTS,
    POST_COUNT,
    READ,
    ROLES,
    RUN_CRIB,
    Right,
    may,
)

PLAN = Right("plan", ROLES)
BOOK = Right("book", (FOREMAN,))
ACCEPT = Right("accept", (FOREMAN,))
PROVE = Right("prove", ROLES)
EXCEPT = Right("except", (FOREMAN,))  # sign for a hole that is not proved
HAND_OVER = Right("hand_over", (FOREMAN,))

SETTLE = Right("settle", (FOREMAN,))  # the shop's own limits, order of methods, spindle

_ALL = (
    READ, PLAN, MOVE_STOCK, ORDER_POINTS, RUN_CRIB, COUNT, POST_COUNT, BUY, BOOK, ACCEPT, PROVE, EXCEPT,
    HAND_OVER, SETTLE,
)  # fmt: skip
RIGHTS = {right.code: right for right in _ALL}


class _Rights:
    """`may.book` in a template: asked only where a page asks."""

    def __init__(self, user: Any) -> None:
        self._user = user

    def __getitem__(self, code: str) -> bool:
        return may(self._user, RIGHTS[code])


def rights(request: HttpRequest) -> dict[str, Any]:
    """For every template: what the reader may do."""
    return {"may": _Rights(getattr(request, "user", None))}
