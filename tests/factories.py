"""The smallest valid rows, and traits that name states. Every test makes its own; nothing is shared."""

from __future__ import annotations

import hashlib
import io
import zlib
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from itertools import count
from typing import Any

import soundfile
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone
from PIL import Image

from analysis.core.reports import BarOne, FileReport, MapSegment, Meter, SongMeasures, SongReport, Tempo
from analysis.core.reports import Finding as Found
from analysis.core.samples import Samples
from analysis.findings.catalogue import KIND_BY_CODE
from portal.bookings import services as bookings
from portal.bookings.models import Booking, Song
from portal.charts.models import ChartVersion
from portal.delivery.models import Delivery, DeliveryFile, KitPhoto
from portal.delivery.names import fold
from portal.intake.checks.inputs import gather
from portal.intake.models import ApprovedMap, Finding, SentZip, SongCheck, SourceFile
from portal.kit.models import TakeLog
from portal.mailroom.models import Mail, Message, Question
from portal.money.models import Payment, Quote, QuoteLine
from portal.people.models import User
from portal.takes.models import BarNote, RoughMix

PASSWORD = "ruled-paper-and-ink"
_numbers = count(1)


def make_drummer(**fields: Any) -> User:
    return _make_user(User.Role.DRUMMER, "drummer", **fields)


def make_client(**fields: Any) -> User:
    return _make_user(User.Role.CLIENT, "client", **fields)


def make_invited_client(**fields: Any) -> User:
    """A client who has no password yet."""
    return make_client(password=None, **fields)


def make_booking(*, client: User | None = None, drummer: User | None = None, songs: int = 0, **fields: Any) -> Booking:
    drummer = drummer or make_drummer()
    booking = bookings.create_booking(
        by=drummer,
        title=fields.pop("title", f"Booking {next(_numbers)}"),
        song_titles=[f"Song {number}" for number in range(1, songs + 1)],
    )
    if client is not None:
        bookings.seat_client(booking=booking, client=client, by=drummer)
    if fields:
        Booking.objects.filter(pk=booking.pk).update(**fields)
        if "turn" not in fields:
            bookings.note_booking(booking)
        booking.refresh_from_db()
    return booking


def make_song(*, booking: Booking | None = None, client: User | None = None, bpm: str = "", **fields: Any) -> Song:
    """A song; with `client`, of a new booking that the client has access to; with `bpm`, the brief says this tempo.

    A song of its own belongs to a booking at work, with no quote to wait for.
    """
    booking = booking or make_booking(client=client, stage="working")
    title = fields.pop("title", f"Song {next(_numbers)}")
    song = bookings.add_song(booking=booking, title=title, by=booking.created_by)
    if bpm:
        song.brief.bpm = Decimal(bpm)
        song.brief.save(update_fields=["bpm"])
    if fields:
        Song.objects.filter(pk=song.pk).update(**fields)
        if "turn" not in fields:
            song = Song.objects.get(pk=song.pk)
            song.pass_turn()
            song.booking.pass_turn()
        song.refresh_from_db()
    return song


def make_message(*, booking: Booking | None = None, song: Song | None = None, **fields: Any) -> Message:
    booking = booking or (song.booking if song else make_booking())
    number = next(_numbers)
    defaults = {"key": f"test:{number}", "subject": f"Subject {number}", "body": "Which tempo is right?"}
    return Message.objects.create(booking=booking, song=song, **(defaults | fields))


def make_question(
    *, song: Song, state: Question.State = Question.State.OPEN, asked_at: datetime | None = None, **fields: Any
) -> Question:
    """One question of the song's message, which goes out with it."""
    is_held = state == Question.State.HELD
    now = None if is_held else asked_at or timezone.now()
    message_state = Message.State.HELD if is_held else Message.State.SENT
    begun: dict[str, Any] = {
        "state": message_state,
        "changed_at": now,
        "mailed_at": now,
        "subject": f"{song.title}: a question",
    }
    message = Message.objects.filter(key=f"check:{song.pk}").first()
    message = message or make_message(song=song, key=f"check:{song.pk}", **begun)
    offers = [{"code": "make-map", "label": "Please make the map"}, {"code": "bpm", "label": "It is …", "asks": "bpm"}]
    defaults = {"topic": "Tempo and click", "about": "Tempo and click", "text": "Is 112 right?", "offers": offers}
    return Question.objects.create(message=message, state=state, asked_at=now, **(defaults | fields))


def make_mail(**fields: Any) -> Mail:
    number = next(_numbers)
    defaults = {"to": "mara@example.com", "subject": f"Letter {number}", "body": "Hello.", "key": f"test:{number}"}
    return Mail.objects.create(**(defaults | fields))


def _make_user(role: User.Role, word: str, **fields: Any) -> User:
    number = next(_numbers)
    defaults: dict[str, Any] = {
        "email": f"{word}{number}@example.com",
        "name": f"{word.capitalize()} {number}",
        "password": PASSWORD,
    }
    return User.objects.create_user(role=role, **(defaults | fields))


