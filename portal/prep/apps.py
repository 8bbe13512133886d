from django.apps import AppConfig


class PrepConfig(AppConfig):
    name = "portal.prep"
    label = "prep"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.charts import hooks as charts
        from portal.intake import hooks as intake
        from portal.prep.services import mark_sections, prepare

        intake.on_map_approved.append(prepare)
        charts.on_chart_saved.append(mark_sections)
