from __future__ import annotations

from datetime import timedelta
from functools import partial

import pytest
import soundfile
from django.core.files.storage import default_storage
from django.utils import timezone

from analysis.sandbox.child import write_proxy_in_child
from portal.takes import jobs, tasks
from portal.takes.models import RoughMix
from tests import signals
from tests.factories import make_rough_mix, wav_bytes

pytestmark = pytest.mark.django_db


def test_a_mix_is_measured_and_gets_a_copy_that_browsers_play_once_however_often_it_runs() -> None:
    mix = make_rough_mix(content=wav_bytes(signals.tone(duration_s=2.0, channels=2)))
    for _ in range(2):
        tasks.survey_rough_mix(mix.pk)

    mix.refresh_from_db()
    assert mix.state == RoughMix.State.READY
    assert mix.report is not None
    assert (mix.report["frames"], mix.report["sample_rate_hz"]) == (96_000, 48_000)
    assert mix.report["sample_peak_dbfs"] == pytest.approx(-6.02, abs=signals.PEAK_TOLERANCE_DB)
    assert soundfile.info(default_storage.path(mix.proxy_key)).frames == 96_000


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"<html>not sound</html>" * 50, "not"),
        (wav_bytes(signals.silence(duration_s=1.0)), "silent"),
        (wav_bytes(signals.tone(channels=4)), "4 channels"),
        (wav_bytes(signals.tone())[:40], ""),
    ],
)
def test_what_a_client_could_not_hear_is_refused_in_a_sentence(content: bytes, says: str) -> None:
    mix = make_rough_mix(content=content)
    for _ in range(2):
        tasks.survey_rough_mix(mix.pk)

    mix.refresh_from_db()
    assert mix.state == RoughMix.State.REFUSED
    assert says in mix.refusal
    assert mix.refusal.endswith(".")
    assert mix.proxy_key == ""


@pytest.mark.child
def test_a_mix_of_which_no_copy_can_be_made_is_refused_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    hurried = partial(write_proxy_in_child, time_limit_s=1e-6)
    monkeypatch.setattr(jobs, "write_proxy_in_child", hurried)
    mix = make_rough_mix(content=wav_bytes(signals.tone()))
    tasks.survey_rough_mix(mix.pk)

    mix.refresh_from_db()
    assert (mix.state, mix.proxy_key) == (RoughMix.State.REFUSED, "")
    assert mix.refusal.startswith("No copy for the browser could be made: the file took more than")


def test_a_mix_that_went_on_meanwhile_is_not_thrown_back() -> None:
    mix = make_rough_mix(content=wav_bytes(signals.tone()), state=RoughMix.State.OUT)
    tasks.survey_rough_mix(mix.pk)
    mix.refresh_from_db()
    assert (mix.state, mix.report) == (RoughMix.State.OUT, None)


def test_the_sweep_finds_what_was_left_and_leaves_alone_what_is_new(monkeypatch: pytest.MonkeyPatch) -> None:
    queued: list[int] = []
    monkeypatch.setattr(tasks.survey_rough_mix, "delay", queued.append)
    left = make_rough_mix(received_at=timezone.now() - jobs.LEFT_ALONE_FOR - timedelta(seconds=1))
    make_rough_mix()
    make_rough_mix(state=RoughMix.State.READY, received_at=left.received_at)
    tasks.sweep()
    assert queued == [left.pk]
