from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("money", "0006_further_rounds")]

    operations = [migrations.RenameField(model_name="quote", old_name="revisions_included", new_name="rounds_included")]
