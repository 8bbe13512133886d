"""Names of a session's files, from a template that the house edits.

Fields joined by underscores as the Producers & Engineers Wing recommends (2018 edition, p. 13, second-hand): artist
initials, song title, mixer initials and revision, element, sample rate and bit depth; no spaces, punctuation or
accents; the title under 15 characters. How a field is spelled is a house choice: the rate is 48k or 44k1.
"""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.core.reports import Record
from analysis.media.safe_names import LONGEST_NAME, safe_name, same_to_a_disk, spelled_out

DEFAULT_TEMPLATE = "{client}_{song}_{drummer}{version}_{part}_{rate}_{depth}"
CLICK_PART = "SessionClick"
FIELDS = {
    "client": "initials of the client",
    "song": "song title, at most 15 characters",
    "drummer": "initials of the drummer",
    "version": "version of the tempo map",
    "part": "what the file is, from its name",
    "rate": "sample rate",
    "depth": "bit depth",
    "number": "place in the pack, two digits or more",
}
_LONGEST_TITLE, _LONGEST_PART = 15, 40
_LONGEST_TEMPLATE = 100  # house choice


class NameTemplateError(ValueError):
    """A template that gives no safe names. Its text is a sentence for whoever wrote it."""


@dataclass(frozen=True)
class NameParts(Record):
    """What all names of one pack share."""

    client: str = ""
    song: str = ""
    drummer: str = ""
    version: int = 1
    sample_rate_hz: int = 48_000
    bit_depth: int = 24


def check_template(template: str) -> None:
    """Raises NameTemplateError with what is wrong."""
    if len(template) > _LONGEST_TEMPLATE:
        raise NameTemplateError(f"The template is longer than {_LONGEST_TEMPLATE} characters.")
    for text, name, form, conversion in _pieces(template):
        if re.search(r"[^A-Za-z0-9_-]", text):
            raise NameTemplateError("Outside the fields, use only letters, digits, hyphens and underscores.")
        if name is not None and (name not in FIELDS or form or conversion):
            known = ", ".join(f"{{{known}}}" for known in FIELDS)
            raise NameTemplateError(f"There is no field {{{name}}}. The fields are {known}.")
    if not any(name == "part" for _, name, _, _ in _pieces(template)):
        raise NameTemplateError("The template needs {part}: without it all files would have one name.")


def _pieces(template: str) -> list[tuple[str, str | None, str | None, str | None]]:
    try:
        return list(string.Formatter().parse(template))
    except ValueError as error:
        raise NameTemplateError("A brace is missing: a field looks like {part}.") from error


def session_names(template: str, shared: NameParts, names: Sequence[str]) -> list[str]:
    """A safe name that no disk takes for another's, for each of the files' own names, in their order."""
    check_template(template)
    digits = max(2, len(str(len(names))))
    fields = {
        "client": initials(shared.client),
        "song": short_title(shared.song),
        "drummer": initials(shared.drummer),
        "version": f"v{shared.version}",
        "rate": rate_word(shared.sample_rate_hz),
        "depth": str(shared.bit_depth),
    }
    parts = [joined_words(name.rpartition(".")[0] or name)[:_LONGEST_PART] or "Track" for name in names]
    made = [
        _filled(template, fields | {"part": part, "number": f"{number:0{digits}}"})
        for number, part in enumerate(parts, start=1)
    ]
    return _distinct(made)


def pack_names(template: str, shared: NameParts, names: Sequence[str]) -> tuple[str, list[str]]:
    """The click's name and the files'."""
    click, *others = session_names(template, shared, [f"{CLICK_PART}.wav", *names])
    return click, others


def _filled(template: str, fields: dict[str, str]) -> str:
    """A field that is empty leaves no gap."""
    stem = re.sub(r"[_-]*_[_-]*", "_", template.format(**fields)).strip("_-")
    return safe_name(f"{stem[: LONGEST_NAME - 10]}.wav")


def _distinct(names: Sequence[str]) -> list[str]:
    """As a disk tells names apart: one that is taken gets the next number."""
    made: list[str] = []
    taken: set[str] = set()
    counts: dict[str, int] = {}
    for name in names:
        count = counts.get(name, 1)
        other = name if count == 1 else f"{name[:-4]}_{count}.wav"
        while same_to_a_disk(other) in taken:
            count += 1
            other = f"{name[:-4]}_{count}.wav"
        counts[name] = count
        taken.add(same_to_a_disk(other))
        made.append(other)
    return made


def initials(name: str) -> str:
    return "".join(word[0] for word in re.findall(r"[A-Za-z0-9]+", _plain(name))).upper()


def joined_words(text: str) -> str:
    """ "bass gtr 2" becomes "BassGtr2"."""
    return "".join(word[0].upper() + word[1:] for word in re.findall(r"[A-Za-z0-9]+", _plain(text)))


def short_title(title: str) -> str:
    """Whole words as long as they fit; a first word that is too long is cut."""
    words = re.findall(r"[A-Za-z0-9]+", _plain(title))
    short = ""
    for word in words:
        longer = short + word[0].upper() + word[1:]
        if short and len(longer) > _LONGEST_TITLE:
            break
        short = longer
    return short[:_LONGEST_TITLE] or "Song"


def rate_word(sample_rate_hz: int) -> str:
    """48000 is 48k, 44100 is 44k1."""
    thousands, rest = divmod(sample_rate_hz, 1000)
    return f"{thousands}k{str(rest).rjust(3, '0').rstrip('0')}"


def _plain(text: str) -> str:
    return unicodedata.normalize("NFKD", spelled_out(text)).encode("ascii", "ignore").decode()
