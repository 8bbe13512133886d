"""One house with two bookings, and the four kinds of people who may ask for something of the first."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.http import HttpResponseBase
from django.test import Client
from django.urls import resolve, reverse
from django.utils import timezone

from analysis.features.feature_arrays import Features
from analysis.session.settings import SessionSettings
from portal.bookings.models import Song
from portal.bookings.stages import BookingStage, SongStage
from portal.charts.models import ChartFile
from portal.delivery.links import file_address, make_link, page_of
from portal.delivery.models import Delivery
from portal.intake.models import ApprovedMap, KeptView, SentZip
from portal.listening.models import Excerpt
from portal.mailroom.models import Message, Question
from portal.people.models import AddressChange, User
from portal.people.services import hash_token, invite
from portal.prep.models import PreparedFile, SessionPack
from portal.takes.models import RoughMix
from portal.uploads.models import Upload
from tests.factories import (
    make_bar_note,
    make_booking,
    make_chart_version,
    make_client,
    make_delivery,
    make_drummer,
    make_finding,
    make_invited_client,
    make_kit_photo,
    make_mail,
    make_message,
    make_payment,
    make_question,
    make_rough_mix,
    make_sent_quote,
    make_sent_zip,
    make_song,
    make_source,
    make_take,
    make_track,
    store_content,
)

PEOPLE = ("drummer", "client", "other", "nobody")
TITLE = "Zebra Crossing Beside Marmalade"
MAP = {"bar_one_s": 0.0, "segments": [{"bar": 1, "time_s": 0.0, "bpm": 112.0, "meter": "4/4"}]}
TUS = {"Tus-Resumable": "1.0.0"}


@dataclass(frozen=True)
class World:
    """Two bookings of one house; `keys` are those of the first, which is the client's."""

    people: dict[str, User | None]
    keys: dict[str, dict[str, Any]]
    sessions: dict[str, str]  # of those who are signed in

    def address(self, name: str, needs: str) -> str:
        return reverse(name, kwargs=self.keys[needs] if needs else {})

    def ask(self, who: str, method: str, address: str, **headers: str) -> HttpResponseBase:
        """What this person is answered. What it changed is undone, so that the next one finds the same house."""
        browser = Client()
        with transaction.atomic():
            if who in self.sessions:
                browser.cookies[settings.SESSION_COOKIE_NAME] = self.sessions[who]
            headers |= TUS if address.startswith("/tus/") else {}
            response: HttpResponseBase = browser.generic(method, address, headers=headers)
            transaction.set_rollback(True)
        return response


def make_world() -> World:
    drummer, client, other = make_drummer(), make_client(), make_client()
    make_song(booking=make_booking(client=other, drummer=drummer, stage=BookingStage.WORKING))
    booking = make_booking(client=client, drummer=drummer, stage=BookingStage.WORKING, title=TITLE)
    song = make_song(booking=booking, title=TITLE, stage=SongStage.ON_DESK)
    keys = {
        "booking": {"booking_id": booking.pk},
        "song": {"song_id": song.pk},
        "member": {"member_id": booking.members.get().pk},
        "payment": {"payment_id": make_payment(booking=booking).pk},
        "quote": {"quote_id": make_sent_quote(booking=booking).pk},
        "finding": {"finding_id": make_finding(song=song).pk},
        "message": {"message_id": make_message(song=song).pk},
        "question": {"question_id": make_question(song=song).pk},
        "held_question": {"question_id": make_question(song=song, state=Question.State.HELD).pk},
        "held_message": {"message_id": make_message(song=song, state=Message.State.HELD).pk},
        "kept_view": {"view_id": KeptView.objects.create(owner=drummer, name="Mine", show="yours").pk},
        "mail": {"mail_id": make_mail().pk},
        **files_of(song, client),
        **ways_in(drummer),
    }
    people = {"drummer": drummer, "client": client, "other": other, "nobody": None}
    sessions = {who: session_of(user) for who, user in people.items() if user}
    return World(people=people, keys=keys, sessions=sessions)


def session_of(user: User) -> str:
    browser = Client()
    browser.force_login(user)
    return browser.cookies[settings.SESSION_COOKIE_NAME].value


