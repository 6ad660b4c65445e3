"""Stock to test with, each thing as the act of its room leaves it: never a balance without its ledger."""

from datetime import UTC, datetime
from typing import Any

import factory

from inventory import catalogue, stock
from inventory.models import Batch, Bin, Item, Person, Site, Supplier, Unit

LONG_AGO = datetime(2026, 1, 5, 7, 0, tzinfo=UTC)


class SiteFactory(factory.django.DjangoModelFactory[Site]):
    class Meta:
        model = Site
        django_get_or_create = ("name",)

    name = "Main"


class BinFactory(factory.django.DjangoModelFactory[Bin]):
    class Meta:
        model = Bin

    site = factory.SubFactory(SiteFactory)
    name = factory.Sequence(lambda n: f"A{n}")
    walk = factory.Sequence(lambda n: n)


class PersonFactory(factory.django.DjangoModelFactory[Person]):
    class Meta:
        model = Person

    name = factory.Sequence(lambda n: f"Fitter {n}")


class SupplierFactory(factory.django.DjangoModelFactory[Supplier]):
    class Meta:
        model = Supplier

    name = factory.Sequence(lambda n: f"Supplier {n}")


class ItemFactory(factory.django.DjangoModelFactory[Item]):
    """A drill unless told otherwise; threads as somebody writes them."""

    class Meta:
        model = Item

    kind = "drill"

    @classmethod
    def _create(cls, model_class: type[Item], *args: Any, **kwargs: Any) -> Item:
        if kwargs["kind"] == "drill":
            kwargs = {"diameter": 14_500_000, "usable_length": 120_000_000} | kwargs
        return catalogue.add_item(**kwargs)


class TapFactory(ItemFactory):
    kind = "tap"
    thread = "M16x1.5"
    thread_class = "6H"
    usable_length = 60_000_000
    lead = 40
    flute = "straight"
    action = "cut"
    life = 40


class InsertFactory(ItemFactory):
    kind = "insert"
    thread = "M16x1.5"
    inner = "M14x1.5"
    insert_length = 20_000_000
    family = "own-flanged/1"


class UnitFactory(factory.django.DjangoModelFactory[Unit]):
    class Meta:
        model = Unit

    item = factory.SubFactory(ItemFactory)
    bin = factory.SubFactory(BinFactory)
    tag = factory.Sequence(lambda n: f"T-{n:04d}")

    @classmethod
    def _create(cls, model_class: type[Unit], *args: Any, **kwargs: Any) -> Unit:
        return stock.receive_unit(**{"as_of": LONG_AGO, "by": "test"} | kwargs)


class BatchFactory(factory.django.DjangoModelFactory[Batch]):
    class Meta:
        model = Batch

    item = factory.SubFactory(InsertFactory)
    bin = factory.SubFactory(BinFactory)
    quantity = 10

    @classmethod
    def _create(cls, model_class: type[Batch], *args: Any, **kwargs: Any) -> Batch:
        return stock.receive_batch(**{"as_of": LONG_AGO, "by": "test"} | kwargs)
