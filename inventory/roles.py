"""Who may do what: three roles of the workshop, and rights that pages and API ask for alike.

A role is a Django group of that name; a person may have several, a superuser may do everything. Each room of acts
declares its rights here or in the app above, as values: nothing but `may` decides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import Group
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from inventory.errors import Reason

LONGEST_NAME = 80  # of who did it, in movements, reservations and orders
FITTER, STOREKEEPER, FOREMAN = ROLES = ("fitter", "storekeeper", "foreman")


@dataclass(frozen=True, slots=True)
class Right:
    """Something that only people of these roles may do; `code` names it in refusals."""

    code: str
    roles: tuple[str, ...]


READ = Right("read", ROLES)
MOVE_STOCK = Right("move_stock", (STOREKEEPER,))
BUY = Right("buy", (STOREKEEPER,))
ORDER_POINTS = Right("order_points", (STOREKEEPER,))
COUNT = Right("count", ROLES)
POST_COUNT = Right("post_count", (STOREKEEPER, FOREMAN))  # see what the book says of a count, decide and post it
RUN_CRIB = Right("run_crib", (STOREKEEPER, FOREMAN))  # what the crib has settled for itself


class RoleLacking(PermissionDenied):
    """Somebody who is logged in asked for what their roles do not give; carries the `Reason`."""

    def __init__(self, right: Right) -> None:
        self.reason = Reason("role_lacking", right=right.code, roles=right.roles)
        super().__init__(self.reason.code)


def roles_of(user: Any) -> frozenset[str]:
    """The roles of somebody, asked of the database once a request."""
    known: frozenset[str] | None = getattr(user, "_roles", None)
    if known is None:
        known = frozenset(user.groups.filter(name__in=ROLES).values_list("name", flat=True))
        user._roles = known
    return known


def known_as(user: Any) -> str:
    """What the ledger calls somebody: the full name, or the login, as much of it as a movement has room for."""
    return str(user.get_full_name() or user.get_username())[:LONGEST_NAME]


def may(user: Any, right: Right) -> bool:
    """Whether this person may do this."""
    if not getattr(user, "is_active", False):
        return False
    return bool(user.is_superuser) or not roles_of(user).isdisjoint(right.roles)


def give_role(user: Any, role: str) -> None:
    """Give somebody a role. Raises ValueError for what is none."""
    if role not in ROLES:
        raise ValueError(role)
    group, _ = Group.objects.get_or_create(name=role)
    user.groups.add(group)


def page(right: Right) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """A page for whoever is logged in and has this right; others log in, or are told which role it takes."""

    def decorate(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @login_required
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not may(request.user, right):
                raise RoleLacking(right)
            return view(request, *args, **kwargs)

        guarded.right = right  # type: ignore[attr-defined]  # for the table of who may do what
        return guarded

    return decorate


def holds(right: Right, **of_methods: Right) -> type[BasePermission]:
    """The same for an endpoint: a permission class of the REST framework.

    A method may ask for a right of its own: `holds(READ, POST=PLAN)`.
    """

    class Holds(BasePermission):
        def has_permission(self, request: Request, view: Any) -> bool:
            if not request.user or not request.user.is_authenticated:
                return False
            wanted = of_methods.get(request.method or "", right)
            if not may(request.user, wanted):
                raise RoleLacking(wanted)
            return True

    Holds.right, Holds.of_methods = right, of_methods  # type: ignore[attr-defined]
    return Holds


Reads = holds(READ)  # what every endpoint asks for where it says nothing else
