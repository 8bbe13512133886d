"""For support: drafts and versions are read here, never changed."""

from django.contrib import admin

from portal.charts.models import ChartDraft, ChartVersion


@admin.register(ChartDraft)
class ChartDraftAdmin(admin.ModelAdmin[ChartDraft]):
    list_display = ("song", "state", "trouble", "asked_at", "made_at")
    list_filter = ("state",)
    list_select_related = ("song",)
    search_fields = ("song__title",)
    readonly_fields = tuple(field.name for field in ChartDraft._meta.fields)


@admin.register(ChartVersion)
class ChartVersionAdmin(admin.ModelAdmin[ChartVersion]):
    list_display = ("song", "number", "origin", "state", "saved_by", "saved_at")
    list_filter = ("state", "origin")
    list_select_related = ("song", "saved_by")
    search_fields = ("song__title",)
    readonly_fields = tuple(field.name for field in ChartVersion._meta.fields)
