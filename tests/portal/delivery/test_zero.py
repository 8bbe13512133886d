from __future__ import annotations

from typing import Any

import pytest

from analysis.delivery.check_results import VerifyReport
from portal.delivery import jobs, services, tasks
from portal.delivery.models import Delivery
from portal.delivery.sheet.data import sheet_of
from portal.delivery.sheet.text import sheet_text
from portal.delivery.zero import agreed_of, zero_in_words, zero_s
from tests.factories import make_client, make_delivery, make_map, make_rough_mix, make_song, make_source, make_track

pytestmark = pytest.mark.django_db

BEFORE_S = 2.0
FACTS = {"sample_rate_hz": 48_000, "bit_depth": 24, "channels": 1, "frames": 960_000}
# Where the files begin, and what the check is told of it: beside a mix that begins 2 s before the client's files.
CASES = [("mix", -BEFORE_S, 0.0), ("files", 0.0, BEFORE_S), ("session", 0.0, BEFORE_S)]


def delivery_of(begins: str = "mix", *, mix_begins_s: float = -BEFORE_S) -> Delivery:
    song = make_song(client=make_client(), stage="tracking")
    make_map(song=song, bar_one_s=0.5)
    make_rough_mix(song=song, state="accepted", begins_at_s=mix_begins_s)
    delivery = make_delivery(song=song, begins=begins)
    make_track(delivery=delivery, facts=FACTS)
    return delivery


@pytest.mark.parametrize(("begins", "zero", "told"), CASES)
def test_the_agreed_zero_in_the_time_of_the_clients_files_and_of_the_mix(begins: str, zero: float, told: float) -> None:
    """No session pack was made, so a session begins with the files."""
    delivery = delivery_of(begins)
    assert (zero_s(delivery), agreed_of(delivery).zero_s) == (zero, told)


def test_bar_one_is_counted_from_the_files_own_beginning() -> None:
    """Bar one lies 0.5 s into the client's files, the set begins 2 s before: frame 120 000 (Source: arithmetic)."""
    delivery = delivery_of()
    files = list(delivery.files.all())
    assert sheet_of(delivery, files).bar_one_frame == 120_000
    assert sheet_of(delivery, files).begins == zero_in_words(delivery) == "2.000000 s before the client’s files"
    lines = sheet_text(delivery, files).splitlines()
    assert "bar one at 2.500000 s: frame 120000 at 48000 Hz, counted from 0" in lines
    assert "Files begin:    2.000000 s before the client’s files" in lines
    assert sheet_of(delivery_of("files"), files).bar_one_frame == 24_000


@pytest.mark.parametrize(("mix_begins_s", "lent"), [(0.0, 1), (-BEFORE_S, 0)])
def test_the_check_is_told_of_one_beginning(mix_begins_s: float, lent: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Originals begin elsewhere than such a mix: they are left to the mix."""
    asked: dict[str, Any] = {}

    def check(*_: Any, **options: Any) -> VerifyReport:
        asked.update(options)
        return VerifyReport(passed=True)

    monkeypatch.setattr(jobs, "verify_set_in_child", check)
    delivery = delivery_of("files", mix_begins_s=mix_begins_s)
    make_source(song=delivery.song, key=delivery.files.get().key)
    delivery.ask_check()
    tasks.check_delivery(delivery.pk)
    assert asked["agreed"].zero_s == -mix_begins_s
    assert asked["map"]["bar_one_s"] == 0.5 - mix_begins_s
    assert len(asked["originals"]) == lent


def test_another_beginning_has_a_checked_set_checked_again() -> None:
    delivery = delivery_of()
    delivery.store_checks([], passed=True)
    services.describe(delivery=delivery, save=lambda: Delivery.objects.update(begins="files"))
    delivery.refresh_from_db()
    assert (delivery.state, delivery.begins) == ("checking", "files")
