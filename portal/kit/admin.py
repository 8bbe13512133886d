"""For support: what was logged at the kit is read here, never changed."""

from django.contrib import admin

from portal.kit.models import TakeLog


@admin.register(TakeLog)
class TakeLogAdmin(admin.ModelAdmin[TakeLog]):
    list_display = ("song", "number", "is_kept", "word", "is_undone", "logged_at", "made_at")
    list_filter = ("is_kept", "is_undone")
    list_select_related = ("song",)
    search_fields = ("song__title", "word")
    readonly_fields = tuple(field.name for field in TakeLog._meta.fields)
