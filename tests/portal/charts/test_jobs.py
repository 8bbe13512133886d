"""Engraving in the worker: every kind of file, once each, and a clear word where it cannot be."""

from __future__ import annotations

import re

import pytest
from django.core.files.storage import default_storage

from portal import making
from portal.charts import jobs
from portal.charts.drawn import drawn_chart
from portal.charts.models import ChartFile, ChartVersion
from tests.factories import make_chart_version, make_map

pytestmark = pytest.mark.django_db


def test_every_kind_is_engraved_once_and_again_it_is_the_same() -> None:
    version = make_chart_version()
    assert drawn_chart(version.song) is None
    jobs.engrave_version(version.pk)
    version.refresh_from_db()
    files = {(one.kind, one.page): one.key for one in version.files.all()}
    assert version.state == ChartVersion.State.ENGRAVED
    assert {kind for kind, _ in files} == set(ChartFile.Kind)
    with default_storage.open(files[ChartFile.Kind.A4, 1]) as printed:
        assert printed.read(5) == b"%PDF-"
    drawn = drawn_chart(version.song)
    assert drawn is not None
    assert 'data-song-bars="5"' in "".join(drawn["pages"])

    ChartVersion.objects.filter(pk=version.pk).update(state=ChartVersion.State.ENGRAVING)
    jobs.engrave_version(version.pk)
    assert {(one.kind, one.page): one.key for one in version.files.all()} == files


def test_the_page_shows_the_pages_that_are_printed() -> None:
    version = make_chart_version()
    jobs.engrave_version(version.pk)
    files = version.files.all()
    with default_storage.open(files.get(kind=ChartFile.Kind.A4).key) as printed:
        pages = printed.read().count(b"/Type /Page\n")
    assert pages == files.filter(kind=ChartFile.Kind.PREVIEW).count() == 1


def test_what_was_stopped_again_and_again_is_given_up() -> None:
    version = make_chart_version(tries=making.MOST_TRIES)
    jobs.engrave_version(version.pk)
    version.refresh_from_db()
    assert (version.state, version.trouble) == (ChartVersion.State.FAILED, jobs.STOPPED)


def test_a_version_whose_job_was_lost_is_found() -> None:
    version = make_chart_version()
    assert jobs.versions_left_alone() == []
    long_ago = version.began_at - 2 * making.LEFT_AFTER
    ChartVersion.objects.filter(pk=version.pk).update(began_at=long_ago)
    assert jobs.versions_left_alone() == [version.pk]


def test_drawn_bars_are_known_by_the_map_in_use() -> None:
    """Bar one one bar of 2 s later: the chart's bars 1 to 8 are 0 to 7."""
    version = make_chart_version()
    jobs.engrave_version(version.pk)
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    drawn = drawn_chart(version.song)
    assert drawn is not None
    assert re.findall(r'id="bar-\d" class="bar" data-bars="\d" data-song-bars="(\d)"', "".join(drawn["pages"])) == [
        *"01234567"
    ]
