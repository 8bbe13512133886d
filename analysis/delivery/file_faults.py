"""What is wrong inside single tracks: each fault a line for each track that has it, or one line that none has.

What `inspect` knows of single files is asked of each track too, by the same rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from analysis.core.reports import Finding
from analysis.core.sentences import written
from analysis.core.units import dbfs_from_amplitude, seconds_as_clock
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet, Track
from analysis.rules.file_rules import file_findings

# What the rules for single files find, and the check that says so here.
_BY_RULES = {
    "padded-bits": "bits",
    "lossy-file": "lossy-origin",
    "dual-mono": "channels",
    "one-sided": "channels",
    "inverted-channel": "channels",
    "dropout": "dropouts",
    "bad-values": "bad-values",
}
# The figure of each finding.
_FIGURES = {
    "padded-bits": "significant_bits",
    "dropout": "places",
    "bad-values": "count",
}
_NONE_HAS = {
    "bits": "No track holds fewer bits than it says.",
    "lossy-origin": "No track has the upper edge that lossy formats leave.",
    "channels": "No stereo track is mono, one-sided or inverted on one side.",
    "dc": "No track has an offset.",
    "dropouts": "No track has dropouts.",
    "bad-values": "No track holds invalid values (not a number, or infinite).",
    "gaps": "No track has holes of digital silence in its sound.",
    "repeats": "No track holds a passage twice, bit for bit.",
    "hum": "No track hums.",
    "noise": "No track is noisy between the strokes.",
    "edits": "No track has an edit that clicks.",
}
# One cause, one line: what says the same thing better.
_SAID_BY = {
    "dc": frozenset({"clipped"}),
    "noise": frozenset({"hum"}),
    "edits": frozenset({"dropouts", "gaps", "clipped"}),
}
# The filters of converters begin no lower than this share of the rate (common practice: 0.45 and more); an edge under
# the second is a drum's own, which lossy formats of any use leave alone.
_CONVERTER_EDGE, _LOWEST_EDGE_HZ = 0.45, 14_500.0
# An offset from here on (-46 dBFS) is more than strokes make by themselves (house choice).
_OFFSET = 0.005
# Noise between the strokes from here on is a fault, where the strokes are so much louder (house choices). A microphone
# whose own drum is never struck shows it by a level that stands still: of white noise the power of 50 ms scatters by
# 0.1 dB (arithmetic: one over the root of bandwidth times length), of anything that is played by far more. Its
# neighbours come through over the noise's own peaks, which reach 15 dB in a song (arithmetic of a normal distribution).
_NOISY_DBFS, _STROKES_OVER_NOISE_DB = -55.0, 20.0
_STANDS_STILL_DB, _NEIGHBOURS_OVER_NOISE_DB = 1.5, 16.0
# A set that ends this loud, and this far over the quietest it gets, was cut (house choices).
_STILL_RINGS_DBFS, _OVER_FLOOR_DB = -60.0, 20.0
# Distances between values that make this much fewer bits than stored are no accident (house choice).
_FEWER_BITS = 4


def file_faults(measured: MeasuredSet) -> Iterator[Check]:
    found = [check for track in measured.sounding for check in _of_track(track, measured)]
    yield from found
    said = {check.code for check in found}
    yield from (Check(code, None, passed=True, message=words) for code, words in _NONE_HAS.items() if code not in said)
    yield from _tail(measured)


def _of_track(track: Track, measured: MeasuredSet) -> Iterator[Check]:
    findings = file_findings(track.faults.report, measured.limits)
    checks = [_by_rule(track, finding) for finding in findings if finding.code in _BY_RULES]
    checks += [check for look in _LOOKS if (check := look(track))]
    codes = {check.code for check in checks} | ({"clipped"} if track.clipped.runs else set())
    yield from (check for check in checks if not codes & _SAID_BY.get(check.code, frozenset()))
    if "bits" not in codes and (check := _wide_steps(track)):
        yield check


def _by_rule(track: Track, finding: Finding) -> Check:
    value = finding.value.get(_FIGURES.get(finding.code, ""), True)
    return Check(
        _BY_RULES[finding.code],
        track.file,
        passed=False,
        value=value,
        message=finding.message,
        place_s=finding.place.time_s,
    )


def _wide_steps(track: Track) -> Check | None:
    bits, stored = track.faults.step_bits, track.faults.report.bit_depth
    if bits is None or stored is None or stored - bits < _FEWER_BITS:
        return None
    words = f"{track.file} says {stored} bits, but its values lie as far apart as {bits:.1f} bits have them."
    return Check("bits", track.file, passed=False, value=round(bits, 1), limit=stored, message=words)


def _edge(track: Track) -> Check | None:
    report = track.faults.report
    edge_hz, rate_hz = report.spectral_edge_hz, report.sample_rate_hz
    if edge_hz is None or rate_hz is None or report.lossy:
        return None
    if not _LOWEST_EDGE_HZ <= edge_hz < _CONVERTER_EDGE * rate_hz:
        return None
    words = (
        f"{track.file} ends steeply at {written('_hz', round(edge_hz, -2))}, under what converters cut at "
        f"{written('_hz', rate_hz)}: it may come from a lossy file or from a lower rate."
    )
    value, limit = round(edge_hz), round(_CONVERTER_EDGE * rate_hz)
    return Check("lossy-origin", track.file, passed=False, value=value, limit=limit, message=words)


def _offset(track: Track) -> Check | None:
    """Between the strokes too: recorded strokes can have an offset of their own, which no converter made."""
    offset, error = track.faults.report.dc_offset or 0.0, track.faults.report.dc_error or 0.0
    between = track.faults.ends.offset
    if abs(offset) < max(_OFFSET, 4 * error) or (between is not None and abs(between) < _OFFSET):
        return None
    words = f"{track.file} has an offset of {100 * offset:.2f} % of full scale."
    return Check("dc", track.file, passed=False, value=round(offset, 4), limit=_OFFSET, message=words)


def _gaps(track: Track) -> Check | None:
    if not track.faults.holes:
        return None
    start_s, length_s = max(track.faults.holes, key=lambda hole: hole[1])
    words = (
        f"{track.file} falls silent in full sound in {written('places', len(track.faults.holes))}, the longest "
        f"{written('_ms', 1000 * length_s)} at {seconds_as_clock(start_s)}."
    )
    return Check("gaps", track.file, passed=False, value=round(length_s, 4), message=words, place_s=round(start_s, 3))


def _repeats(track: Track) -> Check | None:
    repeat = track.faults.repeat
    if repeat is None or track.channel.kind == "click":
        return None
    words = (
        f"{track.file} holds {written('_s', repeat.length_s)} twice, bit for bit: from "
        f"{seconds_as_clock(repeat.first_s)}, and again from {seconds_as_clock(repeat.again_s)}."
    )
    value, place_s = round(repeat.length_s, 2), round(repeat.again_s, 3)
    return Check("repeats", track.file, passed=False, value=value, message=words, place_s=place_s)


def _hum(track: Track) -> Check | None:
    hum = track.faults.hum
    if hum is None:
        return None
    level_dbfs = dbfs_from_amplitude(hum.level)
    words = f"{track.file} hums at {hum.mains_hz:.0f} Hz and its multiples, at {written('_dbfs', level_dbfs)}."
    return Check("hum", track.file, passed=False, value=level_dbfs, message=words)


def _noise(track: Track) -> Check | None:
    ends = track.faults.ends
    floor_dbfs, quarter_dbfs = dbfs_from_amplitude(ends.floor or 0.0), dbfs_from_amplitude(ends.quarter or 0.0)
    peak_dbfs = track.faults.report.sample_peak_dbfs
    if floor_dbfs is None or quarter_dbfs is None or peak_dbfs is None or floor_dbfs < _NOISY_DBFS:
        return None
    stands_still = track.channel.hears_the_kit and quarter_dbfs - floor_dbfs < _STANDS_STILL_DB
    if peak_dbfs - floor_dbfs < (_NEIGHBOURS_OVER_NOISE_DB if stands_still else _STROKES_OVER_NOISE_DB):
        return None
    words = f"{track.file} is noisy: where it is quietest it still has {written('_dbfs', floor_dbfs)}."
    return Check("noise", track.file, passed=False, value=round(floor_dbfs, 1), limit=_NOISY_DBFS, message=words)


def _edits(track: Track) -> Check | None:
    places = track.faults.jumps_s
    if not places or track.channel.kind == "click":
        return None
    words = (
        f"{track.file} clicks in {written('places', len(places))}, first at {seconds_as_clock(places[0])}: a bad edit."
    )
    return Check("edits", track.file, passed=False, value=len(places), message=words, place_s=round(places[0], 4))


def _tail(measured: MeasuredSet) -> Iterator[Check]:
    """The loudest end of any track; the set as a whole was cut."""
    loudest: tuple[float, str] | None = None
    for track in measured.sounding:
        ends = track.faults.ends
        floor_dbfs, last_dbfs = dbfs_from_amplitude(ends.floor or 0.0), dbfs_from_amplitude(ends.last or 0.0)
        if last_dbfs is not None and last_dbfs > (floor_dbfs or _STILL_RINGS_DBFS) + _OVER_FLOOR_DB:
            loudest = max(loudest or (last_dbfs, track.file), (last_dbfs, track.file))
    if loudest and loudest[0] > _STILL_RINGS_DBFS:
        words = f"The set ends while it still sounds: {loudest[1]} has {written('_dbfs', loudest[0])} at its end."
        value = round(loudest[0], 1)
        yield Check("tail", None, passed=False, value=value, limit=_STILL_RINGS_DBFS, message=words)
    elif measured.sounding:
        yield Check("tail", None, passed=True, limit=_STILL_RINGS_DBFS, message="The set ends after its last sound.")


_LOOKS: tuple[Callable[[Track], Check | None], ...] = (_edge, _offset, _gaps, _repeats, _hum, _noise, _edits)
