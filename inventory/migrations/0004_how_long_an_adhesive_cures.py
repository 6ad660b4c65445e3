import inventory.guards
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0003_tags_without_case"),
    ]

    operations = [
        migrations.AddField(
            model_name="item",
            name="cure_hours",
            field=models.BigIntegerField(
                blank=True,
                help_text="whole hours that an adhesive takes to cure, by its data sheet",
                null=True,
            ),
        ),
        migrations.AddConstraint(
            model_name="item",
            constraint=inventory.guards.Rule(
                condition=models.Q(("cure_hours__isnull", True), ("cure_hours__gt", 0), _connector="OR"),
                name="item_cure_hours_positive",
            ),
        ),
    ]
