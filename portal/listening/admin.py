"""For support: what was asked in a listening check is read here, never changed."""

from django.contrib import admin

from portal.listening.models import Excerpt


@admin.register(Excerpt)
class ExcerptAdmin(admin.ModelAdmin[Excerpt]):
    list_display = ("song", "first_bar", "state", "answer", "asked_at")
    list_filter = ("state", "answer")
    list_select_related = ("song",)
    search_fields = ("song__title",)
    readonly_fields = tuple(field.name for field in Excerpt._meta.fields)