def make_quote(*, booking: Booking | None = None, prices: Sequence[int] = (17_500,), **fields: Any) -> Quote:
    """A draft in euros with one line for each price, in cents."""
    booking = booking or make_booking(client=make_client())
    defaults = {"version": booking.quotes.count() + 1, "currency": "EUR"}
    quote = Quote.objects.create(booking=booking, **(defaults | fields))
    for position, price in enumerate(prices, start=1):
        QuoteLine.objects.create(quote=quote, position=position, text=f"Line {position}", unit_price_minor=price)
    return quote


def make_sent_quote(**fields: Any) -> Quote:
    defaults: dict[str, Any] = {"state": Quote.State.SENT, "sent_at": timezone.now()}
    quote = make_quote(**(defaults | fields))
    Booking.objects.filter(pk=quote.booking_id, stage="enquiry").update(stage="quoted")
    bookings.note_booking(quote.booking, quote_state="sent")
    quote.booking.refresh_from_db()
    return quote


def store_content(content: bytes) -> str:
    """Put bytes into the store under the name that their hash gives, and say the hash."""
    sha256 = hashlib.sha256(content).hexdigest()
    key = f"originals/{sha256[:2]}/{sha256}"
    if not default_storage.exists(key):
        default_storage.save(key, ContentFile(content))
    return sha256


def make_rough_mix(*, song: Song | None = None, content: bytes = b"no sound at all", **fields: Any) -> RoughMix:
    """A mix as it was received."""
    song = song or make_song(client=make_client(), stage="tracking")
    sha256 = store_content(content)
    defaults = {
        "number": song.rough_mixes.count() + 1,
        "sent_by": song.booking.created_by,
        "name": "rough.wav",
        "sha256": sha256,
        "key": f"originals/{sha256[:2]}/{sha256}",
        "size_bytes": len(content),
    }
    return RoughMix.objects.create(song=song, **(defaults | fields))


def make_take(*, song: Song, **fields: Any) -> TakeLog:
    """A take that was logged, and kept."""
    defaults = {"number": song.take_logs.count() + 1, "is_kept": True, "logged_at": timezone.now()}
    return TakeLog.objects.create(song=song, **({"by": song.booking.created_by} | defaults | fields))


def make_bar_note(*, rough_mix: RoughMix, **fields: Any) -> BarNote:
    """A note on bar 5 by the song's newest approved map, which is made where there is none."""
    song = rough_mix.song
    defaults = {"first_bar": 5, "last_bar": 5, "text": "A crash here, please.", "written_by": song.booking.created_by}
    return BarNote.objects.create(
        song=song,
        rough_mix=rough_mix,
        **({"approved_map": song.maps.first() or make_map(song=song)} | defaults | fields),
    )


def make_delivery(*, song: Song | None = None, **fields: Any) -> Delivery:
    """An empty, open set."""
    song = song or make_song(client=make_client(), stage="tracking")
    return Delivery.objects.create(song=song, **({"number": song.deliveries.count() + 1} | fields))


def make_payment(*, booking: Booking, **fields: Any) -> Payment:
    by = booking.created_by
    defaults = {"kind": "deposit", "amount_minor": 8_750, "currency": "EUR", "received_on": "2026-11-25"}
    return Payment.objects.create(booking=booking, **(defaults | {"recorded_by": by} | fields))


def make_kit_photo(*, delivery: Delivery, **fields: Any) -> KitPhoto:
    """A photograph as the house writes it."""
    image = io.BytesIO()
    Image.new("RGB", (64, 64), "navy").save(image, "JPEG")
    sha256 = store_content(image.getvalue())
    facts = {"sha256": sha256, "key": f"originals/{sha256[:2]}/{sha256}", "size_bytes": len(image.getvalue())}
    size = {"width": 64, "height": 64, "crc32": zlib.crc32(image.getvalue())}
    return KitPhoto.objects.create(
        delivery=delivery, **(facts | size | {"sent_by": delivery.song.booking.created_by} | fields)
    )


def make_track(*, delivery: Delivery, content: bytes = b"no sound at all", **fields: Any) -> DeliveryFile:
    sha256 = store_content(content)
    name = fields.pop("name", f"track-{next(_numbers)}.wav")
    defaults = {
        "sent_by": delivery.song.booking.created_by,
        "name": name,
        "folded_name": fold(name),
        "sha256": sha256,
        "key": f"originals/{sha256[:2]}/{sha256}",
        "size_bytes": len(content),
    }
    return DeliveryFile.objects.create(delivery=delivery, **(defaults | fields))


