from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('delivery', '0009_sets_being_checked'),
    ]

    operations = [
        migrations.RenameField(model_name='deliveryfile', old_name='label', new_name='channel'),
    ]
