"""Insert families in the database: an edition comes in whole or not at all, stays, and the newest one speaks."""

from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import Refused
from inventory.threads import read
from repairs import families
from repairs.methods.families_file import FamilyError, read_family
from repairs.models import Family, FamilySize

pytestmark = pytest.mark.django_db

HOUSE = sorted((Path(__file__).parents[2] / "fixtures" / "families").glob("*.toml"))
M8, M10 = read("M8").thread.key, read("M10").thread.key


def _plain(edition: str, *inners: str, code: str = "shop-plain", outer: dict[str, str] | None = None) -> str:
    text = f'code = "{code}"\nedition = "{edition}"\nmethod = "plain_bush"\nstanding = "house"\nsource = "drawing 4"\n'
    text += '[defaults]\nlocate = "depth_stop"\nlock = "adhesive"\nbelow_least = 0.2\nbelow_most = 0.5\n'
    outers = {"M8": "M12x1.25", "M10": "M14x1.5"} | (outer or {})
    for inner in inners:
        text += f'[[size]]\ninner = "{inner}"\nouter = "{outers[inner]}"\nlengths = [12, 16]\n'
    return text


def _found(*inners: str) -> list[tuple[str, str, int]]:
    return [(size.family_key, size.inner.designation, size.length) for size in families.sizes(inners=inners)]


@pytest.mark.parametrize("path", [*families.published_files(), *HOUSE], ids=lambda path: path.name)
def test_what_a_file_says_is_what_is_read_back(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    file = read_family(text)
    family, count = families.load(text=text)
    assert count == len(file.sizes) == FamilySize.objects.count()
    assert (str(family), family.method, family.standing, family.source, family.note) == (
        f"{file.code}/{file.edition}", file.method, file.standing, file.source, file.note,
    )  # fmt: skip
    assert families.sizes(inners={size.inner.key for size in file.sizes}) == list(file.sizes)


def test_only_the_sizes_of_the_threads_that_were_asked_for_come_in_one_query() -> None:
    families.load(text=_plain("1", "M8", "M10"))
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert _found(M8) == [("shop-plain/1", "M8x1.25", 12_000_000), ("shop-plain/1", "M8x1.25", 16_000_000)]
    assert len(queries) == 1
    assert _found() == []


def test_an_edition_is_loaded_once() -> None:
    families.load(text=_plain("1", "M8"))
    with pytest.raises(Refused) as refused:
        families.load(text=_plain("1", "M8", "M10"))
    assert refused.value.reason.code == "family_edition_once"
    assert dict(refused.value.reason.data) == {"family": "shop-plain", "edition": "1"}
    assert FamilySize.objects.count() == 2


def test_the_edition_loaded_last_speaks_and_the_old_one_stays() -> None:
    families.load(text=_plain("2026", "M8"))
    families.load(text=_plain("2025b", "M8", outer={"M8": "M12x1.5"}))
    assert {(size.edition, size.outer.designation) for size in families.sizes(inners=[M8])} == {("2025b", "M12x1.5")}
    assert Family.objects.count() == 2


def test_a_thread_that_the_new_edition_dropped_is_no_longer_offered_alone_nor_beside_others() -> None:
    families.load(text=_plain("1", "M8", "M10"))
    families.load(text=_plain("2", "M8"))
    assert _found(M10) == []
    assert {key for key, *_ in _found(M8, M10)} == {"shop-plain/2"}
    assert {name for _, name, _ in _found(M8, M10)} == {"M8x1.25"}


def test_a_bad_row_is_refused_by_name_and_nothing_is_loaded() -> None:
    text = _plain("1", "M8", "M10") + '[[size]]\ninner = "M8"\nouter = "M6"\nlengths = [12]\n'
    with pytest.raises(FamilyError) as refused:
        families.load(text=text)
    assert [(reason.code, reason["row"]) for reason in refused.value.reasons] == [("family_row_no_room", 3)]
    assert not Family.objects.exists()


def test_the_published_families_are_loaded_once_however_often_they_are_asked_for() -> None:
    first = families.load_published()
    assert len(first) == len(families.published_files()) > 3
    assert all(count > 0 and family.standing == "published" for family, count in first)
    assert families.load_published() == []
    assert Family.objects.count() == len(first)
