"""What a new bounce of a file settles, and what it brings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.db.models import Q

from analysis.findings import KIND_BY_CODE
from portal.bookings.models import Brief, Song
from portal.intake.models import Finding, SourceFile

# More new versions than these share a line of the timeline (house choice).
MOST_NAMED = 20


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


def lines(song: Song, mended: Sequence[Finding], opened: Sequence[Finding]) -> list[str]:
    """A line of the timeline for each version that mended something, and one for what came with it."""
    menders = {finding.resolved_by.pk: finding.resolved_by for finding in mended if finding.resolved_by}
    fixed_by = {pk: [one for one in mended if one.resolved_by_id == pk] for pk in menders}
    keys = {finding.source_id for finding in opened if finding.source_id}
    new = song.sources.filter(pk__in=keys, version__gt=1).only("name", "version").in_bulk()
    found_in = {pk: [one for one in opened if one.source_id == pk] for pk in new}
    return [
        *_lines("version {version} of “{name}” fixes", "{count} new versions fix", menders, fixed_by),
        *_lines("found in version {version} of “{name}”", "found in {count} new versions", new, found_in),
    ]


def _lines(
    of_one: str, of_many: str, versions: dict[int, SourceFile], findings: dict[int, list[Finding]]
) -> Iterator[str]:
    if len(versions) > MOST_NAMED:
        everything = [finding for of_version in findings.values() for finding in of_version]
        yield f"{of_many.format(count=len(versions))}: {titles_of(everything)}"
        return
    for pk, source in versions.items():
        yield f"{of_one.format(version=source.version, name=source.name)}: {titles_of(findings[pk])}"


def titles_of(findings: Sequence[Finding]) -> str:
    return ", ".join(dict.fromkeys(KIND_BY_CODE[finding.code].title.lower() for finding in findings))
