"""A house that an earlier version left, opened by this one: what was lost, what cannot be read, which page breaks.

usage: python -m tests.old_house HOUSE.zip FOLDER

HOUSE.zip holds the database as SQL and some of the store. It runs as a house does, in a process of its own: the
environment names FOLDER as the data folder. What it found is one line of JSON.
"""

from __future__ import annotations

import json
import sqlite3
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import django

# Kept by Django, and not what a house has stored: they grow with each version.
OF_DJANGO = ("django_", "auth_", "sqlite_")
Read = Callable[[Any], Any]


def main(archive: str, folder: str) -> None:
    counted = restore(Path(archive), Path(folder))
    django.setup()
    from django.core.management import call_command

    from tests import every_page

    call_command("migrate", verbosity=0, interactive=False)
    found = {
        "rows_before": counted,
        "rows": rows_now(),
        "unreadable": [*unreadable_json(), *unknown_choices(), *unknown_codes(), *unreadable_features()],
        "unread_fields": sorted(json_fields() - set(readers()) - PLAIN),
    }
    fill_store(Path(folder, "store"))
    add_what_is_new()
    found |= every_page.visit()
    json.dump(found, sys.stdout)


def restore(archive: Path, folder: Path) -> dict[str, int]:
    """The folder as it was; the answer is the number of rows in each table of the house."""
    with zipfile.ZipFile(archive) as packed:
        packed.extractall(folder)
    with closing(sqlite3.connect(folder / "kitpost.sqlite3")) as database:
        database.executescript((folder / "house.sql").read_text("utf-8"))
        names = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        kept = [name for name in names if not name.startswith(OF_DJANGO)]
        count = 'SELECT count(*) FROM "{}"'
        return {name: database.execute(count.format(name)).fetchone()[0] for name in kept}


def add_what_is_new() -> None:
    """A row of each kind with a page of its own that no house had then."""
    from django.utils import timezone

    from analysis.session.settings import SessionSettings
    from portal.intake.models import ApprovedMap
    from portal.prep.models import SessionPack

    approved = ApprovedMap.objects.select_related("song").latest("pk")
    SessionPack.objects.create(
        song=approved.song,
        approved_map=approved,
        fingerprint="0" * 64,
        settings=SessionSettings().to_json(),
        timeline={"settings": {"start_bar": 3}, "map": approved.map, "start_bar": 3, "frames": 1},
        state=SessionPack.State.MADE,
        made_at=timezone.now(),
        asked_by=approved.approved_by,
    )
    add_takes()
    add_newer_delivery()
    add_chart(approved)


def add_chart(approved: Any) -> None:
    from portal.charts.models import ChartFile, ChartVersion
    from tests.factories import CHART

    version = ChartVersion.objects.create(
        song=approved.song,
        number=1,
        origin=ChartVersion.Origin.EDITED,
        chart=CHART,
        approved_map=approved,
        saved_by=approved.approved_by,
        state=ChartVersion.State.ENGRAVED,
    )
    kind = ChartFile.Kind.A4
    ChartFile.objects.create(version=version, kind=kind, name="chart.pdf", key="silence.flac", size_bytes=1)


def add_newer_delivery() -> None:
    """Of a song that was delivered: with a file that the earlier delivery has not."""
    from django.utils import timezone

    from portal.delivery.models import Delivery, DeliveryFile
    from tests.factories import make_kit_photo

    earlier = Delivery.objects.filter(state__in=Delivery.SEEN_BY_CLIENT).first()
    if earlier is None:
        raise RuntimeError("the house has no delivery that went out")
    number = earlier.song.deliveries.count() + 1
    newer = Delivery.objects.create(
        song=earlier.song, number=number, state=Delivery.State.RELEASED, released_at=timezone.now()
    )
    facts = {"sha256": "0" * 64, "key": "silence.flac", "size_bytes": 1, "crc32": 0, "folded_name": "tom9.wav"}
    by = earlier.song.booking.created_by
    DeliveryFile.objects.create(delivery=newer, sent_by=by, name="Tom9.wav", **facts)
    make_kit_photo(delivery=newer)


