"""For support: rough mixes are read here, never changed."""

from django.contrib import admin

from portal.takes.models import RoughMix


@admin.register(RoughMix)
class RoughMixAdmin(admin.ModelAdmin[RoughMix]):
    list_display = ("song", "number", "state", "name", "received_at")
    list_filter = ("state",)
    list_select_related = ("song",)
    search_fields = ("song__title", "name")
    readonly_fields = tuple(field.name for field in RoughMix._meta.fields)
