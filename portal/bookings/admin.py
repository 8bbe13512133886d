from django.contrib import admin
from django.http import HttpRequest

from portal.bookings.models import Booking, Brief, Member, Song, TimelineEntry


class MemberInline(admin.TabularInline[Member, Booking]):
    model = Member
    extra = 0
    raw_id_fields = ["user"]


@admin.register(Booking)
class BookingAdmin(admin.ModelAdmin[Booking]):
    list_display = ["title", "stage", "turn", "due_on", "created_by", "created_at"]
    list_filter = ["stage", "turn"]
    list_select_related = ["created_by"]
    search_fields = ["title", "members__user__name", "members__user__email"]
    raw_id_fields = ["created_by"]
    readonly_fields = ["stage", "turn", "turn_since", "created_at"]
    inlines = [MemberInline]


@admin.register(Song)
class SongAdmin(admin.ModelAdmin[Song]):
    list_display = ["title", "booking", "position", "stage", "turn"]
    list_filter = ["stage", "turn"]
    list_select_related = ["booking"]
    search_fields = ["title", "booking__title"]
    raw_id_fields = ["booking"]
    readonly_fields = ["stage", "turn", "turn_since"]


@admin.register(Brief)
class BriefAdmin(admin.ModelAdmin[Brief]):
    list_display = ["song", "bpm", "meter", "starts", "click", "updated_at"]
    list_select_related = ["song"]
    search_fields = ["song__title"]
    raw_id_fields = ["song", "updated_by"]
    readonly_fields = ["updated_at"]


@admin.register(TimelineEntry)
class TimelineEntryAdmin(admin.ModelAdmin[TimelineEntry]):
    list_display = ["at", "booking", "song", "actor", "text"]
    list_select_related = ["booking", "song", "actor"]
    search_fields = ["text", "booking__title", "song__title"]
    readonly_fields = ["booking", "song", "at", "actor", "text"]

    def has_add_permission(self, request: HttpRequest) -> bool:  # noqa: ARG002
        return False

    def has_change_permission(self, request: HttpRequest, obj: TimelineEntry | None = None) -> bool:  # noqa: ARG002
        return False

    def has_delete_permission(self, request: HttpRequest, obj: TimelineEntry | None = None) -> bool:  # noqa: ARG002
        return False
