from django.contrib import admin

from portal.mailroom.models import Mail, Message, MessageRule, Question


@admin.register(MessageRule)
class MessageRuleAdmin(admin.ModelAdmin[MessageRule]):
    list_display = ["code", "when"]
    list_filter = ["when"]
    search_fields = ["code"]


@admin.register(Message)
class MessageAdmin(admin.ModelAdmin[Message]):
    list_display = ["subject", "booking", "song", "sender", "state", "created_at"]
    list_filter = ["state"]
    list_select_related = ["booking", "song", "sender"]
    search_fields = ["subject", "body", "booking__title", "song__title", "key"]
    raw_id_fields = ["booking", "song", "sender", "answered_by"]
    readonly_fields = ["key", "state", "answers", "answer", "created_at", "answered_at"]


@admin.register(Question)
class QuestionAdmin(admin.ModelAdmin[Question]):
    list_display = ["about", "message", "state", "asked_at", "answered_by", "closed_at"]
    list_filter = ["state", "about"]
    list_select_related = ["message", "answered_by"]
    search_fields = ["about", "text", "message__key"]
    raw_id_fields = ["message", "answered_by"]
    readonly_fields = ["topic", "state", "offers", "answer", "asked_at", "answered_at", "closed_at", "revision"]


@admin.register(Mail)
class MailAdmin(admin.ModelAdmin[Mail]):
    list_display = ["subject", "to", "state", "tries", "created_at", "sent_at"]
    list_filter = ["state", "is_private"]
    search_fields = ["subject", "to", "key"]
    raw_id_fields = ["message"]
    readonly_fields = ["key", "is_private", "state", "tries", "last_trouble", "not_before", "created_at", "sent_at"]

    # Until it is sent, an e-mail may hold the link into somebody's account.
    exclude = ["body"]
