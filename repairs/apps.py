"""The app of repairs."""

from django.apps import AppConfig


class RepairsConfig(AppConfig):
    name = "repairs"

    def ready(self) -> None:
        from inventory import guards, wear
        from repairs.methods.values import MATERIALS
        from repairs.models import APPEND_ONLY

        wear.know({code: each.word for code, each in MATERIALS.items()})

        for model in APPEND_ONLY:
            columns = {field.name: str(field.column) for field in model._meta.fields}
            sole = [
                tuple(columns[name] for name in constraint.fields)
                for constraint in model._meta.constraints
                if isinstance(constraint, guards.Sole)
            ]
            guards.register(guards.append_only(model._meta.db_table, keys=("id", *sole)))
