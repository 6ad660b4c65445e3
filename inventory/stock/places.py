"""Sites, bins and the people who borrow."""

from __future__ import annotations

import difflib
from collections.abc import Collection

from django.db import connection
from django.db.models import Count, Q, Value
from django.db.models.functions import Upper

from inventory.errors import Reason, Refused
from inventory.guards import act, lock_table
from inventory.models import Bin, Person, Site


def add_bin(*, site: str, name: str, walk: int = 0) -> Bin:
    """A bin at a site, the site made with it where it is new. Raises `Refused`: bin_name_taken."""
    with act():
        place, _ = Site.objects.get_or_create(name=site)
        return Bin.objects.create(site=place, name=name, walk=walk)


def site(name: str) -> Site:
    """The site of this name. Raises `Refused`: site_unknown."""
    found = Site.objects.filter(name=name).first()
    if found is None:
        raise Refused(Reason("site_unknown", typed=name, known=tuple(site_names())))
    return found


def site_names() -> list[str]:
    """The names of all sites, in order."""
    return list(Site.objects.order_by("name").values_list("name", flat=True))


def unit_counts() -> list[tuple[str, int]]:
    """Every site with the number of units that have a bin there, most first, then by name. One query."""
    counted = Site.objects.annotate(units=Count("bins__units")).order_by("-units", "name")
    return list(counted.values_list("name", "units"))


def bin_of(*, site: str, name: str) -> Bin:
    """The bin of this name at a site, made where it is not there yet. Whoever makes the same one waits and finds it."""
    with act():
        lock_table(connection, Bin._meta.db_table)
        return bin_at([(site, name)]) or add_bin(site=site, name=name)


def person_of(*, name: str) -> Person:
    """The person of this name, entered where nobody has it yet. Whoever enters the same one waits and finds him.

    Raises `Refused`: person_ambiguous.
    """
    with act():
        lock_table(connection, Person._meta.db_table)
        try:
            return person(name)
        except Refused as refused:
            if refused.reason.code != "person_unknown":
                raise
        return add_person(name=name)


def bin_named(*, site: str, name: str) -> Bin:
    """The bin of this name at a site, or the one bin of this name anywhere, capitals and small letters alike.

    Raises `Refused`: bin_unknown.
    """
    found = list(Bin.objects.select_related("site").alias(folded=Upper("name")).filter(folded=Upper(Value(name)))[:50])
    here = [bin for bin in found if bin.site.name == site] or found
    if len(here) != 1:
        raise Refused(Reason("bin_unknown", name=name, site=site))
    return here[0]


def bin_at(paths: Collection[tuple[str, str]]) -> Bin | None:
    """The bin that one of these pairs of site and name means; None where there is none."""
    either = Q()
    for place, name in paths:
        either |= Q(site__name=place, name=name)
    return Bin.objects.select_related("site").filter(either).order_by("pk").first()


def people_names(most: int = 200) -> list[str]:
    """The names of people who may borrow, in order."""
    return list(Person.objects.order_by("name").values_list("name", flat=True).distinct()[:most])


def person(typed: str) -> Person:
    """The person of this badge or name, capitals and small letters alike.

    Raises `Refused`: person_unknown with names that are spelt alike, person_ambiguous with the badges.
    """
    found = list(Person.objects.filter(Q(badge__iexact=typed) | Q(name__iexact=typed)).order_by("badge")[:20])
    badged = [each for each in found if (each.badge or "").lower() == typed.lower()] or found
    if len(badged) == 1:
        return badged[0]
    if badged:
        badges = tuple(each.badge or "" for each in badged)
        raise Refused(Reason("person_ambiguous", typed=typed, badges=badges))
    near = difflib.get_close_matches(typed, people_names(), n=2)
    raise Refused(Reason("person_unknown", typed=typed, near=tuple(near)))


def add_person(*, name: str, badge: str | None = None) -> Person:
    """Somebody who may borrow. Raises `Refused`: badge_taken."""
    with act():
        return Person.objects.create(name=name, badge=badge or None)
