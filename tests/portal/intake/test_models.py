import pytest
from django.db import IntegrityError, transaction

from portal.intake.models import Finding
from tests.factories import make_finding, make_song, make_source

pytestmark = pytest.mark.django_db


def test_a_song_has_one_open_finding_of_a_kind() -> None:
    song = make_song()
    first = make_finding(song=song, code="no-click")

    with pytest.raises(IntegrityError), transaction.atomic():
        make_finding(song=song, code="no-click")
    first.end(Finding.State.RESOLVED)
    make_finding(song=song, code="no-click")


def test_each_file_of_a_song_has_its_own_open_finding_of_a_kind() -> None:
    song = make_song()
    bass, keys = make_source(song=song), make_source(song=song)
    for source in (bass, keys):
        make_finding(song=song, source=source, code="clipped")

    with pytest.raises(IntegrityError), transaction.atomic():
        make_finding(song=song, source=bass, code="clipped")