def add_takes() -> None:
    """A take, a note at a bar, and the music of a song with a rough mix."""
    from django.utils import timezone

    from portal.kit.models import TakeLog
    from portal.takes.models import BarNote, MusicCopy, RoughMix
    from portal.takes.music import fingerprint_of, music_files

    mix = RoughMix.objects.filter(state__in=RoughMix.HEARD, song__maps__isnull=False).first()
    if mix is None:
        raise RuntimeError("the house has no rough mix that went out")
    song, by = mix.song, mix.sent_by
    TakeLog.objects.create(song=song, by=by, number=1, logged_at=timezone.now())
    bars = {"first_bar": 1, "last_bar": 2, "approved_map": song.maps.latest("pk")}
    BarNote.objects.create(song=song, rough_mix=mix, written_by=by, text="Softer.", **bars)
    facts = {"key": "silence.flac", "sample_rate_hz": 48_000, "frames": 48_000}
    made_of = fingerprint_of(music_files(song))  # else its page asks for it anew
    MusicCopy.objects.create(song=song, fingerprint=made_of, state=MusicCopy.State.MADE, **facts)


def rows_now() -> dict[str, int]:
    """As today's models count them: a table that no model names any more is not here."""
    from django.apps import apps

    models = apps.get_models(include_auto_created=True)
    return {model._meta.db_table: len(model._base_manager.all()) for model in models}


def readers() -> dict[str, Read]:
    """How each stored record is read, and written again."""
    from analysis.chart.reading import read_chart
    from analysis.core.reports import FileReport, Place, SongReport
    from analysis.delivery.check_results import Check
    from analysis.handover.place_report import TakePlace
    from analysis.handover.sheet import SheetTrack
    from analysis.maps.tempo_map import TempoMap
    from analysis.session.settings import SessionSettings
    from analysis.session.timeline import Timeline
    from portal.intake.checks.offers import Offer

    return {
        "intake.sourcefile.report": lambda stored: FileReport.from_json(stored).to_json(),
        "intake.songcheck.report": lambda stored: SongReport.from_json(stored).to_json(),
        "intake.finding.place": lambda stored: Place.from_json(stored).to_json(),
        "intake.approvedmap.map": lambda stored: TempoMap.from_json(stored).to_json(),
        "listening.excerpt.map": lambda stored: TempoMap.from_json(stored).to_json(),
        "charts.chartversion.chart": lambda stored: read_chart(stored).to_json(),
        "prep.sessionpack.settings": lambda stored: SessionSettings.from_json(stored).to_json(),
        "prep.sessionpack.timeline": lambda stored: Timeline.from_json(stored).to_json(),
        "takes.roughmix.place": lambda stored: TakePlace.from_json(stored).to_json(),
        "takes.roughmix.report": lambda stored: FileReport.from_json(stored).to_json(),
        "delivery.deliveryfile.track": lambda stored: SheetTrack.from_json(stored).to_json() if stored else stored,
        "delivery.delivery.checks": lambda stored: [Check.from_json(one).to_json() for one in stored],
        "mailroom.question.offers": lambda stored: [Offer(**offer).to_json() for offer in stored],
    }


# Read as they are, by the pages that show them.
PLAIN = {
    "charts.chartdraft.draft",
    "charts.chartversion.differences",
    "delivery.delivery.papers",
    "delivery.deliveryfile.corrections",
    "delivery.deliveryfile.facts",
    "delivery.receipt.parts",
    "delivery.setrepair.files",
    "delivery.setrepair.made",
    "delivery.setrepair.renamed",
    "delivery.setrepair.repair",
    "intake.finding.value",
    "intake.sentzip.notes",
    "intake.tapping.taps_s",
    "listening.excerpt.taps_s",
    "kit.balance.levels",
    "mailroom.message.answer",
    "mailroom.message.answers",
    "mailroom.question.answer",
    "prep.preparedfile.facts",
    "prep.sessionpack.left_out",
    "prep.sessionpack.members",
    "prep.sessionpack.sources",
    "takes.musiccopy.names",
    "uploads.upload.parts",
}


