"""For support: rough mixes and notes at bars are read here, never changed."""

from django.contrib import admin

from portal.takes.models import BarNote, RoughMix


@admin.register(RoughMix)
class RoughMixAdmin(admin.ModelAdmin[RoughMix]):
    list_display = ("song", "number", "state", "name", "received_at")
    list_filter = ("state",)
    list_select_related = ("song",)
    search_fields = ("song__title", "name")
    readonly_fields = tuple(field.name for field in RoughMix._meta.fields)


@admin.register(BarNote)
class BarNoteAdmin(admin.ModelAdmin[BarNote]):
    list_display = ("song", "rough_mix", "first_bar", "last_bar", "written_by", "written_at", "done_at")
    list_select_related = ("song", "rough_mix__song", "written_by")
    search_fields = ("song__title", "text")
    readonly_fields = tuple(field.name for field in BarNote._meta.fields)
