"""For support: deliveries are read here, never changed."""

from django.contrib import admin

from portal.delivery.models import Delivery, DeliveryFile


class DeliveryFileInline(admin.TabularInline[DeliveryFile, Delivery]):
    model = DeliveryFile
    extra = 0
    can_delete = False
    fields = readonly_fields = ("name", "sha256", "size_bytes", "received_at")


@admin.register(Delivery)
class DeliveryAdmin(admin.ModelAdmin[Delivery]):
    list_display = ("song", "number", "state", "passed", "opened_at", "released_at")
    list_filter = ("state", "passed")
    list_select_related = ("song",)
    search_fields = ("song__title",)
    readonly_fields = tuple(field.name for field in Delivery._meta.fields)
    inlines = (DeliveryFileInline,)
