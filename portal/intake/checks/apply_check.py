"""What follows from a check: which findings it opens and resolves, and, under the song's row lock, that they are, the
client asked once, the song's stage."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone

from analysis.core import FileReport, SongReport
from analysis.core import Finding as Found
from portal.bookings.models import Song
from portal.bookings.services import move_song, record
from portal.bookings.stages import SongStage
from portal.intake.checks import questions, version_effects
from portal.intake.checks.inputs import CheckInputs, reports_of
from portal.intake.checks.offers import DRUM_CODES
from portal.intake.checks.song_facts import facts_of, note_facts
from portal.intake.models import Finding, SongCheck, SourceFile

# Past these the drummer is at work: a check then shows its findings, and moves nothing.
BEFORE_READY = (SongStage.WAITING, SongStage.CHECKING, SongStage.WITH_CLIENT, SongStage.ON_DESK)
# Two measurements that agree to so many digits are the same finding still.
SAME_TO_DIGITS = 3

Key = tuple[int | None, str]
FoundBySource = Mapping[Key, Found]


@dataclass
class Changes:
    """What a check does to the findings of its song: `opened` are not in the database, of `ended` and `moved` the new
    values are not; `lines` go into the timeline."""

    opened: list[Finding] = field(default_factory=list)
    ended: list[Finding] = field(default_factory=list)
    moved: list[Finding] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)


def settle(song: Song, gathered: CheckInputs, check: SongCheck, changes: Changes) -> None:
    """All at once, from what was written before. The check of a booking that is over says nothing to anybody, and
    moves nothing."""
    if song.booking.is_over:
        return
    now = timezone.now()
    Finding.objects.open().filter(pk__in=[finding.pk for finding in changes.ended]).update(
        state=Finding.State.RESOLVED, ended_at=now
    )
    Finding.everything.coming().filter(found_in=check).update(state=Finding.State.OPEN, found_at=now)
    for line in changes.lines:
        record(song.booking, line, song=song)
    questions.close_settled(song, touched={finding.question_id for finding in changes.ended if finding.question_id})
    if song.stage not in BEFORE_READY:
        note_facts(song)
        return
    if not gathered.files:
        move_song(song, SongStage.WAITING, text="there are no files left", **facts_of(song))
        return
    questions.ask(song)
    place(song, text="the check is done")


def place(song: Song, *, text: str) -> None:
    """With the client while a question waits for them, else on the desk."""
    facts = facts_of(song)
    if facts["question_open"] or facts["file_promised"]:
        move_song(song, SongStage.WITH_CLIENT, text=f"{text}: the client has a question to answer", **facts)
    else:
        move_song(song, SongStage.ON_DESK, text=f"{text}: the song is on the desk", **facts)


def found_in(report: SongReport, gathered: CheckInputs) -> FoundBySource:
    """Findings by source file and code, the gravest first come. Files that cannot be read bring their own."""
    named: dict[str | None, list[int]] = {}
    for source in gathered.measured:
        named.setdefault(source.name, []).append(source.pk)
    keyed: dict[Key, Found] = {}
    for found in report.findings:
        keyed.setdefault((source_of(found, named.get(found.file, ()), keyed), found.code), found)
    for pk, refused in reports_of(gathered.refused).items():
        for found in FileReport.from_json(refused).findings:
            keyed.setdefault((pk, found.code), found)
    return keyed


def source_of(found: Found, named: Sequence[int], taken: Collection[Key]) -> int | None:
    """Reports name files by name. Of two files with one name, the first that has no such finding yet."""
    free = (pk for pk in named if (pk, found.code) not in taken)
    return next(free, next(iter(named), None))


def changes_by(check: SongCheck, found: FoundBySource) -> Changes:
    """What is found no longer is resolved; what a drummer waived stays waived as long as it is the same.

    What was found in an earlier version of a file is looked for in the one that counts now.
    """
    song, keyed = check.song, dict(found)
    heirs = version_effects.heirs(song)
    changes, mended = Changes(), []
    measured_anew: dict[Key, Finding] = {}
    for key, finding in findings_before(song, heirs).items():
        found_now, heir = keyed.get(key), heirs.get(finding.source_id or 0)
        is_open = finding.state == Finding.State.OPEN
        if found_now is not None and is_still(finding, found_now) and not (is_open and heir):
            if heir is not None:
                finding.source, finding.place = heir, found_now.place.to_json()
                changes.moved.append(finding)
            keyed.pop(key)
        elif is_open and found_now is not None:
            # A new bounce that has it still is asked about again: whoever made it hopes that it is mended.
            finding.resolved_by, finding.reason = None, f"Still there in version {heir.version}" if heir else ""
            changes.ended.append(finding)
            if heir is None:
                measured_anew[key] = finding
        elif is_open:
            finding.resolved_by, finding.reason = version_effects.mender(song, finding, heirs), ""
            changes.ended.append(finding)
            mended.append(finding)
    # The same that was measured again, with other figures, in the same version of the file: its question stays what it
    # is, answered or not.
    changes.opened = [new_finding(check, *key, one, measured_anew.get(key)) for key, one in keyed.items()]
    changes.lines = version_effects.lines(song, mended, changes.opened)
    return changes


def findings_before(song: Song, heirs: dict[int, SourceFile]) -> dict[Key, Finding]:
    """Open and waived ones by the file that counts now; where there are both, the open one."""
    before: dict[Key, Finding] = {}
    for finding in song.findings.exclude(state=Finding.State.RESOLVED):
        source_id = finding.source_id
        key = (heirs[source_id].pk if source_id in heirs else source_id, finding.code)
        if key not in before or finding.state == Finding.State.OPEN:
            before[key] = finding
    return before


def new_finding(check: SongCheck, source_id: int | None, code: str, found: Found, earlier: Finding | None) -> Finding:
    return Finding(
        song_id=check.song_id,
        found_in=check,
        state=Finding.State.COMING,
        source_id=source_id,
        code=code,
        severity=found.severity,
        place=found.place.to_json(),
        value=found.value,
        question_id=earlier.question_id if earlier else None,
    )


def is_still(finding: Finding, found: Found) -> bool:
    """Whether there are drums in a file was answered by somebody who knows: a later guess, surer or less so, and in the
    next bounce too, asks nothing new."""
    if finding.state == Finding.State.WAIVED and finding.code in DRUM_CODES:
        return True
    return finding.severity == found.severity and value_of(finding.value) == value_of(found.value)


def value_of(value: dict[str, Any]) -> str:
    """Two values compare by this: numbers that differ only by what measuring again may change are the same."""
    return json.dumps(rounded(value), sort_keys=True)


def rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{SAME_TO_DIGITS}g}")
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(item) for item in value]
    return value


def place_asked(song: Song) -> None:
    """A question that was held back went out: a song on the desk goes with it."""
    if song.stage == SongStage.ON_DESK:
        place(song, text="the question was sent")


def settle_and_place(song: Song, *, text: str) -> None:
    """After a decision that may have settled a question."""
    questions.close_settled(song)
    if song.stage == SongStage.WITH_CLIENT:
        place(song, text=text)
