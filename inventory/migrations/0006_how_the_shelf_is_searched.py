"""Indexes that the search of the shelf leans on, and how the request for an order is repeated."""

import django.db.models.functions.text
import inventory.guards
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0005_how_a_release_is_repeated'),
    ]

    operations = [
        migrations.AddField(
            model_name='order',
            name='request_key',
            field=models.CharField(blank=True, default=None, max_length=64, null=True),
        ),
        migrations.AddIndex(
            model_name='batch',
            index=models.Index(django.db.models.functions.text.Upper('lot'), name='batch_lot_folded'),
        ),
        migrations.AddIndex(
            model_name='batch',
            index=models.Index(fields=['expires'], name='batch_expires'),
        ),
        migrations.AddIndex(
            model_name='bin',
            index=models.Index(django.db.models.functions.text.Upper('name'), name='bin_name_folded'),
        ),
        migrations.AddIndex(
            model_name='item',
            index=models.Index(django.db.models.functions.text.Upper('number'), name='item_number_folded'),
        ),
        migrations.AddIndex(
            model_name='order',
            index=models.Index(fields=['state'], name='order_state'),
        ),
        migrations.AddIndex(
            model_name='unit',
            index=models.Index(fields=['condition'], name='unit_condition'),
        ),
        migrations.AddIndex(
            model_name='unit',
            index=models.Index(fields=['calibration_due'], name='unit_calibration_due'),
        ),
        migrations.AddConstraint(
            model_name='order',
            constraint=inventory.guards.Sole(fields=('request_key',), name='order_request_key_taken'),
        ),
    ]
