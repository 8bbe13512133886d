from django.contrib import admin

from portal.uploads.models import Upload


@admin.register(Upload)
class UploadAdmin(admin.ModelAdmin[Upload]):
    list_display = ("id", "owner", "purpose", "state", "offset_bytes", "length_bytes", "touched_at")
    list_filter = ("state", "purpose")
    search_fields = ("file_name", "sha256", "owner__email")
    raw_id_fields = ("owner",)
    readonly_fields = tuple(field.name for field in Upload._meta.fields)
