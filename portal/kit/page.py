"""Everything that the page at the kit plays and shows, in one answer that a device can keep."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from analysis.maps import ClickStyle
from portal.bookings.models import Song
from portal.charts.drawn import drawn_chart
from portal.intake.maps.song_maps import map_of_song
from portal.kit.models import Balance, TakeLog
from portal.kit.roles import role_of
from portal.lanes.clicks import click_address
from portal.lanes.page import lanes_page
from portal.people.models import User
from portal.prep.choices import settings_for


def kit_page(song: Song, user: User) -> dict[str, Any]:
    tempo_map, approved = map_of_song(song), song.maps.first()
    balance = Balance.objects.filter(song=song, drummer=user).first()
    shown, style = lanes_page(song), settings_for(approved).click if approved else ClickStyle()
    return {
        **{name: shown[name] for name in ("duration_s", "bars", "beats_s", "sections", "last_bar")},
        "lanes": with_roles(song, shown["lanes"]),
        "id": song.pk,
        "title": song.title,
        "is_over": song.booking.is_over,
        "reader": user.pk,
        "map_version": approved.version if approved else 0,
        "segments": tempo_map.to_json()["segments"] if tempo_map else [],
        "click": click_of(style),
        "click_sounds": click_address(style),
        "words": words_of(song),
        "chart": drawn_chart(song),
        "time_zone": timezone.get_current_timezone_name(),
        "balance": {"levels": balance.levels, "changed_at": balance.changed_at.isoformat()} if balance else None,
        "takes": [take_of(one) for one in song.take_logs.standing()],
    }


def with_roles(song: Song, lanes: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What the page needs of each lane, with its role and its sample peak (which bounds the sum of all)."""
    numbers = {source.pk: source.numbers for source in song.sources.current()}
    needed = ("id", "name", "is_click", "leading_silence_s", "onsets", "sound", "sample_rate_hz", "frames", "trouble")
    kept = [{name: lane[name] for name in needed} for lane in lanes]
    for lane in kept:
        report = numbers.get(lane["id"])
        lane["role"] = role_of(lane["name"], report, is_click=lane["is_click"])
        lane["peak_dbfs"] = report.sample_peak_dbfs if report else None
    return kept


def click_of(style: ClickStyle) -> dict[str, Any]:
    """What the page begins with: as chosen for the prepared click."""
    names = ("subdivision", "bars_on", "bars_off", "accent_peak_dbfs")
    return {name: getattr(style, name) for name in names}


def words_of(song: Song) -> dict[str, str]:
    brief = getattr(song, "brief", None)
    return {name: getattr(brief, name, "") or "" for name in ("feel", "notes", "references")}


def take_of(take: TakeLog) -> dict[str, Any]:
    return {
        "id": str(take.pk),
        "number": take.number,
        "is_kept": take.is_kept,
        "word": take.word,
        "section": take.section,
        "speed_percent": take.speed_percent,
        "is_undone": take.is_undone,
        "revision": take.revision,
        "logged_at": take.logged_at.isoformat(),
        "is_sent": True,
    }
