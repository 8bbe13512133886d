"""For support: prepared files are read here, never changed."""

from django.contrib import admin

from portal.prep.models import HousePrep, PreparedFile, SessionPack, SongPrep


@admin.register(PreparedFile)
class PreparedFileAdmin(admin.ModelAdmin[PreparedFile]):
    list_display = ("name", "kind", "approved_map", "size_bytes", "made_at")
    list_filter = ("kind",)
    list_select_related = ("approved_map__song",)
    search_fields = ("name", "approved_map__song__title")
    readonly_fields = tuple(field.name for field in PreparedFile._meta.fields)


@admin.register(SessionPack)
class SessionPackAdmin(admin.ModelAdmin[SessionPack]):
    list_display = ("song", "state", "trouble", "files_done", "files_total", "made_at")
    list_filter = ("state",)
    list_select_related = ("song",)
    search_fields = ("song__title",)
    readonly_fields = tuple(field.name for field in SessionPack._meta.fields)


@admin.register(HousePrep, SongPrep)
class ChoicesAdmin(admin.ModelAdmin[HousePrep | SongPrep]):
    pass
