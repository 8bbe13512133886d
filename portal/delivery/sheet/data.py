"""A delivery's sheet as data, by which the client checks what arrived: `python -m analysis verify DIR --sheet FILE`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from analysis.handover import LetPass, Sheet, SheetTrack
from portal.delivery.models import Delivery, DeliveryFile, as_check
from portal.delivery.names import channel_said
from portal.delivery.zero import map_of, zero_in_words


def sheet_of(delivery: Delivery, files: Sequence[DeliveryFile], pictures: Iterable[str] = ()) -> Sheet:
    """`pictures`: the names under which the photographs lie beside it."""
    song, tempo_map = delivery.song, map_of(delivery)
    rates_hz = sorted({file.facts["sample_rate_hz"] for file in files if file.facts.get("sample_rate_hz")})
    is_one_rate = tempo_map is not None and len(rates_hz) == 1
    return Sheet(
        title=song.title,
        booking=song.booking.title,
        number=delivery.number,
        made_by=made_by(delivery, files),
        made_at=in_utc(delivery.released_at),
        checked_at=in_utc(delivery.check_asked_at) if delivery.checks else "",
        tracks=tuple(track_of(file) for file in files),
        checks=tuple(as_check(check) for check in delivery.checks),
        let_pass=tuple(
            LetPass(waiver.code, waiver.file_name or None, waiver.reason, waiver.waived_by.name)
            for waiver in delivery.waivers.select_related("waived_by")
        ),
        map=tempo_map.to_json() if tempo_map else None,
        bar_one_s=float(tempo_map.bar_one_s) if tempo_map else None,
        bar_one_frame=tempo_map.frame_of_bar(1, rates_hz[0]) if tempo_map and is_one_rate else None,
        repairs=tuple(line for file in files for line in file.corrections),
        perspective=delivery.get_perspective_display(),
        begins=zero_in_words(delivery),
        note=delivery.note,
        recall=delivery.recall,
        pictures=tuple(pictures),
    )


def track_of(file: DeliveryFile) -> SheetTrack:
    """As its check read it; a set that was checked before that was stored has its hash and what its header says."""
    said = {
        "file": file.name,
        "sha256": file.sha256,
        "microphone": file.microphone,
        "polarity": file.get_polarity_display() if file.polarity != DeliveryFile.Polarity.UNSAID else "",
        "take": file.take,
        "note": file.note,
    }
    header = {name: file.facts.get(name) or 0 for name in ("sample_rate_hz", "channels", "frames")}
    read = {"audio_digest": "", "bit_depth": file.facts.get("bit_depth")} | header | file.track
    known = {"channel": channel} if (channel := channel_said(file)) else {}
    return SheetTrack.from_json(read | said | known)


def made_by(delivery: Delivery, files: Sequence[DeliveryFile]) -> str:
    """Who sent the files."""
    senders = dict.fromkeys(file.sent_by.name for file in files) or {delivery.song.booking.created_by.name: None}
    return ", ".join(senders)


def in_utc(moment: datetime | None) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}" if moment else ""
