from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('bookings', '0007_due_dates_proposed_and_songs_taken_out'),
    ]

    operations = [
        migrations.AddField(
            model_name='song',
            name='set_checking',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='song',
            name='set_correcting',
            field=models.BooleanField(default=False),
        ),
    ]
