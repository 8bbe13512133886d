from django.db import migrations, models

STATES = [
    ('draft', 'draft'),
    ('sent', 'sent'),
    ('accepted', 'accepted'),
    ('declined', 'declined'),
    ('replaced', 'replaced'),
    ('withdrawn', 'withdrawn'),
]


class Migration(migrations.Migration):

    dependencies = [
        ('money', '0002_payments_taken_back'),
    ]

    operations = [
        migrations.AlterField(
            model_name='quote',
            name='state',
            field=models.CharField(choices=STATES, default='draft', max_length=9),
        ),
    ]
