from django.apps import AppConfig


class MoneyConfig(AppConfig):
    name = "portal.money"
    label = "money"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from portal.bookings import hooks
        from portal.money.agreement import agreed_rounds
        from portal.money.services import withdraw_cancelled
        from portal.money.song_changes import draft_for_song
        from portal.takes import hooks as takes_hooks

        hooks.on_booking_cancelled.append(withdraw_cancelled)
        hooks.on_songs_changed.append(draft_for_song)
        takes_hooks.agreed_rounds.append(agreed_rounds)
