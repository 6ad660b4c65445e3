"""The page "Buy": the list as it is calculated, in words; orders written once; honest about what is coming."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import catalogue, order_points, purchasing
from inventory.models import Item, Offer, Order
from inventory.roles import ROLES, give_role
from repairs.models import Job
from tests.repairs.bench import Bench
from tests.repairs.test_whole_path import BUSH_KIT, GROUP, SETTING, TAP_16

pytestmark = pytest.mark.django_db


def client_as(role: str) -> Client:
    user = User.objects.create_user(f"a {role}")
    give_role(user, role)
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def keeper() -> Client:
    return client_as("storekeeper")


@pytest.fixture
def short(bench: Bench) -> Bench:
    """Two like jobs that lack a tap, which two firms sell, and a setting tool, which comes late."""
    bench.as_of = timezone.now()
    bench.stock(*(row for row in BUSH_KIT if row not in (TAP_16, SETTING)))
    tap = catalogue.add_item(
        kind="tap", number="TP-16", thread="M16x1.5", thread_class="6H", usable_length=60_000_000, lead=20,
        flute="straight", action="cut", life=40,
    )  # fmt: skip
    tool = catalogue.add_item(kind="setting_tool", number="ST-14", thread="M14x1.5")
    nord = purchasing.add_supplier(name="Nord Tools", carriage=500, minimum=10_000)
    sud = purchasing.add_supplier(name="Sud Tools", carriage=900)
    purchasing.add_offer(supplier=nord, items=[(tap, 1)], price=3100, lead_days=1, number="N-16")
    purchasing.add_offer(supplier=sud, items=[(tap, 1)], price=3900, lead_days=1, number="S-16")
    purchasing.add_offer(supplier=nord, items=[(tool, 1)], price=8000, lead_days=9, number="N-14")
    bench.save(GROUP, number="J-1")
    bench.save(GROUP, number="J-2")
    return bench


def text(client: Client, status: int = 200, **asked: str) -> str:
    answer = client.get(reverse("buy"), asked)
    assert answer.status_code == status
    return flat(answer)


def flat(answer: Any) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def rows(shown: str) -> list[str]:
    """The rows of the list, tags taken out."""
    table = shown.split("<tbody>")[1].split("</tbody>")[0]
    return [re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", row)).strip() for row in table.split("<tr>")[1:]]


# The list


def test_each_gap_tells_what_to_buy_from_whom_at_what_price_and_by_when(short: Bench, keeper: Client) -> None:
    shown = text(keeper)
    tap, tool = rows(shown)
    for told in (
        "1 tap M16x1.5 J-1 J-2",
        "TP-16",
        "2 packs",
        "Nord Tools N-16",
        "EUR 62.00",
        "EUR 31.00 each",
        "in time",
    ):
        assert told in tap
    for told in ("2 setting tool M14x1.5 J-1 J-2", "ST-14", "late by 7 days", "EUR 160.00"):
        assert told in tool
    assert "too late for J-1, J-2" in tool
    for link in (reverse("job", args=["J-1"]), reverse("item", args=["TP-16"])):
        assert f'href="{link}"' in shown


def test_what_a_supplier_comes_to_is_told_with_carriage_and_least_order(short: Bench, keeper: Client) -> None:
    shown = re.sub(r"<[^>]+>", " ", text(keeper))
    shown = re.sub(r"\s+", " ", shown)
    assert "Nord Tools Goods EUR 222.00 Carriage EUR 5.00 Total EUR 227.00 Least order EUR 100.00" in shown
    assert "All together: EUR 227.00 , with carriage." in shown
    assert "Sud Tools Goods" not in shown


def test_one_job_has_its_own_list_and_another_is_told_not_to_be_there(short: Bench, keeper: Client) -> None:
    tap, _ = rows(text(keeper, job="J-2"))
    assert "J-1" not in tap
    assert "1 pack" in tap
    assert 'role="alert"' in text(keeper, status=404, job="J-9")
    Job.objects.filter(number="J-2").update(state="released")
    assert "J-2 is released" in text(keeper, status=409, job="J-2")


def test_what_nobody_sells_is_said_to_be_so_and_a_set_stands_beside_its_parts(short: Bench, keeper: Client) -> None:
    tap, tool = Item.objects.get(number="TP-16"), Item.objects.get(number="ST-14")
    Offer.objects.filter(number="N-14").update(active=False)
    nord = Offer.objects.get(number="N-16").supplier
    purchasing.add_offer(supplier=nord, items=[(tap, 1), (tool, 1)], price=9000, lead_days=1, name="bush set")
    shown = text(keeper)
    assert "not on offer" in rows(shown)[1]
    assert "It is sold only in a set: bush set." in rows(shown)[1]
    assert "Sold whole, it meets lines 1, 2 for EUR 185.00 with carriage." in shown


def test_nothing_missing_is_said(bench: Bench, keeper: Client) -> None:
    assert "<strong>Nothing</strong> is missing" in text(keeper)


def test_a_group_without_a_method_is_named_as_not_listed(short: Bench, keeper: Client) -> None:
    short.save(GROUP | {"hole": "through", "floor": "", "depth": "2"}, number="J-3")
    assert "No method stands for group A of J-3" in text(keeper)


def test_the_spreadsheet_is_the_same_list_and_holds_no_formula(short: Bench, keeper: Client) -> None:
    Item.objects.filter(number="TP-16").update(number="=HYPERLINK(1)")
    answer = keeper.get(reverse("buy-csv"), {"job": "J-1"})
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert re.fullmatch(r'attachment; filename="shopping-list-[\d-]+\.csv"', answer.headers["Content-Disposition"])
    told = answer.content.decode("utf-8-sig")
    found = list(csv.DictReader(io.StringIO(told)))
    assert [(row["short of"], row["supplier"], row["goods"], row["days late"]) for row in found] == [
        ("tap M16x1.5", "Nord Tools", "31.00", "0"),
        ("setting tool M14x1.5", "Nord Tools", "80.00", "7"),
    ]
    assert found[0]["item"] == "'=HYPERLINK(1) tap M16x1.5 6H, 60 mm usable"
    assert keeper.get(reverse("buy-csv"), {"job": "J-9"}).status_code == 404
    assert f'href="{reverse("buy-csv")}?job=J-1"' in text(keeper, job="J-1")


def test_the_page_takes_as_many_queries_for_two_jobs_as_for_twenty(short: Bench, keeper: Client) -> None:
    counts = []
    for count in (2, 20):
        for number in range(Job.objects.count(), count):
            short.save(GROUP, number=f"J-{number + 1}")
            _order_by_act(f"N-{number}")
        with CaptureQueriesContext(connection) as caught:
            text(keeper)
        assert all(query["sql"].startswith("SELECT") for query in caught.captured_queries)
        counts.append(len(caught))
    # session, user, roles; open jobs, planning, shopping (see test_jobs); on order; to choose from; orders with their
    # lines and offers, where there are any; the next number; order points
    assert counts[0] <= counts[1] <= counts[0] + 2
    assert counts[1] == 27


def _order_by_act(number: str) -> Order:
    offer = Offer.objects.get(number="S-16")
    return purchasing.place_order(
        supplier=offer.supplier.name, number=number, lines=[(offer.pk, 1, 3900)], by="x", as_of=timezone.now()
    )


# Orders


def form(shown: str, supplier: str = "Nord Tools") -> dict[str, Any]:
    """What a browser would send of the form that writes an order to this supplier."""
    found = next(each for each in shown.split("<form") if f"Write order to {supplier}" in each)
    sent: dict[str, Any] = dict(re.findall(r'<input type="(?:hidden|text)" name="(\w+)".*? value="([^"]*)"', found))
    sent["line"] = re.findall(r'name="line" value="(\d+)" checked', found)
    return sent


def test_an_order_is_written_with_its_lines_and_prices_and_told_as_on_order(short: Bench, keeper: Client) -> None:
    sent = form(text(keeper))
    assert sent["number"] == f"{timezone.now().year}-001"
    answer = keeper.post(reverse("buy-order"), sent)
    assert (answer.status_code, answer.headers["Location"]) == (302, f"{reverse('buy')}?done={sent['number']}#orders")
    order = Order.objects.get()
    assert (order.state, order.by, order.supplier.name) == ("placed", "a storekeeper", "Nord Tools")
    assert (order.due - timezone.now().date()).days == 9
    assert [(line.offer.number, line.packs, line.price) for line in order.lines.all()] == [
        ("N-16", 2, 3100), ("N-14", 2, 8000),
    ]  # fmt: skip
    shown = text(keeper, done=sent["number"])
    assert "Written: " in shown
    assert "<strong>EUR 227.00</strong> with EUR 5.00 of carriage, agreed by a storekeeper" in shown
    for row in rows(shown):
        assert f"on order : 2 packs, due {order.due} ({sent['number']})" in row
    assert form(shown)["line"] == [], "what is on order already is not ticked"
    assert len(rows(shown)) == 2, "the plan does not count it"


def test_only_what_is_ticked_is_ordered_and_nothing_ticked_is_refused(short: Bench, keeper: Client) -> None:
    sent = form(text(keeper, job="J-1"))
    sent["line"] = sent["line"][:1]
    keeper.post(reverse("buy-order"), sent)
    assert [line.offer.number for line in Order.objects.get().lines.all()] == ["N-16"]
    sent = form(text(keeper, job="J-1")) | {"line": [], "number": "mine"}
    answer = keeper.post(reverse("buy-order"), sent)
    assert answer.status_code == 409
    assert "Nothing is ticked" in flat(answer)
    assert 'value="mine"' in flat(answer)


def test_pressing_twice_writes_one_order(short: Bench, keeper: Client) -> None:
    sent = form(text(keeper, job="J-1"))
    first, second = (keeper.post(reverse("buy-order"), sent) for _ in range(2))
    assert first.headers["Location"] == second.headers["Location"]
    assert Order.objects.count() == 1


def test_a_list_that_moved_or_was_ordered_meanwhile_is_refused_and_nothing_is_ordered(
    short: Bench, keeper: Client
) -> None:
    sent = form(text(keeper))
    Offer.objects.filter(number="N-14").update(price=9000)
    answer = keeper.post(reverse("buy-order"), sent)
    assert answer.status_code == 409
    assert flat(answer).count('role="alert"') == 1
    assert "The list changed after this page was shown" in flat(answer)
    sent = form(text(keeper))
    _order_by_act("elsewhere")
    assert keeper.post(reverse("buy-order"), sent).status_code == 409
    assert keeper.post(reverse("buy-order"), sent | {"code": "from Nobody"}).status_code == 409
    assert [order.number for order in Order.objects.all()] == ["elsewhere"]


def test_a_number_that_is_taken_is_refused_at_its_field_and_kept(short: Bench, keeper: Client) -> None:
    _order_by_act("taken")
    sent = form(text(keeper)) | {"number": "taken"}
    answer = keeper.post(reverse("buy-order"), sent)
    assert answer.status_code == 409
    shown = flat(answer)
    assert "There is already an order of this number." in shown
    assert 'value="taken" aria-invalid="true"' in shown
    empty = keeper.post(reverse("buy-order"), sent | {"number": ""})
    assert (empty.status_code, Order.objects.count()) == (400, 1)
    assert "must be filled in" in flat(empty)


def test_a_set_is_ordered_whole(short: Bench, keeper: Client) -> None:
    tap, tool = Item.objects.get(number="TP-16"), Item.objects.get(number="ST-14")
    supplier = purchasing.add_supplier(name="Set House", carriage=100)
    whole = purchasing.add_offer(
        supplier=supplier, items=[(tap, 1), (tool, 1)], price=9000, lead_days=1, name="bush set"
    )
    keeper.post(reverse("buy-order"), form(text(keeper), "Set House"))
    assert [(line.offer, line.packs) for line in Order.objects.get().lines.all()] == [(whole, 2)]
    assert all("on order" in row for row in rows(text(keeper)))


def test_one_offer_that_several_lines_take_is_one_line_of_the_order(short: Bench, keeper: Client) -> None:
    catalogue.add_item(  # for through holes alone, so that their gap is another, and nobody sells it
        kind="tap", number="TP-P", thread="M16x1.5", thread_class="6H", usable_length=60_000_000, lead=20,
        flute="point", action="cut", life=40,
    )  # fmt: skip
    short.save(GROUP | {"hole": "through", "floor": "", "depth": "40"}, number="J-3")
    shown = text(keeper)
    assert [row.split(" ", 1)[1][:11] for row in rows(shown)].count("tap M16x1.5") == 2
    keeper.post(reverse("buy-order"), form(shown))
    assert [line.packs for line in Order.objects.get().lines.all() if line.offer.number == "N-16"] == [3]


def test_an_order_that_came_or_was_cancelled_is_no_longer_on_order(short: Bench, keeper: Client) -> None:
    for number, state in (("N-1", "received"), ("N-2", "cancelled")):
        _order_by_act(number)
        assert f"({number})" in text(keeper)
        answer = keeper.post(reverse("buy-close"), {"number": number, "state": state, "job": "J-1"})
        assert answer.headers["Location"] == f"{reverse('buy')}?job=J-1#orders"
        assert f"({number})" not in text(keeper)
    assert list(Order.objects.values_list("state", flat=True)) == ["received", "cancelled"]
    again = keeper.post(reverse("buy-close"), {"number": "N-1", "state": "cancelled"})
    assert again.status_code == 409
    assert "Order N-1 is received already." in flat(again)


@pytest.mark.parametrize("role", ROLES)
def test_only_a_storekeeper_writes_orders_and_others_read_and_are_told_who_does(short: Bench, role: str) -> None:
    client, order = client_as(role), _order_by_act("N-1")
    shown = text(client)
    assert ("Write order to" in shown) == ("Take in N-1" in shown) == (role == "storekeeper")
    assert ("A storekeeper writes the orders." in shown) == (role != "storekeeper")
    for address in ("buy-order", "buy-close"):
        answer = client.post(reverse(address), {"number": "N-1", "state": "cancelled"})
        assert (answer.status_code == 403) == (role != "storekeeper")
    order.refresh_from_db()
    assert (order.state == "cancelled") == (role == "storekeeper")


def test_whoever_comes_to_a_press_by_a_link_is_shown_the_list(keeper: Client) -> None:
    for address in ("buy-order", "buy-close"):
        assert keeper.get(reverse(address)).headers["Location"] == reverse("buy")


def test_strangers_are_sent_to_log_in(client: Client) -> None:
    for address in ("buy", "buy-csv"):
        assert client.get(reverse(address)).status_code == 302


# What stands at its order point


@pytest.fixture
def low(short: Bench) -> Item:
    """A bush of which 20 lie there and 40 should, ten in a pack, cheaper from three packs on."""
    item = catalogue.add_item(kind="insert", number="P-1", name="bush", thread="M24x1.5", inner="M20x1.5")
    nord = Offer.objects.filter(supplier__name="Nord Tools")[0].supplier
    purchasing.add_offer(
        supplier=nord, items=[(item, 1)], pack=10, price=900, breaks=[(3, 500)], lead_days=3, number="N-P"
    )
    order_points.set_order_point(
        item=item, minimum=2, order_point=10, maximum=20, why="by eye", by="Bram", as_of=timezone.now()
    )
    return item


def test_what_stands_at_its_order_point_is_bought_up_to_its_most_in_packs(keeper: Client, low: Item) -> None:
    shown = text(keeper)
    assert "position 0, order point 10: 20 bring it up to 20" in shown
    assert "3 packs from Nord Tools" in shown  # two would do, and three cost less
    assert "for the stock" not in text(keeper, job="J-1")


def test_the_spreadsheet_of_all_jobs_holds_what_is_bought_for_stock_and_that_of_one_job_does_not(
    keeper: Client, low: Item
) -> None:
    def rows(**asked: str) -> list[dict[str, str]]:
        told = keeper.get(reverse("buy-csv"), asked).content.decode("utf-8-sig")
        return [row for row in csv.DictReader(io.StringIO(told)) if row["what"] == "buy for stock"]

    (row,) = rows()
    told = [row[name] for name in ("jobs", "supplier", "offer", "pieces", "packs", "a pack", "goods", "days late")]
    assert told == ["", "Nord Tools", "N-P", "20", "3", "5.00", "15.00", "0"]
    assert rows(job="J-1") == []


def test_an_order_for_the_stock_is_written_once_and_then_counts_as_on_order(keeper: Client, low: Item) -> None:
    place = text(keeper).split("Nord Tools, for the stock")[1]
    names = ("code", "seen", "request_key", "line")
    sent = {name: re.search(rf'name="{name}" value="([^"]*)"', place)[1] for name in names}  # type: ignore[index]
    sent |= {"number": "B-9", "urgent_why": "a pump stands still"}
    for _ in range(2):
        assert keeper.post(reverse("buy-order"), sent).status_code == 302
    order = Order.objects.get()
    assert [(line.packs, line.price) for line in order.lines.all()] == [(3, 500)]
    assert order.urgent_why == "a pump stands still"
    shown = text(keeper)
    assert "for the stock" not in shown
    assert "a pump stands still" in shown
