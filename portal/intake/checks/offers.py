"""The answers that a question offers, and what each says about the brief.

Codes are stored with the question: "bpm=112", "bpm" (with a figure), "make-map", "meter=3/4", "starts=later",
"start-as-written", "leave-out", "new-file", "as-is", "drums=guide", "drums=none".
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError

from analysis.core import SongMeasures, beat_of, tempo_in_figures, tempo_in_words
from analysis.maps import beat_name_of
from portal.bookings.fields import BPM_DECIMALS, read_bpm
from portal.bookings.models import Brief, Song
from portal.intake.errors import AnswerError
from portal.intake.models import Finding

MAP_CODES = frozenset({"no-click", "no-tempo"})
TEMPO_CODES = MAP_CODES | {"tempo-differs", "tempo-unsure", "wrong-rate-suspected"}
BAR_CODES = frozenset({"meter-differs", "bar-one-late"})
USELESS_CODES = frozenset({"unreadable", "not-audio"})
DRUM_CODES = frozenset({"has-drums"})
# Findings that ask about one file only, whatever is asked of the others.
BY_FILE_CODES = USELESS_CODES | DRUM_CODES
# A tap that promises a file: the song stays with the client until one comes.
NEW_FILE = "new-file"
LEAVE_OUT = "leave-out"
# Answers after which there is nothing left to ask: how it is, is known now.
DRUMS_GUIDE, DRUMS_NONE = "drums=guide", "drums=none"
SETTLING_ANSWERS = frozenset({DRUMS_GUIDE, DRUMS_NONE})
# Measured well enough to be put into the client's mouth.
SURE_ENOUGH = 0.5
# What findings share an answer, as a heading over it.
TEMPO, METER, START = "Tempo and click", "Meter", "Bar one"
TOPICS = dict.fromkeys(TEMPO_CODES, TEMPO) | {"meter-differs": METER, "bar-one-late": START}


@dataclass(frozen=True)
class Offer:
    """`asks` is the unit of the figure beside it."""

    code: str
    label: str
    asks: str = ""

    def to_json(self) -> dict[str, str]:
        said = {"code": self.code, "label": self.label}
        return said | ({"asks": self.asks} if self.asks else {})


DRUM_OFFERS = (
    Offer(NEW_FILE, "Yes, and a version without will come"),
    Offer(DRUMS_GUIDE, "Yes, please keep them as a guide"),
    Offer(DRUMS_NONE, "No, there are no drums"),
)


def offers_for(song: Song, findings: Sequence[Finding]) -> list[Offer]:
    """Each answer once, in the order in which a person would look for it."""
    codes = {finding.code for finding in findings}
    offers: list[Offer] = []
    if codes & TEMPO_CODES:
        tempos = tempos_on_offer(song, findings)
        offers += [Offer(f"bpm={bpm}", f"{tempo_in_words(bpm, beat)} is right") for bpm, beat in tempos.items()]
        offers.append(Offer("bpm", "It is …", asks="bpm"))
    if codes & MAP_CODES:
        offers.append(Offer("make-map", "There is no click: please make the map"))
    for finding in findings:
        offers += song_offers(finding)
    if codes & DRUM_CODES:
        offers += DRUM_OFFERS
    about_files = codes - TEMPO_CODES - BAR_CODES - DRUM_CODES
    if about_files:
        offers.append(Offer(NEW_FILE, "I will send a new file"))
    if about_files & USELESS_CODES:
        offers.append(Offer(LEAVE_OUT, "Go on without it"))
    if about_files - USELESS_CODES:
        offers.append(Offer("as-is", "Use the files as they are"))
    return list(dict.fromkeys(offers))


def tempos_on_offer(song: Song, findings: Iterable[Finding]) -> dict[str, str]:
    """The measured tempo when it is a sure one, and every tempo that the findings themselves name; to each the note
    that it counts, where that is known."""
    named = [value for finding in findings for value in bpm_values(finding)]
    stored = song.checks.done().values_list("report__song", flat=True).first()
    measured = SongMeasures.from_json(stored) if stored else None
    if measured and (tempo := measured.tempo).bpm and tempo.kind == "constant" and tempo.confidence >= SURE_ENOUGH:
        named.insert(0, (tempo.bpm, beat_name_of(measured.meter.sign)))
    offered: dict[str, str] = {}
    for bpm, beat in named:
        offered.setdefault(tempo_in_figures(bpm), beat)
    return offered


def bpm_values(finding: Finding) -> Iterator[tuple[float, str]]:
    if finding.code in TEMPO_CODES:
        named = ((name, value) for name, value in finding.value.items() if name.endswith("_bpm") and value)
        yield from ((value, beat_of(name, finding.value)) for name, value in named)


def carried_bpm(value: float | Decimal) -> str:
    """As many decimals as a form takes: what goes from a page into a map is not rounded for the eye."""
    return tempo_in_figures(value, BPM_DECIMALS)


def song_offers(finding: Finding) -> Iterator[Offer]:
    if finding.code == "meter-differs":
        for name in ("measured_meter", "said_meter"):
            meter = finding.value.get(name)
            if meter:
                yield Offer(f"meter={meter}", f"{meter} is right")
    if finding.code == "bar-one-late":
        yield Offer("starts=later", "Yes, bar one is there")
        yield Offer("start-as-written", "No, it is as I wrote")


def brief_changes(code: str, value: str, asked: Iterable[Finding]) -> dict[str, Any]:
    """What an answer says about the brief. A tempo given where we asked for a click also says that there is none."""
    if code == "make-map":
        return {"click": Brief.Clicks.MAKE_MAP}
    name, _, given = code.partition("=")
    if name == "meter":
        return {"meter": given}
    if name == "starts":
        return {"starts": given}
    if name != "bpm":
        return {}
    changes: dict[str, Any] = {"bpm": bpm_from(given or value)}
    if any(finding.code == "no-click" for finding in asked):
        changes["click"] = Brief.Clicks.MAKE_MAP
    return changes


def bpm_from(text: str) -> Decimal:
    try:
        return read_bpm(text)
    except ValidationError as error:
        raise AnswerError(" ".join(error.messages)) from error
