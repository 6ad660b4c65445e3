"""Order points: set by somebody for a reason, proposed from the ledger, and told when they are reached."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from inventory import guards, order_points, policy, purchasing, reservations, stock
from inventory.errors import Refused
from inventory.models import Item, OrderPoint
from tests.factories import BatchFactory, BinFactory, InsertFactory, ItemFactory, SupplierFactory, TapFactory

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
ENTRY: dict[str, Any] = {"by": "Bram", "as_of": NOW}


def put(item: Item, *three: int | None, why: str = "counted by hand", **entry: Any) -> OrderPoint:
    least, point, most = three
    return order_points.set_order_point(
        item=item, minimum=least, order_point=point, maximum=most, why=why, **(ENTRY | entry)
    )


def standing(item: Item) -> order_points.Standing:
    return order_points.standing(item, as_of=NOW)


@pytest.fixture
def used() -> Item:
    """Twenty uses of two over 100 days, out of 100; four of the last come back."""
    item = InsertFactory.create(number="8001")
    batch = BatchFactory.create(item=item, quantity=100, as_of=NOW - timedelta(days=100))
    for at in range(20):
        when = NOW - timedelta(days=99 - at * 5)
        stock.issue_batch(batch=batch, quantity=2, label=f"J-{at}", by="Ida", as_of=when)
    stock.give_back_batch(batch=batch, quantity=1, label="J-19", by="Ida", as_of=NOW)
    return item


@pytest.mark.parametrize(
    ("code", "three"),
    [
        ("order_point_not_under_minimum", (5, 4, 9)), ("order_point_within_maximum", (1, 10, 9)),
        ("order_point_minimum_not_negative", (-1, 4, 9)), ("order_point_whole", (None, 4, 9)),
    ],
)  # fmt: skip
def test_what_does_not_stand_in_order_is_refused_by_the_table_itself(code: str, three: Any) -> None:
    with pytest.raises(Refused) as refused:
        put(InsertFactory.create(), *three)
    assert refused.value.reason.code == code


def test_tools_with_tags_have_no_order_point_and_every_one_says_why() -> None:
    with pytest.raises(Refused, match="item_is_tagged"):
        put(TapFactory.create(), 1, 2, 3)
    with pytest.raises(Refused, match="order_point_says_why"):
        put(InsertFactory.create(), 1, 2, 3, why="")


def test_the_newest_holds_the_older_stay_and_it_can_be_taken_back() -> None:
    item = InsertFactory.create()
    put(item, 1, 2, 3)
    put(item, 2, 4, 8, why="more of them go", by="Ada")
    row = order_points.last_set()[item.pk]
    assert (row.minimum, row.order_point, row.maximum, row.by) == (2, 4, 8, "Ada")
    put(item, None, None, None, why="no longer kept")
    assert order_points.last_set() == {}
    assert [each.why for each in order_points.history(item)] == ["no longer kept", "more of them go", "counted by hand"]


def test_a_press_that_is_repeated_sets_it_once_and_a_key_of_another_item_is_refused() -> None:
    item = InsertFactory.create()
    assert put(item, 1, 2, 3, request_key="k") == put(item, 1, 2, 3, request_key="k")
    with pytest.raises(Refused, match="request_key_reused"):
        put(InsertFactory.create(), 1, 2, 3, request_key="k")


def test_the_position_counts_what_is_free_in_date_and_on_order() -> None:
    item = InsertFactory.create()
    batch = BatchFactory.create(item=item, quantity=10, lot="A")
    BatchFactory.create(item=item, quantity=7, lot="B", expires=date(2026, 5, 31))
    BatchFactory.create(item=item, quantity=2, lot="C", expires=date(2026, 6, 1))
    reservations.reserve(
        label="J-1", link="", unit_holds=[], batch_holds=[(batch.pk, 4)], by="Ada", as_of=NOW - timedelta(days=1)
    )
    firm = SupplierFactory.create(name="Nord")
    offer = purchasing.add_offer(supplier=firm, items=[(item, 1)], pack=5, price=100)
    purchasing.place_order(supplier="Nord", number="B-1", lines=[(offer.pk, 3, 100)], by="Bram", as_of=NOW)
    found = standing(item)
    assert (found.on_hand, found.held, found.free, found.expired) == (12, 4, 8, 7)
    assert (found.on_order, found.position) == (15, 23)
    put(item, 5, 23, 40)
    assert (standing(item).low, standing(item).wanted) == (True, 17)
    put(item, 5, 22, 40)
    assert (standing(item).low, standing(item).wanted) == (False, 0)


def test_a_proposal_comes_from_the_ledger_and_says_what_it_comes_from(used: Item) -> None:
    found = standing(used).proposal
    assert found is not None
    assert found.lines[0].code == "use_a_day"
    assert (found.lines[0].data["pieces"], found.lines[0].data["days"]) == (39, 101)
    assert [line.code for line in found.lines][1:] == ["lead_unknown"]
    firm = SupplierFactory.create(name="Nord")
    offer = purchasing.add_offer(supplier=firm, items=[(used, 1)], pack=10, price=1500, lead_days=4)
    proposed = standing(used).proposal
    assert proposed is not None
    assert proposed.known
    assert proposed.lines[1].code == "lead_offered"
    assert (proposed.maximum - proposed.order_point) % 10 == 0
    for days in (3, 9):
        number = f"B-{days}"
        purchasing.place_order(
            supplier="Nord", number=number, lines=[(offer.pk, 1, 1500)], by="x", as_of=NOW - timedelta(days=40)
        )
        (line,) = purchasing.expected(purchasing.order_numbered(number))
        came = purchasing.Came(line=line.line, item=used.pk, bin=BinFactory.create(), quantity=10)
        purchasing.receive_order(number=number, came=[came], by="x", as_of=NOW - timedelta(days=40 - days))
    recorded = standing(used).proposal
    assert recorded is not None
    assert recorded.lines[1].data | {"sd": ""} == {"orders": 2, "mean": "6", "sd": ""}
    assert recorded.order_point > proposed.order_point


def test_a_higher_service_level_raises_what_is_proposed(used: Item) -> None:
    firm = SupplierFactory.create(name="Nord")
    purchasing.add_offer(supplier=firm, items=[(used, 1)], price=100, lead_days=10)
    before = standing(used).proposal
    policy.settle(code="service", value="99,5", why="a pump stood still", **ENTRY)
    after = standing(used).proposal
    assert before is not None
    assert after is not None
    assert after.order_point > before.order_point


def test_what_expires_is_never_proposed_for_longer_than_its_shortest_lot_kept(used: Item) -> None:
    firm = SupplierFactory.create(name="Nord")
    purchasing.add_offer(supplier=firm, items=[(used, 1)], price=1, lead_days=4)
    free = standing(used).proposal
    for lot, came, days in (("A", 50, 89), ("B", 40, 200), ("C", 30, -1)):
        at = NOW - timedelta(days=came)
        BatchFactory.create(item=used, lot=lot, as_of=at, expires=at.date() + timedelta(days=days))
    found = standing(used).proposal
    assert free is not None
    assert found is not None
    told = {line.code: line.data for line in found.lines}
    # 39 in 101 days: 140.9 in a year, 34.75 in the 90 days of lot A, its first and last taken in; C was past its day
    assert told["lot_within_shelf_life"]["days"] == 90
    assert free.maximum == 140
    assert found.maximum == 34


@pytest.mark.parametrize(("kind", "told"), [("adhesive", True), ("cleaner", False)])
def test_how_long_a_perishable_keeps_is_told_as_not_checked_where_no_lot_says_it(kind: str, told: bool) -> None:
    item = ItemFactory.create(kind=kind, name="x")
    batch = BatchFactory.create(item=item, quantity=100, as_of=NOW - timedelta(days=100))
    for at in range(20):
        stock.issue_batch(batch=batch, quantity=2, label="J-1", by="Ida", as_of=NOW - timedelta(days=99 - at * 5))
    purchasing.add_offer(supplier=SupplierFactory.create(name="Nord"), items=[(item, 1)], price=1, lead_days=4)
    found = standing(item).proposal
    assert found is not None
    assert (found.lines[-1].code == "shelf_life_unknown") is told


def test_a_short_history_is_told_as_unknown() -> None:
    item = InsertFactory.create()
    BatchFactory.create(item=item, as_of=NOW - timedelta(days=3))
    found = standing(item).proposal
    assert found is not None
    assert [line.code for line in found.lines] == ["history_too_short"]
    assert found.lines[0].data["days"] == 4


@pytest.mark.parametrize("count", [2, 19])
def test_a_page_of_items_asks_a_fixed_number_of_queries(count: int) -> None:
    for _ in range(count):
        item = InsertFactory.create()
        BatchFactory.create(item=item)
        put(item, 1, 20, 30)
    with CaptureQueriesContext(
        connection,
    ) as told:
        found, more = order_points.counted(as_of=NOW)
    assert (len(found), more) == (count, 0)
    # items; batches, on order, order points; settings, begin, ledger, how long it keeps, lead times (2), offers (1:
    # there are none)
    assert len(told) == 10
    with CaptureQueriesContext(connection) as low:
        assert len(order_points.standings(as_of=NOW, low=True)) == count
    assert len(low) == 5


def test_the_pages_follow_one_another() -> None:
    items = [InsertFactory.create() for _ in range(order_points.PAGE + 3)]
    first, after = order_points.counted(as_of=NOW)
    rest, end = order_points.counted(after=after, as_of=NOW)
    assert [each.item for each in first + rest] == items
    assert end == 0


@pytest.mark.parametrize("act", ["UPDATE {} SET id = id", "DELETE FROM {}"])
def test_what_was_set_settled_or_delivered_can_be_neither_changed_nor_taken_away(act: str) -> None:
    item = InsertFactory.create()
    put(item, 1, 2, 3)
    policy.settle(code="service", value="97", why="x", **ENTRY)
    offer = purchasing.add_offer(supplier=SupplierFactory.create(name="Nord"), items=[(item, 1)], price=100)
    purchasing.place_order(supplier="Nord", number="B-1", lines=[(offer.pk, 1, 100)], by="Bram", as_of=NOW)
    (line,) = purchasing.expected(purchasing.order_numbered("B-1"))
    came = purchasing.Came(line=line.line, item=item.pk, bin=BinFactory.create(), quantity=1)
    purchasing.receive_order(number="B-1", came=[came], by="Bram", as_of=NOW)
    for table in ("orderpoint", "cribsetting", "delivery", "deliveryline"):
        with pytest.raises(IntegrityError) as error, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(act.format(f"inventory_{table}"))
        reason = guards.refusal(error.value)
        assert reason is not None
        assert reason.code == f"inventory_{table}_append_only"
