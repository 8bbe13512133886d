from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.forms import AdminUserCreationForm

from portal.people.models import House, Invitation, SignInTry, User


@admin.register(User)
class PersonAdmin(UserAdmin[User]):
    ordering = ["name"]
    list_display = ["name", "email", "role", "is_active", "joined_at"]
    list_filter = ["role", "is_active", "is_staff"]
    search_fields = ["name", "email"]
    readonly_fields = ["joined_at", "last_login"]
    add_form = AdminUserCreationForm
    fieldsets = (
        (None, {"fields": ("email", "password")}),
        ("Person", {"fields": ("name", "role", "time_zone")}),
        ("Access", {"fields": ("is_active", "is_staff", "is_superuser", "groups", "user_permissions")}),
        ("Dates", {"fields": ("joined_at", "last_login")}),
    )
    add_fieldsets = (
        (
            None,
            {"classes": ("wide",), "fields": ("email", "name", "role", "usable_password", "password1", "password2")},
        ),
    )


@admin.register(House)
class HouseAdmin(admin.ModelAdmin[House]):
    list_display = ["name", "reply_to", "time_zone", "currency"]


@admin.register(Invitation)
class InvitationAdmin(admin.ModelAdmin[Invitation]):
    list_display = ["pk", "user", "sent_by", "about", "sent_at", "expires_at", "used_at"]
    list_filter = ["sent_at", "used_at"]
    list_select_related = ["user", "sent_by"]
    search_fields = ["user__name", "user__email", "about"]
    raw_id_fields = ["user", "sent_by"]
    readonly_fields = ["token_sha256", "about", "lands_on", "sent_at", "used_at"]


@admin.register(SignInTry)
class SignInTryAdmin(admin.ModelAdmin[SignInTry]):
    """Deleting the rows lets everybody try again at once."""

    list_display = ["pk", "at"]
    list_filter = ["at"]
    search_fields = ["account_hash", "address_hash"]
    readonly_fields = ["account_hash", "address_hash", "at"]
