from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('bookings', '0005_facts_and_waits'),
    ]

    operations = [
        migrations.AddField(
            model_name='member',
            name='told_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
    ]
