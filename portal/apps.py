from django.apps import AppConfig


class PortalConfig(AppConfig):
    """The house's own files: its static folder, and the checks that run at every start."""

    name = "portal"
    label = "portal"

    def ready(self) -> None:
        from portal import checks  # noqa: F401  registers them
