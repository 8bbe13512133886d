"""What a person types about themselves, and about the house."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.conf import settings
from django.contrib.admin.forms import AdminAuthenticationForm
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm, PasswordResetForm, SetPasswordForm
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.http import QueryDict
from django.template import loader
from django.utils import timezone

from portal.form_saving import RowForm
from portal.people import hooks, throttling
from portal.people.devices import known_device
from portal.people.errors import TooManyTriesError
from portal.people.models import House, User
from portal.people.time_zones import time_zone_choices

LONGEST_KEPT_DAYS = 3_650
LONGEST_QUIET_S = 1_800
TIME_ZONE_LABEL = "Your time zone"
TIME_ZONE_HELP = "All times and dates are shown in it."


class TimeZoneField(forms.ChoiceField):
    def __init__(self, **options: Any) -> None:
        super().__init__(choices=time_zone_choices, **options)


class SlowedForm(AuthenticationForm):
    """Each try is counted before the password is looked at, and forgotten when it was right."""

    def clean(self) -> dict[str, Any]:
        account, password = self.cleaned_data.get("username"), self.cleaned_data.get("password")
        if self.request is None or not account or not password:
            return super().clean()
        device, address = known_device(self.request, account=account), str(self.request.META["REMOTE_ADDR"])
        try:
            throttling.count_try(account=account, address=address, device=device)
        except TooManyTriesError as error:
            raise ValidationError(str(error), code="too-many") from error
        try:
            cleaned = super().clean()
        except ValidationError as error:
            throttling.log_refusal(account=account, address=address, reason=str(error.code))
            raise
        throttling.forget_tries(account=account, device=device)
        return cleaned


class SupportSignInForm(SlowedForm, AdminAuthenticationForm):
    pass


class SignInForm(SlowedForm):
    error_messages = {
        "invalid_login": "Wrong e-mail address or password. The password is case-sensitive.",
        "inactive": "This account is closed. Please write to the drummer.",
    }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["username"].label = "E-mail address"
        self.fields["username"].widget.input_type = "email"


class NewPasswordForm(SetPasswordForm):  # type: ignore[type-arg]  # generic in the stubs alone
    """What the link in an e-mail leads to: whoever holds it is no guesser, and is not kept waiting."""

    def set_password_and_save(self, user: User, *args: Any, **options: Any) -> User:
        saved: User = super().set_password_and_save(user, *args, **{**options, "commit": False})
        saved.save(update_fields=["password"])
        throttling.forget_tries(account=user.email)
        return saved


class ForgottenPasswordForm(PasswordResetForm):
    """Asks for the link that sets a new password. Its e-mail leaves from the outbox, as every other does."""

    def send_mail(
        self,
        subject_template_name: str,
        email_template_name: str,
        context: dict[str, Any],
        from_email: str | None,  # noqa: ARG002 - the outbox knows who it comes from
        to_email: str,
        html_email_template_name: str | None = None,  # noqa: ARG002 - letters are plain text
    ) -> None:
        # Never from the Host header of whoever asks: the link holds the way into an account.
        context = context | {"house_url": settings.BASE_URL}
        for carry in hooks.carries_private_letter:
            carry(
                to=to_email,
                subject=loader.render_to_string(subject_template_name, context).strip(),
                body=loader.render_to_string(email_template_name, context),
                # Once a minute at the most: nobody's mailbox is filled by pressing again.
                key=f"password-reset:{context['user'].pk}:{timezone.now():%Y-%m-%dT%H:%M}",
            )


class TakeInvitationForm(forms.Form):
    name = forms.CharField(max_length=120, label="Your name", help_text="The drummer sees this name.")
    time_zone = TimeZoneField(label=TIME_ZONE_LABEL, help_text=TIME_ZONE_HELP)
    password = forms.CharField(
        label="Choose a password",
        strip=False,
        help_text="At least 10 characters. A few random words work well.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, data: QueryDict | None, *, user: User) -> None:
        super().__init__(data, initial={"name": user.name, "time_zone": user.time_zone})
        self.user = user
        self.fields["time_zone"].widget.attrs["data-time-zone"] = ""

    def clean_password(self) -> str:
        """A password made of the name is refused: of the name in the invitation, and of the one typed here."""
        password: str = self.cleaned_data["password"]
        password_validation.validate_password(password, self.user)
        password_validation.validate_password(
            password, User(name=self.cleaned_data.get("name", ""), email=self.user.email)
        )
        return password


class MeForm(RowForm[User]):
    time_zone = TimeZoneField(label=TIME_ZONE_LABEL, help_text=TIME_ZONE_HELP)

    class Meta:
        model = User
        fields: ClassVar = ["name", "time_zone"]
        labels: ClassVar = {"name": "Your name"}


class ClientForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120)
    email = forms.EmailField(
        label="E-mail address",
        help_text="A new address counts once the client confirms it from an e-mail. The old address is told.",
    )


class HouseForm(RowForm[House]):
    time_zone = TimeZoneField(label="Time zone of the house", help_text="For dates in quotes and e-mails.")
    currency = forms.CharField(
        label="Currency of new quotes",
        min_length=3,
        max_length=3,
        help_text="Three letters as in ISO 4217: EUR, USD, KRW.",
        validators=[RegexValidator(r"^[A-Za-z]{3}$", "Three letters, such as EUR.")],
        widget=forms.TextInput(attrs={"class": "short"}),
    )
    deposit_percent = forms.IntegerField(
        label="Deposit of new quotes, in percent", min_value=0, max_value=100, help_text="0: no deposit."
    )

    keep_originals_days = forms.IntegerField(
        label="Keep clients’ files for (days)",
        min_value=0,
        max_value=LONGEST_KEPT_DAYS,
        help_text="Counted from the end of the booking. 0 keeps them forever.",
    )
    notice_days = forms.IntegerField(
        label="E-mail before they are removed (days)",
        min_value=1,
        max_value=90,
        help_text="Both sides get it. Nothing is removed without it, or while the client asks to keep the files.",
    )

    quiet_after_files_s = forms.IntegerField(
        label="Wait for more files before a song is checked, in seconds",
        min_value=0,
        max_value=LONGEST_QUIET_S,
        help_text="Counted from the last file. 0 does not wait. The client can say sooner that all are sent.",
    )

    class Meta:
        model = House
        fields: ClassVar = [
            "name",
            "reply_to",
            "time_zone",
            "currency",
            "deposit_percent",
            "how_to_pay",
            "keep_originals_days",
            "notice_days",
            "quiet_after_files_s",
            "perspective",
            "track_names",
        ]
        labels: ClassVar = {
            "name": "Name of the house",
            "reply_to": "Reply-to address",
            "how_to_pay": "How to pay",
            "perspective": "Left and right of new deliveries are",
            "track_names": "Delivered tracks are named",
        }
        help_texts: ClassVar = {
            "name": "Clients see it in e-mails and on their pages.",
            "reply_to": "Leave empty to use the sender address.",
            "perspective": "Each delivery states it and can change it; overheads and rooms are checked by it.",
            "track_names": "Offered once a set is checked; what was sent is kept. Numbers follow the channels’ order.",
            "how_to_pay": "Bank details or another way. Clients see it on quotes and wherever money is asked for.",
        }
        widgets: ClassVar = {"how_to_pay": forms.Textarea(attrs={"rows": 4})}

    def clean_currency(self) -> str:
        currency: str = self.cleaned_data["currency"]
        return currency.upper()
