"""For support: what was offered, agreed and paid is read here, never changed."""

from django.contrib import admin

from portal.money.models import Payment, Quote, QuoteLine


class QuoteLineInline(admin.TabularInline[QuoteLine, Quote]):
    model = QuoteLine
    extra = 0
    can_delete = False
    readonly_fields = ("position", "text", "quantity", "unit_price_minor")


@admin.register(Quote)
class QuoteAdmin(admin.ModelAdmin[Quote]):
    list_display = ("booking", "version", "state", "currency", "sent_at", "decided_at")
    list_filter = ("state", "currency")
    list_select_related = ("booking",)
    search_fields = ("booking__title",)
    readonly_fields = tuple(field.name for field in Quote._meta.fields)
    inlines = (QuoteLineInline,)


@admin.register(Payment)
class PaymentAdmin(admin.ModelAdmin[Payment]):
    list_display = ("booking", "kind", "amount_minor", "currency", "received_on")
    list_filter = ("kind", "currency")
    list_select_related = ("booking",)
    search_fields = ("booking__title",)
    readonly_fields = tuple(field.name for field in Payment._meta.fields)
