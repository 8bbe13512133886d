"""Checks a multitrack as a set before it is delivered: does it drop in at zero and line up, to the sample?

First what headers say (rate, depth, length, names), which needs no decoding; sound is measured only when rates agree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

from analysis.core.errors import UnusableFileError
from analysis.core.sentences import written
from analysis.core.threads import on_one_thread
from analysis.core.thresholds import Limits
from analysis.delivery.agreed import Agreed, agreed_checks, in_files_time
from analysis.delivery.arrival import arrival
from analysis.delivery.check_results import Check, Header, VerifyReport, still_open
from analysis.delivery.click_bleed import click_bleed
from analysis.delivery.file_faults import file_faults
from analysis.delivery.fits_originals import whole_bars
from analysis.delivery.levels import distinct_sound, level_checks
from analysis.delivery.line_up import lined_up
from analysis.delivery.measured_set import MeasuredSet, Song, measure_set
from analysis.delivery.microphone import microphones
from analysis.delivery.polarity import polarity
from analysis.delivery.sides import sides
from analysis.delivery.verify_rhythm import rhythm_checks
from analysis.maps.tempo_map import TempoMap
from analysis.media import safe_names
from analysis.media.reader import open_media

_T = TypeVar("_T")
# Each looks at the measured set and gives what it found; a new question is a module of its own and a name here.
QUESTIONS: tuple[Callable[[MeasuredSet], Iterable[Check]], ...] = (
    level_checks,
    distinct_sound,
    file_faults,
    polarity,
    arrival,
    sides,
    microphones,
    click_bleed,
    rhythm_checks,
    whole_bars,
)


@on_one_thread
def verify_set(
    paths: Sequence[Path],
    *,
    map: TempoMap | None = None,  # noqa: A002 - the word that people use for it
    against: Path | None = None,
    originals: Sequence[Path] = (),
    perspective: str = "",
    agreed: Agreed | None = None,
    labels: Mapping[str, str] | None = None,
    limits: Limits | None = None,
) -> VerifyReport:
    """Check files that belong together. `against`: a rough mix of the same performance; `originals`: the client's.

    `labels`: one of `channels.LABELS` by file name, where the name does not say what a file holds. `perspective`: whose
    left is left, "player" or "audience"; "" where nobody said. `map`, `against` and `originals`
    begin together; the files begin there too, unless `agreed` says otherwise.
    """
    limits, agreed = limits or Limits(), agreed or Agreed()
    map = in_files_time(map, agreed.zero_s) if map else None  # noqa: A001
    headers, checks = _read_headers(paths)
    for look in _HEADER_CHECKS:
        checks += look(headers)
    checks += agreed_checks(headers, agreed)
    if map is not None:
        checks += _covers_map(headers, map)
    if headers and all(check.passed for check in checks if check.code in ("readable", "rate")):
        readable = [path for path in paths if path.name in headers]
        song = Song(map, against, tuple(originals), perspective, agreed.zero_s, labels or {})
        measured = measure_set(readable, song, limits)
        checks += _asked(measured)
    if not paths:
        checks.append(Check("not-empty", None, passed=False, message="There are no files in the set."))
    said = {name: header.to_json() for name, header in headers.items()}
    passed = all(check.passed for check in checks)
    return VerifyReport(passed, tuple(checks), said, still_open(checks))


def _asked(measured: MeasuredSet) -> list[Check]:
    """A track that lies elsewhere must not move the set: the mix is laid on it where it belongs."""
    checks = [check for question in QUESTIONS for check in question(measured)]
    return checks + list(lined_up(measured, [check for check in checks if check.code == "arrival"]))


def _read_headers(paths: Sequence[Path]) -> tuple[dict[str, Header], list[Check]]:
    headers: dict[str, Header] = {}
    checks: list[Check] = []
    for path in paths:
        try:
            with open_media(path) as media:
                headers[path.name] = Header.of(media)
        except UnusableFileError as error:
            checks.append(Check("readable", path.name, passed=False, message=f"{path.name} {error.reason}."))
    return headers, checks


def _most_common(values: Sequence[_T]) -> _T:
    return Counter(values).most_common(1)[0][0]


def _same_rate(headers: dict[str, Header]) -> Iterator[Check]:
    wanted = _most_common([header.sample_rate_hz for header in headers.values()]) if headers else 0
    for name, header in headers.items():
        rate_hz = header.sample_rate_hz
        words = f"{name} is at {written('_hz', rate_hz)}"
        message = f"{words}." if rate_hz == wanted else f"{words}, the set at {written('_hz', wanted)}."
        yield Check("rate", name, rate_hz == wanted, rate_hz, wanted, message)


def _same_depth(headers: dict[str, Header]) -> Iterator[Check]:
    wanted = _most_common([header.bit_depth for header in headers.values()]) if headers else None
    for name, header in headers.items():
        depth = header.bit_depth
        words = f"{name} is in {depth} bits" if depth else f"{name} is in a compressed format"
        message = f"{words}." if depth == wanted else f"{words}, the set in {wanted or 'a compressed format'}."
        yield Check("depth", name, depth == wanted and not header.lossy, depth, wanted, message)


def _same_length(headers: dict[str, Header]) -> Iterator[Check]:
    wanted = _most_common([header.frames for header in headers.values()]) if headers else None
    for name, header in headers.items():
        frames, passed = header.frames, header.frames is not None and header.frames == wanted
        message = f"{name} is {written('_frames', frames)} long{_length_words(frames, wanted)}."
        yield Check("length", name, passed, frames, wanted, message)


def _length_words(frames: int | None, wanted: int | None) -> str:
    if frames is None or wanted is None or frames == wanted:
        return ""
    count, way = abs(frames - wanted), "short" if frames < wanted else "long"
    return f": {count} {'frame' if count == 1 else 'frames'} {way}"


def _whole(headers: dict[str, Header]) -> Iterator[Check]:
    for name, header in headers.items():
        missing = header.missing_bytes
        message = f"{name} is whole." if not missing else f"{name} is cut short: {missing} bytes are missing."
        yield Check("whole", name, not missing, missing, 0, message)


def _same_time_reference(headers: dict[str, Header]) -> Iterator[Check]:
    """Two files whose time references differ by k samples are meant to be placed k samples apart (EBU Tech 3285).
    One without a time reference lies where one with 0 does."""
    stamps = {name: header.time_reference_frames or 0 for name, header in headers.items()}
    wanted = _most_common(list(stamps.values())) if stamps else 0
    for name, stamp in stamps.items():
        if stamp != wanted:
            message = f"{name} has a time reference of {stamp} samples, the set {wanted}: it would be placed elsewhere."
            yield Check("time-reference", name, passed=False, value=stamp, limit=wanted, message=message)


def _safe_file_names(headers: dict[str, Header]) -> Iterator[Check]:
    clashes = safe_names.collisions(list(headers))
    for name in headers:
        suggestion = safe_names.safe_name(name)
        passed = safe_names.is_safe(name)
        message = (
            f"{name} has a safe name."
            if passed
            else (f"{name} may cause problems on another system; better: {suggestion}.")
        )
        yield Check("safe-name", name, passed, name, suggestion, message)
        if name in clashes:
            message = f"{name} and {clashes[name]} are the same name on some file systems."
            yield Check("distinct-name", name, passed=False, value=name, limit=clashes[name], message=message)


_HeaderCheck = Callable[[dict[str, Header]], Iterator[Check]]
_HEADER_CHECKS: tuple[_HeaderCheck, ...] = (
    _same_rate,
    _same_depth,
    _same_length,
    _whole,
    _same_time_reference,
    _safe_file_names,
)


def _covers_map(headers: dict[str, Header], tempo_map: TempoMap) -> Iterator[Check]:
    """Every file must reach the start of the map's last segment: a set that ends before it lacks part of the song."""
    last_s = max(Fraction(segment.time_s) for segment in tempo_map.segments)
    what = "the last change of the tempo map" if last_s > tempo_map.bar_one_s else "bar one"
    needed_s = max(last_s, tempo_map.bar_one_s)
    for name, header in headers.items():
        length_s = Fraction(header.frames or 0, header.sample_rate_hz)
        passed = length_s > needed_s
        way = "reaches" if passed else "ends before"
        message = f"{name} {way} {what} at {float(needed_s):.2f} s."
        yield Check("covers-map", name, passed, float(length_s), float(needed_s), message)
