from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('uploads', '0003_upload_concatenation'),
    ]

    operations = [
        migrations.AddField(
            model_name='upload',
            name='multipart_id',
            field=models.TextField(blank=True),
        ),
    ]
