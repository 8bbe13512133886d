from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('uploads', '0002_upload_booking'),
    ]

    operations = [
        migrations.AddField(
            model_name='upload',
            name='concat',
            field=models.TextField(blank=True),
        ),
        migrations.AddField(
            model_name='upload',
            name='parts',
            field=models.JSONField(default=list),
        ),
        migrations.AlterField(
            model_name='upload',
            name='purpose',
            field=models.CharField(blank=True, max_length=20),
        ),
        migrations.AlterField(
            model_name='upload',
            name='state',
            field=models.CharField(choices=[('open', 'open'), ('received', 'received'), ('refused', 'refused'), ('expired', 'expired'), ('joined', 'joined')], default='open', max_length=8),
        ),
        migrations.AlterField(
            model_name='upload',
            name='target_id',
            field=models.PositiveBigIntegerField(default=0),
        ),
    ]
