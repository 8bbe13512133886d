from django.contrib import admin

from portal.intake.models import ApprovedMap, Finding, Keeping, SentZip, SongCheck, SourceFile


@admin.register(SourceFile)
class SourceFileAdmin(admin.ModelAdmin[SourceFile]):
    list_display = ("name", "song", "status", "size_bytes", "received_at", "survey_tries")
    list_filter = ("status",)
    search_fields = ("name", "sha256", "song__title")
    raw_id_fields = ("song", "sent_by", "zip", "first", "removed_by")
    readonly_fields = ("sha256", "key", "size_bytes", "report", "features_key", "received_at", "version", "gone_at")


@admin.register(SentZip)
class SentZipAdmin(admin.ModelAdmin[SentZip]):
    list_display = ("name", "song", "state", "size_bytes", "received_at", "tries")
    list_filter = ("state",)
    search_fields = ("name", "sha256", "song__title")
    raw_id_fields = ("song", "sent_by")
    readonly_fields = ("sha256", "key", "size_bytes", "notes", "received_at", "gone_at")


@admin.register(Keeping)
class KeepingAdmin(admin.ModelAdmin[Keeping]):
    list_display = ("booking", "until", "noticed_at", "asked_at", "removed_at")
    search_fields = ("booking__title",)
    raw_id_fields = ("booking", "asked_by")
    readonly_fields = ("notices", "noticed_at", "asked_at", "removed_at")


@admin.register(SongCheck)
class SongCheckAdmin(admin.ModelAdmin[SongCheck]):
    list_display = ("song", "engine", "began_at", "made_at")
    search_fields = ("song__title", "fingerprint")
    raw_id_fields = ("song",)
    readonly_fields = ("fingerprint", "report", "engine", "began_at", "made_at")


@admin.register(Finding)
class FindingAdmin(admin.ModelAdmin[Finding]):
    list_display = ("code", "song", "source", "severity", "state", "found_at")
    list_filter = ("state", "severity", "code")
    search_fields = ("song__title", "code")
    raw_id_fields = ("song", "source", "ended_by", "resolved_by", "question")
    readonly_fields = ("place", "value", "found_at", "ended_at")


@admin.register(ApprovedMap)
class ApprovedMapAdmin(admin.ModelAdmin[ApprovedMap]):
    list_display = ("song", "version", "origin", "approved_by", "approved_at")
    list_filter = ("origin",)
    search_fields = ("song__title",)
    raw_id_fields = ("song", "check_seen", "approved_by")
    readonly_fields = ("map", "approved_at")