def files_of(song: Song, client: User) -> dict[str, dict[str, Any]]:
    stored = {"sha256": (sha256 := store_content(b"sound")), "key": f"originals/{sha256[:2]}/{sha256}"}
    source = make_source(song=song, name=f"{TITLE}.wav", features_key=store_features(), **stored)
    sent_mix = make_rough_mix(song=song, state=RoughMix.State.OUT, proxy_key=stored["key"])
    take = make_take(song=song)
    unsent_mix = make_rough_mix(song=song, state=RoughMix.State.READY, proxy_key=stored["key"])
    released = make_delivery(song=song, state=Delivery.State.RELEASED, released_at=timezone.now())
    collecting = make_delivery(song=song, state=Delivery.State.OPEN)
    track = make_track(delivery=released, crc32=0)
    photo = make_kit_photo(delivery=released)
    share_link = make_link(delivery=released, made_for="the mix engineer", days=7, by=client)
    approved = ApprovedMap.objects.create(
        song=song, version=1, origin=ApprovedMap.Origin.MEASURED, map=MAP, approved_by=song.booking.created_by
    )
    prepared = PreparedFile.objects.create(
        approved_map=approved, kind=PreparedFile.Kind.CLICK, name="click.wav", key=stored["key"], size_bytes=5
    )
    pack = SessionPack.objects.create(
        song=song,
        approved_map=approved,
        fingerprint="0" * 64,
        settings=SessionSettings().to_json(),
        state=SessionPack.State.MADE,
        made_at=timezone.now(),
        members={"cue-sheet.csv": {"key": stored["key"], "size_bytes": 5, "crc32": 0, "sha256": sha256}},
        timeline={},
        asked_by=song.booking.created_by,
    )
    chart = make_chart_version(song=song, approved_map=approved)
    chart_file = ChartFile.objects.create(
        version=chart, kind=ChartFile.Kind.A4, name="chart.pdf", key=stored["key"], size_bytes=5
    )
    excerpt = Excerpt.objects.create(
        song=song, asked_by=song.booking.created_by, map=MAP, first_bar=1, state=Excerpt.State.OUT, key=stored["key"]
    )
    upload = Upload.objects.create(
        owner=client, purpose="source", target_id=song.pk, file_name="bass.wav", length_bytes=10
    )
    return {
        "source": {"source_id": source.pk},
        "sent_zip": {"zip_id": make_sent_zip(song=song, content=b"sound", state=SentZip.State.UNPACKED).pk},
        "rough_mix": {"rough_mix_id": sent_mix.pk},
        "take": {"take_id": take.pk},
        "bar_note": {"note_id": make_bar_note(rough_mix=sent_mix, approved_map=approved).pk},
        "unsent_note": {"note_id": make_bar_note(rough_mix=unsent_mix, approved_map=approved).pk},
        "unsent_mix": {"rough_mix_id": unsent_mix.pk},
        "delivery": {"delivery_id": released.pk},
        "photo": {"photo_id": photo.pk},
        "share_link": {"link_id": share_link.pk},
        "share_word": {"link_token": resolve(page_of(share_link)).kwargs["link_token"]},
        "share_file": {"link_token": resolve(file_address(share_link, track)).kwargs["link_token"]},
        "track": {"file_id": track.pk},
        "open_delivery": {"delivery_id": collecting.pk},
        "unreleased_track": {"file_id": make_track(delivery=collecting, crc32=0).pk},
        "excerpt": {"excerpt_id": excerpt.pk},
        "prepared": {"prepared_id": prepared.pk},
        "pack": {"pack_id": pack.pk},
        "version": {"version_id": chart.pk},
        "chart_file": {"chart_file_id": chart_file.pk},
        "upload": {"upload_id": upload.pk},
    }


def store_features() -> str:
    with tempfile.NamedTemporaryFile(suffix=".npz") as file:
        Features.empty().save(Path(file.name))
        return default_storage.save("features/empty.npz", ContentFile(Path(file.name).read_bytes()))


def ways_in(drummer: User) -> dict[str, dict[str, Any]]:
    invited = make_invited_client()
    _, _, token = invite(email=invited.email, name=invited.name, sent_by=drummer, lands_on="/")
    change = AddressChange.objects.create(
        user=invited,
        asked_by=drummer,
        email="new@example.com",
        token_sha256=hash_token("change"),
        expires_at=timezone.now() + timedelta(days=1),
    )
    return {
        "account": {"user_id": change.user_id},
        "address_token": {"change_token": "change"},
        "token": {"token": token},
        "reset": {"uidb64": "MQ", "token": "none"},
    }
