"""Measuring a rough mix, and making the copy that any browser plays."""

from __future__ import annotations

import logging
from datetime import timedelta
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from analysis.core import FileReport
from analysis.sandbox import survey_in_child, write_proxy_in_child
from portal.file_serving import local_copy
from portal.job_folders import job_folder
from portal.queueing import queue_task_on_commit
from portal.takes.models import RoughMix
from portal.uploads import originals

# A mix that takes longer is measured twice at once: no harm.
LEFT_ALONE_FOR = timedelta(minutes=2)
MOST_CHANNELS = 2

logger = logging.getLogger(__name__)


def survey(rough_mix_id: int) -> None:
    rough_mix = RoughMix.objects.get(pk=rough_mix_id)
    if rough_mix.state != RoughMix.State.RECEIVED:
        return
    with local_copy(rough_mix.key) as path, job_folder() as folder:
        report = survey_in_child(path, name=rough_mix.name, features_to=Path(folder, "features.npz"))
        refusal = _refusal(report)
        proxy = Path(folder, "proxy.flac")
        if not refusal and (trouble := write_proxy_in_child(path, proxy)):
            refusal = f"No copy for the browser could be made: the file {trouble}."
        proxy_key = "" if refusal else _store_proxy(proxy)
    _store(rough_mix_id, report=report, refusal=refusal, proxy_key=proxy_key)
    logger.info("rough mix %s: %s", rough_mix_id, refusal or "ready")


def left_alone() -> list[int]:
    before = timezone.now() - LEFT_ALONE_FOR
    waiting = RoughMix.objects.filter(state=RoughMix.State.RECEIVED, received_at__lt=before)
    return list(waiting.values_list("pk", flat=True))


def _refusal(report: FileReport) -> str:
    """Why the client cannot hear this file, in a sentence for the drummer; empty when they can."""
    if report.frames is None or report.channels is None:
        reason = report.findings[0].message if report.findings else "The file could not be read."
        return reason[:300]
    if report.channels > MOST_CHANNELS:
        return f"A rough mix must be mono or stereo; this file has {report.channels} channels."
    return "The file is silent from start to end." if report.is_silent else ""


def _store_proxy(proxy: Path) -> str:
    sha256 = originals.hash_part(proxy)
    key = f"proxies/{sha256[:2]}/{sha256}.flac"
    originals.store(proxy, key=key, sha256=sha256)
    return key


@transaction.atomic
def _store(rough_mix_id: int, *, report: FileReport, refusal: str, proxy_key: str) -> None:
    rough_mix = RoughMix.objects.select_for_update().get(pk=rough_mix_id)
    if rough_mix.state != RoughMix.State.RECEIVED:  # the same job ran twice at once: the first one stored it
        return
    if refusal:
        rough_mix.refuse(reason=refusal)
    else:
        rough_mix.make_ready(report=report.to_json(), proxy_key=proxy_key)
        queue_task_on_commit("portal.takes.tasks.place_rough_mix", rough_mix_id)
