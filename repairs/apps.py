"""The app of repairs."""

from django.apps import AppConfig


class RepairsConfig(AppConfig):
    name = "repairs"

    def ready(self) -> None:
        from inventory import guards
        from repairs.models import APPEND_ONLY

        guards.register(*(guards.append_only(model._meta.db_table) for model in APPEND_ONLY))
