import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("intake", "0008_kept_views_by_stage_and_due"),
        ("mailroom", "0004_questions"),
        # It reads what asked about a finding as it was stored until here.
        ("money", "0004_facts_of_bookings_and_songs"),
    ]

    operations = [
        migrations.AddField(
            model_name="finding",
            name="question",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="findings",
                to="mailroom.question",
            ),
        ),
    ]
