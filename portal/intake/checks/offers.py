"""The answers that a question offers, and what each says about the brief.

Codes are stored with the question: "bpm=112", "bpm" (with a figure), "make-map", "meter=3/4", "starts=later",
"start-as-written", "leave-out", "new-file", "as-is".
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError

from portal.bookings.fields import BPM_DECIMALS, read_bpm, write_bpm
from portal.bookings.models import Brief, Song
from portal.intake.errors import AnswerError
from portal.intake.models import Finding

MAP_CODES = frozenset({"no-click", "no-tempo"})
TEMPO_CODES = MAP_CODES | {"tempo-differs", "tempo-unsure", "wrong-rate-suspected"}
BAR_CODES = frozenset({"meter-differs", "bar-one-late"})
USELESS_CODES = frozenset({"unreadable", "not-audio"})
# A tap that promises a file: the song stays with the client until one comes.
NEW_FILE = "new-file"
LEAVE_OUT = "leave-out"
# Measured well enough to be put into the client's mouth.
SURE_ENOUGH = 0.5
BPM_STEP = Decimal("0.001")
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


def offers_for(song: Song, findings: Sequence[Finding]) -> list[Offer]:
    """Each answer once, in the order in which a person would look for it."""
    codes = {finding.code for finding in findings}
    offers: list[Offer] = []
    if codes & TEMPO_CODES:
        offers += [Offer(f"bpm={bpm}", f"{bpm} is right") for bpm in tempos_on_offer(song, findings)]
        offers.append(Offer("bpm", "It is …", asks="bpm"))
    if codes & MAP_CODES:
        offers.append(Offer("make-map", "There is no click: please make the map"))
    for finding in findings:
        offers += song_offers(finding)
    about_files = codes - TEMPO_CODES - BAR_CODES
    if about_files:
        offers.append(Offer(NEW_FILE, "I will send a new file"))
    if about_files & USELESS_CODES:
        offers.append(Offer(LEAVE_OUT, "Go on without it"))
    if about_files - USELESS_CODES:
        offers.append(Offer("as-is", "Use the files as they are"))
    return list(dict.fromkeys(offers))


def tempos_on_offer(song: Song, findings: Iterable[Finding]) -> list[str]:
    """The measured tempo when it is a sure one, and every tempo that the findings themselves name."""
    named = [value for finding in findings for value in bpm_values(finding)]
    check = song.checks.done().first()
    tempo = check.numbers.song.tempo if check else None
    if tempo and tempo.bpm and tempo.kind == "constant" and tempo.confidence >= SURE_ENOUGH:
        named.insert(0, tempo.bpm)
    return list(dict.fromkeys(shown_bpm(value) for value in named))


def bpm_values(finding: Finding) -> Iterator[float]:
    if finding.code in TEMPO_CODES:
        yield from (value for name, value in finding.value.items() if name.endswith("_bpm") and value)


def shown_bpm(value: float | Decimal) -> str:
    """Up to three decimals, as people read a tempo."""
    return write_bpm(Decimal(str(value)).quantize(BPM_STEP))


def carried_bpm(value: float | Decimal) -> str:
    """As many decimals as a form takes: what goes from a page into a map is not rounded for the eye."""
    return write_bpm(Decimal(str(value)).quantize(Decimal(1).scaleb(-BPM_DECIMALS)))


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