def make_source(*, song: Song | None = None, name: str = "bass.wav", **fields: Any) -> SourceFile:
    """A source file that was surveyed: a minute of 48 kHz stereo, unless `report` or `status` say otherwise."""
    song = song or make_song()
    number = next(_numbers)
    sha256 = f"{number:064x}"
    report = FileReport(
        name=name,
        sha256=sha256,
        container="wav",
        codec="pcm_s24le",
        sample_rate_hz=48_000,
        bit_depth=24,
        channels=2,
        frames=2_880_000,
        duration_s=60.0,
        sample_peak_dbfs=-6.0,
        true_peak_dbtp=-5.8,
        loudness_lufs=-18.0,
    )
    defaults = {
        "sent_by": song.booking.created_by,
        "sha256": sha256,
        "key": f"originals/{sha256[:2]}/{sha256}",
        "size_bytes": 17_280_044,
        "status": SourceFile.Status.SURVEYED,
        "report": report.to_json(),
        "features_key": f"features/{number}.npz",
    }
    return SourceFile.objects.create(song=song, name=name, **(defaults | fields))


def make_check(*, song: Song, report: SongReport | None = None) -> SongCheck:
    """The finished check of what the song holds now: a sure 112 in 4/4, unless `report` says otherwise."""
    gathered = gather(song)
    assert gathered is not None, "a file is still to be surveyed"
    check, _ = SongCheck.objects.get_or_create(song=song, fingerprint=gathered.fingerprint)
    check.keep(report=(report or measured_song()).to_json(), engine="1.0.0")
    check.finish()
    return check


def measured_song(*codes: str, bpm: float | None = 112.0, **fields: Any) -> SongReport:
    """A song at `bpm` whose bar one lies two seconds into the files; with the findings of these codes."""
    tempo = (
        Tempo(kind="constant", bpm=bpm, bpm_low=bpm - 0.002, bpm_high=bpm + 0.002, confidence=0.97) if bpm else Tempo()
    )
    song = SongMeasures(
        tempo=tempo,
        tempo_map=(MapSegment(bar=1, time_s=2.0, bpm=bpm, meter="4/4"),) if bpm else (),
        meter=Meter(beats_per_bar=4, beat_unit=4, confidence=0.9),
        bar_one=BarOne(time_s=2.0, frame=96_000, confidence=0.9) if bpm else BarOne(),
        beats_s=tuple(2.0 + beat * 60 / bpm for beat in range(80)) if bpm else (),
        first_sound_s=2.0,
    )
    findings = tuple(Found(code=code, severity=KIND_BY_CODE[code].severity.value) for code in codes)
    return SongReport(song=song, **({"findings": findings, "engine": "1.0.0"} | fields))


def make_finding(*, song: Song, code: str = "no-click", **fields: Any) -> Finding:
    finding: Finding = Finding.objects.create(
        song=song, code=code, **({"severity": KIND_BY_CODE[code].severity.value} | fields)
    )
    return finding


def wav_bytes(samples: Samples, sample_rate_hz: int = 48_000, *, bit_depth: int = 24) -> bytes:
    """A WAV file as it would be uploaded."""
    file = io.BytesIO()
    soundfile.write(file, samples, sample_rate_hz, format="WAV", subtype=f"PCM_{bit_depth}")
    return file.getvalue()


def make_map(*, song: Song, bpm: float = 112.0, bar_one_s: float = 2.0, meter: str = "4/4") -> ApprovedMap:
    """An approved tempo map: one tempo throughout."""
    segment = {"bar": 1, "time_s": bar_one_s, "bpm": bpm, "meter": meter}
    return ApprovedMap.objects.create(
        song=song,
        version=song.maps.count() + 1,
        origin=ApprovedMap.Origin.MEASURED,
        map={"bar_one_s": bar_one_s, "segments": [segment]},
        approved_by=song.booking.created_by,
    )


def make_sent_zip(*, song: Song | None = None, content: bytes = b"no zip at all", **fields: Any) -> SentZip:
    """A zip as it was received."""
    song = song or make_song()
    sha256 = store_content(content)
    defaults = {
        "sent_by": song.booking.created_by,
        "name": "stems.zip",
        "sha256": sha256,
        "key": f"originals/{sha256[:2]}/{sha256}",
        "size_bytes": len(content),
    }
    return SentZip.objects.create(song=song, **(defaults | fields))


CHART = {
    "chart": 1,
    "title": "Wet Stairs Beside Kettle",
    "meter": "4/4",
    "sections": [
        {"letter": "A", "name": "Verse", "bars": [{}, {"shows": "repeat-1"}, {}, {"hits": [{"beat": 4.5}]}]},
        {"letter": "B", "name": "Chorus", "bars": [{}, {}, {}, {"shows": "rest"}]},
    ],
}


def make_chart_version(*, song: Song | None = None, chart: dict[str, Any] | None = None, **fields: Any) -> ChartVersion:
    """A chart of eight bars in two sections, saved by the house on the song's newest map; nothing is engraved of it."""
    song = song or make_song()
    by = fields.pop("saved_by", song.booking.created_by)
    approved = fields.pop("approved_map", None) or song.maps.first() or make_map(song=song, bpm=120.0, bar_one_s=0.0)
    fields = {"number": song.chart_versions.count() + 1, "origin": ChartVersion.Origin.EDITED, **fields}
    content = CHART | {"title": song.title} if chart is None else chart
    return ChartVersion.objects.create(song=song, chart=content, approved_map=approved, saved_by=by, **fields)
