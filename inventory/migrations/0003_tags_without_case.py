from collections import defaultdict
from typing import Any

import django.db.models.functions.text
from django.core.management.base import CommandError
from django.db import migrations

import inventory.guards


def refuse_twins(apps: Any, schema_editor: Any) -> None:
    """Tags that differ in capitals alone cannot be told apart by a program: whoever labelled them must say."""
    alike = defaultdict(list)
    for tag in apps.get_model("inventory", "Unit").objects.order_by("tag").values_list("tag", flat=True):
        alike[tag.upper()].append(tag)
    twins = [" and ".join(tags) for tags in alike.values() if len(tags) > 1]
    if twins:
        raise CommandError(
            f"These tags differ in capitals and small letters alone: {', '.join(twins)}. Give one unit of "
            "each another tag, then run migrate again.",
            returncode=2,
        )


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0002_a_unit_held_for_several_windows"),
    ]

    operations = [
        migrations.RunPython(refuse_twins, migrations.RunPython.noop),
        migrations.RemoveConstraint(
            model_name="unit",
            name="tag_taken",
        ),
        migrations.AddConstraint(
            model_name="unit",
            constraint=inventory.guards.Sole(django.db.models.functions.text.Upper("tag"), name="tag_taken"),
        ),
    ]
