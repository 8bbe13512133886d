from django.apps import AppConfig


class ChartsConfig(AppConfig):
    name = "portal.charts"
    label = "charts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.charts.moving import word_on_sections
        from portal.charts.page import last_bar, named_sections
        from portal.lanes import hooks

        hooks.sections_of_chart.append(named_sections)
        hooks.last_bar_of_chart.append(last_bar)
        hooks.words_on_sections.append(word_on_sections)
