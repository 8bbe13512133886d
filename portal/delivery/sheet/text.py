"""The delivery sheet as plain text.

It names song, version, date, rate, depth, tempo map, the place of bar one, and for each file its channels,
microphone, polarity and take (common practice for session notes).
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.handover import channel_words, in_print, moment_in_words, tempo_lines
from portal.delivery.models import Delivery, DeliveryFile, is_undecided, key_of
from portal.delivery.names import channel_said
from portal.delivery.sheet.data import in_utc
from portal.delivery.zero import map_of, zero_in_words

NOT_SAID = "not stated"
LABEL_WIDTH = 14


def sheet_text(delivery: Delivery, files: Sequence[DeliveryFile]) -> str:
    song = delivery.song
    head = {
        "Song": song.title,
        "Booking": song.booking.title,
        "Delivery": str(delivery.number),
        "Released": moment_in_words(in_utc(delivery.released_at)) or "not yet",
        "Sample rate": _one_or_all(files, "sample_rate_hz", "Hz"),
        "Bit depth": _one_or_all(files, "bit_depth", "bit"),
        "Length": _one_or_all(files, "frames", "frames"),
        "Files begin": zero_in_words(delivery),
        "Left and right": delivery.get_perspective_display(),
    }
    lines = ["DELIVERY SHEET", ""]
    lines += [f"{name + ':':<{LABEL_WIDTH + 2}}{value}" for name, value in head.items()]
    lines += ["", "TEMPO MAP", "", *_tempo_lines(delivery, files), "", "FILES", ""]
    for number, file in enumerate(files, start=1):
        lines += [*_file_lines(number, file), ""]
    corrections = [line for file in files for line in file.corrections]
    lines += ["CORRECTED, WITHOUT A CHANGE TO THE SOUND", "", *corrections, ""] if corrections else []
    names = [file.name for file in files]
    lines += _waived_lines(delivery, names)
    lines += _undecided_lines(delivery, names)
    if delivery.recall:
        lines += ["FOR THE NEXT TIME", "", delivery.recall, ""]
    if delivery.note:
        lines += ["NOTES", "", delivery.note, ""]
    return "\n".join(lines)


def _waived_lines(delivery: Delivery, names: Sequence[str]) -> list[str]:
    """Failed checks that the drummer waived, each with its reason."""
    messages = {key_of(check): in_print(check["message"], names) for check in delivery.checks}
    lines = []
    for number, waiver in enumerate(delivery.waivers.select_related("waived_by"), start=1):
        message = messages.get((waiver.code, waiver.file_name), waiver.code)
        lines += [f"{number:>3}. {message}", f"     waived by {waiver.waived_by.name}: {waiver.reason}", ""]
    return ["WAIVED CHECKS", "", *lines] if lines else []


def _undecided_lines(delivery: Delivery, names: Sequence[str]) -> list[str]:
    """What was checked and could not be decided: the set is not assured in that."""
    lines = [in_print(check["message"], names) for check in delivery.checks if is_undecided(check)]
    return ["UNDECIDED", "", *lines, ""] if lines else []


def _one_or_all(files: Sequence[DeliveryFile], fact: str, unit: str) -> str:
    """The value that all files share, or each that occurs."""
    values = sorted({file.facts[fact] for file in files if file.facts.get(fact) is not None})
    return ", ".join(f"{value} {unit}" for value in values) or NOT_SAID


def _tempo_lines(delivery: Delivery, files: Sequence[DeliveryFile]) -> list[str]:
    """In the time of the files."""
    tempo_map = map_of(delivery)
    if tempo_map is None:
        return ["no tempo map was approved"]
    return tempo_lines(tempo_map, {file.facts["sample_rate_hz"] for file in files if file.facts.get("sample_rate_hz")})


def _file_lines(number: int, file: DeliveryFile) -> list[str]:
    facts = [
        channel_said(file),
        channel_words(file.facts.get("channels")),
        f"microphone: {file.microphone or NOT_SAID}",
        f"polarity: {file.get_polarity_display()}",
        f"take: {file.take or NOT_SAID}",
    ]
    lines = [f"{number:>3}. {file.name}", f"     {'; '.join(fact for fact in facts if fact)}"]
    return [*lines, f"     {file.note}"] if file.note else lines