def json_fields() -> set[str]:
    from django.apps import apps
    from django.db.models import JSONField

    fields = [field for model in apps.get_models() for field in model._meta.get_fields()]
    return {str(field).lower() for field in fields if isinstance(field, JSONField)}


def unreadable_json() -> Iterator[str]:
    from django.apps import apps

    for name, read in readers().items():
        label, _, field = name.rpartition(".")
        for row in apps.get_model(label)._base_manager.exclude(**{f"{field}__isnull": True}):
            stored = getattr(row, field)
            try:
                missing = [*lost(stored, read(stored))]
            except (KeyError, TypeError, ValueError) as error:
                missing = [repr(error)]
            yield from (f"{name} of {row.pk}: {one}" for one in missing)


def lost(stored: Any, read: Any, at: str = "") -> Iterator[str]:
    """What is in `stored` and not in what was read of it. More may be there: later versions measure more."""
    if isinstance(stored, dict) and isinstance(read, dict):
        for key, value in stored.items():
            yield from lost(value, read.get(key), f"{at}.{key}")
    elif isinstance(stored, list) and isinstance(read, list) and len(stored) == len(read):
        for number, (one, other) in enumerate(zip(stored, read, strict=True)):
            yield from lost(one, other, f"{at}[{number}]")
    elif stored != read:
        yield f"{at} was {stored!r}, is read as {read!r}"


def unknown_choices() -> Iterator[str]:
    """A state, kind or role that no model names any more."""
    from django.apps import apps

    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if field.choices:
                known = {value for value, _ in field.flatchoices} | ({""} if field.blank else set())
                stored = set(model._base_manager.values_list(field.name, flat=True).distinct())
                yield from (f"{field}: {value}" for value in sorted(stored - known))


def unknown_codes() -> Iterator[str]:
    from analysis.findings.catalogue import KIND_BY_CODE
    from portal.intake.desk.queue_filter import Show
    from portal.intake.models import Finding, KeptView
    from portal.mailroom.models import MessageRule

    for model in (Finding, MessageRule):
        stored = set(model._base_manager.values_list("code", flat=True))
        yield from (f"{model._meta.label}.code: {code}" for code in sorted(stored - set(KIND_BY_CODE)))
    shows = set(KeptView.objects.values_list("show", flat=True))
    yield from (f"a view shows {show}" for show in sorted(shows - set(Show.values)))


def unreadable_features() -> Iterator[str]:
    from django.core.files.storage import default_storage

    from portal.intake.files.stored_features import load_features
    from portal.intake.models import SourceFile

    stored = [one for one in SourceFile.objects.exclude(features_key="") if default_storage.exists(one.features_key)]
    if not stored:
        yield "no features are in the store"
    for source in stored:
        try:
            load_features(source)
        except (KeyError, TypeError, ValueError) as error:
            yield f"features of {source}: {error!r}"


def fill_store(store: Path) -> None:
    """Something in place of what is too large to be packed: features of another file, silence, or a few bytes."""
    import numpy as np
    import soundfile
    from django.apps import apps

    features = min(store.glob("features/*/*.npz"), key=lambda path: path.stat().st_size).read_bytes()
    soundfile.write(silence := store / "silence.flac", np.zeros((48_000, 2)), 48_000)
    instead = {".npz": features, ".flac": silence.read_bytes()}
    named = [(model, field.name) for model in apps.get_models() for field in model._meta.concrete_fields]
    keys = {
        key for model, name in named if name.endswith("key") for key in model._base_manager.values_list(name, flat=True)
    }
    for path in (store / key for key in keys if isinstance(key, str) and "/" in key):
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            path.write_bytes(instead.get(path.suffix, b"in place of it"))


if __name__ == "__main__":
    main(*sys.argv[1:])
