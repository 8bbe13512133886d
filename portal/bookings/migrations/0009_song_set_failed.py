from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('bookings', '0008_sets_being_checked'),
    ]

    operations = [
        migrations.AddField(
            model_name='song',
            name='set_failed',
            field=models.BooleanField(default=False),
        ),
    ]
