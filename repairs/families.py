"""Insert families: loading an edition, and reading every size for a bolt thread as frozen values."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from django.db.models import Max

from inventory.errors import Reason, Refused
from inventory.guards import act
from inventory.threads import Thread
from repairs.methods.families_file import read_family
from repairs.methods.values import Size, Window
from repairs.models import Family, FamilySize

PUBLISHED = Path(__file__).parent / "published"


def published_files() -> list[Path]:
    """The families that ship beside the code, by file name."""
    return sorted(PUBLISHED.glob("*.toml"))


def load_published() -> list[tuple[Family, int]]:
    """Load every published family that is not loaded yet; returns those that were."""
    loaded = {str(family) for family in Family.objects.all()}
    return [
        load(text=path.read_text(encoding="utf-8"))
        for path in published_files()
        if (file := read_family(path.read_text(encoding="utf-8"))) and f"{file.code}/{file.edition}" not in loaded
    ]


@act()
def load(*, text: str) -> tuple[Family, int]:
    """Load one family file: returns the family and its number of sizes.

    Raises `FamilyError` (every bad row by name) and `Refused("family_edition_once")`: an edition never
    changes, a change gets a new one.
    """
    file = read_family(text)
    if Family.objects.filter(code=file.code, edition=file.edition).exists():
        raise Refused(Reason("family_edition_once", family=file.code, edition=file.edition))
    family = Family.objects.create(
        code=file.code,
        edition=file.edition,
        method=file.method,
        metal=file.metal,
        standing=file.standing,
        source=file.source,
        note=file.note,
    )
    FamilySize.objects.bulk_create(_row(family, size) for size in file.sizes)
    return family, len(file.sizes)


def sizes(*, inners: Collection[str]) -> list[Size]:
    """Every size of the newest edition of every family whose inner thread is one of these keys; one query.

    Newest is the edition that was loaded last. A thread that it no longer has is no longer offered.
    """
    newest = Family.objects.order_by().values("code").annotate(newest=Max("id")).values("newest")
    rows = FamilySize.objects.filter(inner__in=inners, family__in=newest).select_related("family")
    return [size_of(row) for row in rows.order_by("family__code", "id")]


def row_of(size: Size) -> FamilySize:
    """The stored row of a size. Raises `Refused("size_unknown")`."""
    row = FamilySize.objects.filter(
        family__code=size.family,
        family__edition=size.edition,
        inner=size.inner.key,
        outer=size.outer.key,
        length=size.length,
    ).first()
    if row is None:
        raise Refused(Reason("size_unknown", size=size.outer.designation, method=size.method))
    return row


def _row(family: Family, size: Size) -> FamilySize:
    return FamilySize(
        family=family,
        inner=size.inner.key,
        outer=size.outer.key,
        length=size.length,
        drill_least=size.drill.least if size.drill else None,
        drill_most=size.drill.most if size.drill else None,
        seat=size.seat,
        seat_depth=size.seat_depth,
        flange=size.flange,
        below_least=size.below.least if size.below else None,
        below_most=size.below.most if size.below else None,
        removal_drill=size.removal_drill,
        removal_depth=size.removal_depth,
        locate=size.locate,
        lock=size.lock,
        tang_free=size.tang_free,
        locking=size.locking,
        nose=size.nose,
    )


def _window(least: int | None, most: int | None) -> Window | None:
    return None if least is None or most is None else Window(least, most)


def size_of(row: FamilySize) -> Size:
    """The frozen value of a stored size."""
    return Size(
        method=row.family.method,
        family=row.family.code,
        edition=row.family.edition,
        standing=row.family.standing,
        source=row.family.source,
        inner=Thread.from_key(row.inner),
        outer=Thread.from_key(row.outer),
        length=row.length,
        drill=_window(row.drill_least, row.drill_most),
        seat=row.seat,
        seat_depth=row.seat_depth,
        flange=row.flange,
        below=_window(row.below_least, row.below_most),
        removal_drill=row.removal_drill,
        removal_depth=row.removal_depth,
        locate=row.locate,
        lock=row.lock,
        tang_free=row.tang_free,
        locking=row.locking,
        nose=row.nose,
        metal=row.family.metal,
    )
