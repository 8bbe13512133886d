from django.db import migrations, models

TURNS = [('drummer', 'the drummer'), ('client', 'the client'), ('house', 'our checks'), ('nobody', 'nobody')]
QUOTE_STATES = [('none', 'no quote'), ('draft', 'draft'), ('sent', 'sent'), ('accepted', 'accepted')]
SONG_FACTS = (
    'has_files',
    'question_open',
    'file_promised',
    'listening_open',
    'map_approved',
    'stop_open',
    'draft_held',
    'mix_accepted',
    'change_requested',
)


class Migration(migrations.Migration):

    dependencies = [
        ('bookings', '0004_folded_text'),
    ]

    operations = [
        migrations.AddField(
            model_name='booking',
            name='quote_state',
            field=models.CharField(choices=QUOTE_STATES, default='none', max_length=8),
        ),
        migrations.AddField(
            model_name='booking',
            name='agreed_once',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='booking',
            name='waits_for',
            field=models.CharField(default='write-quote', max_length=20),
        ),
        migrations.AddField(
            model_name='song',
            name='waits_for',
            field=models.CharField(default='write-quote', max_length=20),
        ),
        migrations.AlterField(
            model_name='song',
            name='turn',
            field=models.CharField(choices=TURNS, default='drummer', max_length=8),
        ),
        *(
            migrations.AddField(model_name='song', name=name, field=models.BooleanField(default=False))
            for name in SONG_FACTS
        ),
    ]
