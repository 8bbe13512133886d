"""What a new bounce of a file settles, and what it brings."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Q

from analysis.findings import KIND_BY_CODE
from portal.bookings.models import Brief, Song
from portal.bookings.services import record
from portal.intake.models import Finding, SourceFile


def heirs(song: Song) -> dict[int, SourceFile]:
    """For each version of a file that does not count (any more), the version that does."""
    left = song.sources.exclude(removed_at=None).values_list("pk", "first")
    lines = {pk: first or pk for pk, first in left}
    of_these = song.sources.current().filter(Q(pk__in=set(lines.values())) | Q(first__in=set(lines.values())))
    counting = {source.line: source for source in of_these.defer("report")}
    return {pk: counting[line] for pk, line in lines.items() if line in counting}


def mender(song: Song, finding: Finding, heirs: dict[int, SourceFile]) -> SourceFile | None:
    """The new version that a finding ended with. The song's own ended with the newest that came since it was found,
    unless what the client says changed as well."""
    if finding.source_id is not None:
        return heirs.get(finding.source_id)
    if Brief.objects.filter(song=song, updated_at__gt=finding.found_at).exists():
        return None
    came = song.sources.current().filter(version__gt=1, received_at__gt=finding.found_at)
    return came.order_by("-received_at").first()


def tell(song: Song, mended: Sequence[Finding], opened: Sequence[Finding]) -> None:
    """A line in the timeline for each version that mended something, and one for what came with it."""
    menders = {finding.resolved_by.pk: finding.resolved_by for finding in mended if finding.resolved_by}
    for source in menders.values():
        titles = titles_of([finding for finding in mended if finding.resolved_by_id == source.pk])
        record(song.booking, f"version {source.version} of “{source.name}” fixes: {titles}", song=song)
    new = song.sources.filter(pk__in={finding.source_id for finding in opened}, version__gt=1).defer("report")
    for source in new:
        titles = titles_of([finding for finding in opened if finding.source_id == source.pk])
        record(song.booking, f"found in version {source.version} of “{source.name}”: {titles}", song=song)


def titles_of(findings: Sequence[Finding]) -> str:
    return ", ".join(dict.fromkeys(KIND_BY_CODE[finding.code].title.lower() for finding in findings))
