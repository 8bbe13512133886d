"""Who may come in: the house, its drummers and its clients."""

from __future__ import annotations

import zoneinfo
from datetime import timedelta
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone

from portal.folding import FoldedField, SearchedModel, SearchedQuerySet

INVITATION_LASTS = timedelta(days=14)
TRIES_COUNT_FOR = timedelta(minutes=15)


def check_time_zone(name: str) -> None:
    if name not in zoneinfo.available_timezones():
        raise ValidationError("“%(name)s” is not a time zone we know.", params={"name": name})


class UserManager(BaseUserManager["User"]):
    """Addresses are compared without regard to case, so they are stored in lower case."""

    def get_queryset(self) -> SearchedQuerySet[User]:
        return SearchedQuerySet(self.model, using=self._db)

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        user = self.model(email=email.strip().lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        fields |= {"is_staff": True, "is_superuser": True, "role": User.Role.DRUMMER}
        return self.create_user(email, password, **fields)

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email=(username or "").strip().lower())


class User(SearchedModel, AbstractBaseUser, PermissionsMixin):
    """One person: INVITED (no usable password yet) → able to sign in. A drummer owns the house, a client is a guest."""

    class Role(models.TextChoices):
        DRUMMER = "drummer", "drummer"
        CLIENT = "client", "client"

    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    folded = FoldedField(of=["name"])
    role = models.CharField(max_length=10, choices=Role.choices, default=Role.CLIENT)
    time_zone = models.CharField(max_length=60, default="UTC", validators=[check_time_zone])
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    joined_at = models.DateTimeField(default=timezone.now)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    class Meta:
        ordering: ClassVar = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def is_drummer(self) -> bool:
        return self.role == self.Role.DRUMMER


class SignInTryQuerySet(models.QuerySet["SignInTry"]):
    def recent(self) -> SignInTryQuerySet:
        return self.filter(at__gt=timezone.now() - TRIES_COUNT_FOR)

    def clear_old(self) -> None:
        self.filter(at__lte=timezone.now() - TRIES_COUNT_FOR).delete()


class SignInTry(models.Model):
    """One try to sign in that was not (yet) seen to be right. In the database, so that all web processes count alike.

    Hashes only: a try tells neither who was meant nor from where, and it is the same row for an account nobody has.
    """

    account_hash = models.CharField(max_length=64, db_index=True)
    # Empty where the front server names no address.
    address_hash = models.CharField(max_length=64, blank=True, db_index=True)
    at = models.DateTimeField(default=timezone.now, db_index=True)

    objects: ClassVar[SignInTryQuerySet] = SignInTryQuerySet.as_manager()  # type: ignore[assignment]

    def __str__(self) -> str:
        return f"try {self.pk}"


class Perspective(models.TextChoices):
    """Whose left is left on a drum kit. There is no standard, so it is stated."""

    UNSAID = "unsaid", "not stated"
    PLAYER = "player", "as the drummer sits"
    AUDIENCE = "audience", "as the audience sees the kit"


class TrackNames(models.TextChoices):
    """How the tracks of a set are named, once it is known which channels they are. `{song}`: its title."""

    SENT = "", "as they were sent"
    LABEL = "{label}", "KickIn.wav"
    NUMBER = "{number:02}_{label}", "01_KickIn.wav"
    SONG = "{song}_{number:02}_{label}", "Title_01_KickIn.wav"


class House(models.Model):
    """The tracking room itself: exactly one row, whose key is 1."""

    name = models.CharField(max_length=120, default="The tracking room")
    reply_to = models.EmailField(blank=True)
    time_zone = models.CharField(max_length=60, default="UTC", validators=[check_time_zone])
    currency = models.CharField(max_length=3, default="EUR")
    deposit_percent = models.PositiveSmallIntegerField(default=50)
    # Where money is to go, in the house's own words; nothing is said where it wrote nothing.
    how_to_pay = models.TextField(blank=True, max_length=2000)
    # Days after a booking is over for which the files sent for it are kept (0: for good), and by how many days a
    # e-mail comes before they are removed.
    keep_originals_days = models.PositiveSmallIntegerField(default=365)
    notice_days = models.PositiveSmallIntegerField(default=14)
    # Days after which a question that waits for the client is reminded again (0: never).
    remind_after_days = models.PositiveSmallIntegerField(default=3)
    # Seconds without a new file after which a song's files are taken to be all there.
    quiet_after_files_s = models.PositiveSmallIntegerField(default=60)
    # What new deliveries begin with.
    perspective = models.CharField(max_length=8, choices=Perspective.choices, default=Perspective.UNSAID)
    track_names = models.CharField(max_length=40, choices=TrackNames.choices, default=TrackNames.SENT, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(pk=1), name="people_one_house"),
            models.CheckConstraint(condition=models.Q(deposit_percent__lte=100), name="people_house_deposit"),
            models.CheckConstraint(condition=models.Q(notice_days__gte=1), name="people_house_notice"),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def get(cls) -> House:
        return cls.objects.get_or_create(pk=1)[0]


class InvitationQuerySet(models.QuerySet["Invitation"]):
    def usable(self) -> InvitationQuerySet:
        return self.filter(used_at=None, expires_at__gt=timezone.now())

    def use(self) -> int:
        return self.usable().update(used_at=timezone.now())


class Invitation(models.Model):
    """A way in by mail: SENT → USED (a password was set), or it expires. Only a hash of its token is kept.

    `about` says what the invitation is to, and `lands_on` is the page that taking it leads to.
    """

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="invitations")
    sent_by = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    token_sha256 = models.CharField(max_length=64, unique=True)
    about = models.CharField(max_length=120, blank=True)
    lands_on = models.CharField(max_length=200, default="/")
    sent_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[InvitationQuerySet] = InvitationQuerySet.as_manager()  # type: ignore[assignment]

    def __str__(self) -> str:
        return f"invitation {self.pk}"

    @property
    def is_used(self) -> bool:
        return self.used_at is not None

    @property
    def is_expired(self) -> bool:
        return not self.is_used and self.expires_at <= timezone.now()


class AddressChangeQuerySet(models.QuerySet["AddressChange"]):
    def open(self) -> AddressChangeQuerySet:
        return self.filter(used_at=None)


class AddressChange(models.Model):
    """A client's new e-mail address: ASKED → USED (confirmed, or a newer one was asked for), or it expires."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="address_changes")
    asked_by = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    email = models.EmailField()
    token_sha256 = models.CharField(max_length=64, unique=True)
    asked_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[AddressChangeQuerySet] = AddressChangeQuerySet.as_manager()  # type: ignore[assignment]

    def __str__(self) -> str:
        return f"address change {self.pk}"
