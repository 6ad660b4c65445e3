"""What the shop owns."""

from django.apps import AppConfig
from django.core import checks
from django.db.models.signals import post_migrate


class InventoryConfig(AppConfig):
    name = "inventory"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inventory import guards

        guards.register(
            guards.append_only("inventory_itemchange", keys=("id", "request_key")),
            guards.append_only("inventory_movement", keys=("id", "request_key")),
            guards.append_only("inventory_orderpoint", keys=("id", "request_key")),
            guards.append_only("inventory_cribsetting"),
            guards.append_only("inventory_delivery", keys=("id", "request_key")),
            guards.append_only("inventory_deliveryline", keys=("id", ("delivery_id", "line_id", "item_id"))),
            guards.append_only("inventory_countentry", keys=("id", ("line_id", "request_key"))),
            guards.no_overlap(
                "inventory_unithold",
                name="unit_hold_overlap",
                of="unit_id",
                start="start",
                end="end",
                where="active",
            ),
        )
        post_migrate.connect(guards.lay_after_migrate, sender=self, dispatch_uid="inventory.guards")
        checks.register(guards.check_guards, checks.Tags.database)
