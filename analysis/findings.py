"""Every kind of finding: its code (permanent), how grave it is, what client and drummer read, and what to do.

Sentences hold `{names}` of the finding's `value`; their unit suffixes say how they are written out (see sentences.py).
`{file}` and `{place}` are always there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from analysis.reports import Finding, Place
from analysis.sentences import fill


class Severity(StrEnum):
    STOP = "stop"  # cannot track on this
    ASK = "ask"  # the client must say
    NOTE = "note"  # good to know


@dataclass(frozen=True)
class FindingKind:
    """`may_send`: a message about it may go out by itself, without the drummer looking first."""

    code: str
    severity: Severity
    title: str
    client_sentence: str
    drummer_sentence: str
    what_to_do: str
    may_send: bool = False


FILE_KINDS = (
    FindingKind(
        "unreadable",
        Severity.STOP,
        "Cannot be opened",
        "We could not open {file}: it {reason}. Please export it again, as WAV if you can.",
        "{file} {reason}.",
        "Ask for a new export; WAV is safest.",
        may_send=True,
    ),
    FindingKind(
        "not-audio",
        Severity.STOP,
        "Not a sound file",
        "{file} {reason}. Please send the sound itself, as WAV if you can.",
        "{file} {reason}.",
        "Ask for the file that was meant.",
        may_send=True,
    ),
    FindingKind(
        "document",
        Severity.NOTE,
        "Document",
        "{file} {reason}.",
        "{file} {reason}.",
        "Read it; nothing is measured in it but a MIDI file's tempo map.",
    ),
    FindingKind(
        "cut-short",
        Severity.STOP,
        "Cut short",
        "{file} stops before its own end: {missing}. The export or the copy was interrupted. Please send it again.",
        "{file} is cut short: {missing}.",
        "Ask for the file again; the sound that is there can be heard meanwhile.",
        may_send=True,
    ),
    FindingKind(
        "bad-values",
        Severity.STOP,
        "Damaged samples",
        "{file} holds {count} damaged samples, the first {place}. Please export it again.",
        "{file} holds {count} samples that are no numbers or wildly over full scale, the first {place}.",
        "Ask for a new export; played back, such samples are loud bangs. We mute them in what we play.",
        may_send=True,
    ),
    FindingKind(
        "silent",
        Severity.ASK,
        "Silent",
        "{file} is silent from start to end. Is that right, or was a track muted when you exported?",
        "{file} is silent.",
        "Ask whether a track was muted in the export.",
        may_send=True,
    ),
    FindingKind(
        "clipped",
        Severity.STOP,
        "Clipped peaks",
        "{file} is clipped in {places}, the longest {place}. Please lower the level and export it again.",
        "{file} is clipped in {places}: {runs} flat tops at {level_dbfs}, up to {longest_frames} long, worst {place}.",
        "Ask for a new export at a lower level. Turning it down afterwards does not bring the peaks back.",
        may_send=True,
    ),
    FindingKind(
        "over-full-scale",
        Severity.NOTE,
        "Over full scale, not clipped",
        "{file} peaks {over_db} over full scale. Nothing is lost, because it is a floating-point file.",
        "{file} peaks {over_db} over full scale in floating point: turn it down by that much before fixed point.",
        "Lower the gain on import, before anything converts it to fixed point.",
    ),
    FindingKind(
        "true-peak-over",
        Severity.NOTE,
        "Peaks over full scale between samples",
        "Between its samples {file} peaks at {true_peak_dbtp}. It is fine to play to; a converter may clip it.",
        "{file}: sample peak {sample_peak_dbfs}, true peak {true_peak_dbtp}. Play it back a few dB lower.",
        "Lower the playback by a few dB so that the converter does not clip.",
    ),
    FindingKind(
        "dc-offset",
        Severity.NOTE,
        "DC offset",
        "{file} sits off the zero line by {dc_dbfs}. That costs level and can click at edits.",
        "{file} has a DC offset of {dc_dbfs}.",
        "High-pass it on import; mention it to the client if it is large.",
    ),
    FindingKind(
        "low-level",
        Severity.NOTE,
        "Very quiet",
        "{file} is very quiet: its loudest peak is {sample_peak_dbfs}.",
        "{file} is very quiet: peak {sample_peak_dbfs}.",
        "Raise it in the headphone balance; ask for a louder export if noise comes up with it.",
    ),
    FindingKind(
        "padded-bits",
        Severity.NOTE,
        "Fewer bits than it says",
        "{file} is stored in {bit_depth} bits but uses only {significant_bits}. A better original may exist.",
        "{file}: {significant_bits} significant bits in a {bit_depth}-bit file.",
        "Nothing stops; ask for the original depth if it matters.",
    ),
    FindingKind(
        "lossy-file",
        Severity.NOTE,
        "Compressed format",
        "{file} is in a compressed format ({codec}). For lining things up to the sample, WAV is safer.",
        "{file} is lossy ({codec}): its start may be off by the encoder's delay until checked against a WAV stem.",
        "Good enough to listen to; ask for WAV if it is a stem to play to.",
    ),
    FindingKind(
        "lossy-origin",
        Severity.NOTE,
        "May come from a compressed file",
        "The highs of {file} stop at {edge_hz}: it may have been made from a compressed file. Is there an original?",
        "{file}: spectrum edge at {edge_hz}. It may come from a lossy file; a 32 kHz source looks the same.",
        "Ask whether a better original exists. It is a hint, no proof.",
    ),
    FindingKind(
        "upsampled",
        Severity.NOTE,
        "May have been converted up",
        "{file} is at {sample_rate_hz}, but holds nothing above {edge_hz}: it may have been converted up.",
        "{file}: spectrum edge at {edge_hz} in a file of {sample_rate_hz}; probably converted from a lower rate.",
        "Harmless. Deliver at the rate the session really runs at.",
    ),
    FindingKind(
        "one-sided",
        Severity.ASK,
        "Sound on one side only",
        "{file} has sound on the {side} side only. Is that meant, or did a channel get lost?",
        "{file} has sound on the {side} side only.",
        "Ask whether a channel got lost in the export.",
        may_send=True,
    ),
    FindingKind(
        "dual-mono",
        Severity.NOTE,
        "Mono in a stereo file",
        "Both sides of {file} are the same. It is a mono recording in a stereo file.",
        "{file} is mono stored as stereo.",
        "Import it as mono.",
    ),
    FindingKind(
        "inverted-channel",
        Severity.ASK,
        "One side upside down",
        "One side of {file} is upside down: played in mono, most of it disappears. Is that meant?",
        "{file}: left and right are opposite (correlation {correlation}). In mono it cancels.",
        "Flip one side for the headphones, and ask.",
        may_send=True,
    ),
    FindingKind(
        "dropout",
        Severity.ASK,
        "Dropouts",
        "{file} has {places} where the sound breaks off for a moment, the first {place}. Please check your export.",
        "{file} has dropouts in {places}, the first {place}, {duration_ms} long.",
        "Listen to the place; ask for a new export if it is not meant.",
        may_send=True,
    ),
    FindingKind(
        "squashed",
        Severity.NOTE,
        "Squashed",
        "{file} is limited so hard that its attacks are flat ({plr_lu} from loudness to peak). "
        "A version without the limiter is easier to play to.",
        "{file} is limited hard: {plr_lu} from loudness to peak.",
        "Ask for a rough mix without the limiter if the feel is hard to hear.",
    ),
    FindingKind(
        "has-drums",
        Severity.NOTE,
        "Already has drums",
        "{file} already has drums in it. Is there a version without?",
        "{file} holds drums already (confidence {confidence}).",
        "Ask for a drumless version if you are to replace them; keep this one as a guide.",
    ),
)

BETWEEN_KINDS = (
    FindingKind(
        "duplicate",
        Severity.NOTE,
        "Sent twice",
        "{file} and {other_file} are the same recording. Was another one meant?",
        "{file} is the same recording as {other_file}.",
        "Ask whether another file was meant; one of them can stay out of the session.",
    ),
    FindingKind(
        "rate-differs",
        Severity.ASK,
        "Different sample rate",
        "{file} is at {sample_rate_hz}, the other files at {expected_hz}. Please export it at {expected_hz}.",
        "{file} is at {sample_rate_hz}, the rest at {expected_hz}.",
        "Ask for one rate; do not let the session convert it unnoticed.",
        may_send=True,
    ),
    FindingKind(
        "rate-mislabelled",
        Severity.STOP,
        "Wrong sample rate in the header",
        "{file} says {sample_rate_hz}, but plays right only at {true_rate_hz}: it runs at the wrong speed and pitch. "
        "Please export it again.",
        "{file} is labelled {sample_rate_hz} and matches the other files only when read at {true_rate_hz}.",
        "Ask for a new export; until then read it at the other rate.",
        may_send=True,
    ),
    FindingKind(
        "depth-differs",
        Severity.NOTE,
        "Different bit depth",
        "{file} is in {bit_depth} bits, most of the other files in {expected_bits}.",
        "{file} is in {bit_depth} bits, most others in {expected_bits}.",
        "Nothing stops.",
    ),
    FindingKind(
        "length-differs",
        Severity.ASK,
        "Different length",
        "{file} is {difference_s} {longer_or_shorter} than the other files. Was all exported over the same range?",
        "{file} is {difference_s} {longer_or_shorter} than most of the files.",
        "Ask whether all files begin at the same point; the starts matter more than the ends.",
    ),
    FindingKind(
        "start-differs",
        Severity.STOP,
        "Does not start with the others",
        "{file} starts {offset_ms} {later_or_earlier} than it should to fit the other files. "
        "Please export all files from the same starting point.",
        "{file} sits {offset_frames} ({offset_ms}) {later_or_earlier} against {other_file} (confidence {confidence}).",
        "Ask for a common start, or shift it by that much and tell the client.",
        may_send=True,
    ),
    FindingKind(
        "codec-delay",
        Severity.NOTE,
        "Encoder delay",
        "{file} starts {offset_ms} late, as compressed files often do. We line it up ourselves.",
        "{file} is {offset_frames} late against {other_file}: {delay_name}.",
        "Shift it by exactly that much.",
    ),
    FindingKind(
        "missing-from-stems",
        Severity.ASK,
        "In the rough mix, but in no stem",
        "The rough mix has something that is in no stem, {span}. Is a stem missing?",
        "{file} has something that is in no stem, {span}.",
        "Ask for the missing stem.",
    ),
    FindingKind(
        "evidence-disagrees",
        Severity.NOTE,
        "Name and sound disagree",
        "The name or tag of {file} says {said}, but we measure {measured}. Which is right?",
        "{file}: name or tag says {said}, measured {measured}.",
        "The sound decides; ask if in doubt.",
    ),
)

SONG_KINDS = (
    FindingKind(
        "no-click",
        Severity.ASK,
        "No click",
        "There is no click among your files. Do you have one, or shall we make the tempo map?",
        "No click among the files.",
        "Ask for the click, or make the map from the music.",
        may_send=True,
    ),
    FindingKind(
        "no-tempo",
        Severity.ASK,
        "No tempo",
        "We could not find a steady tempo in your files, and the brief names none. What is the tempo?",
        "No steady tempo in the files and none in the brief.",
        "Ask for the tempo, a click or a MIDI tempo map.",
        may_send=True,
    ),
    FindingKind(
        "no-music",
        Severity.STOP,
        "No music",
        "We found no music in your files. Please check what was exported.",
        "No music in the files.",
        "Ask for the stems or a rough mix.",
        may_send=True,
    ),
    FindingKind(
        "tempo-differs",
        Severity.ASK,
        "Tempo differs from the brief",
        "You wrote {said_bpm}, but your files run at {measured_bpm}. Which is right?",
        "Brief {said_bpm}, measured {measured_bpm}.",
        "Ask before making the click.",
        may_send=True,
    ),
    FindingKind(
        "tempo-unsure",
        Severity.ASK,
        "Tempo can be read two ways",
        "Your song could be counted at {measured_bpm} or at {other_bpm}. Which do you feel?",
        "Tempo {measured_bpm} or {other_bpm}: the evidence does not decide.",
        "Ask, or choose by ear.",
        may_send=True,
    ),
    FindingKind(
        "tempo-drifts",
        Severity.NOTE,
        "Tempo drifts",
        "Your song moves between {low_bpm} and {high_bpm}. We can follow it with a tempo map. Is that what you want?",
        "The tempo drifts between {low_bpm} and {high_bpm}.",
        "Make a map that follows, or ask for a version at a fixed tempo.",
    ),
    FindingKind(
        "tempo-changes",
        Severity.NOTE,
        "Tempo changes",
        "The tempo changes from {from_bpm} to {to_bpm} {place}. Is that meant?",
        "Tempo change from {from_bpm} to {to_bpm} {place}.",
        "Check the map at that place.",
    ),
    FindingKind(
        "click-differs",
        Severity.STOP,
        "Click and music do not fit",
        "The click in {file} is {offset_ms} {later_or_earlier} than the music. Which one shall we follow?",
        "The click in {file} is {offset_ms} {later_or_earlier} than the music.",
        "Ask for a new export of click and stems from the same starting point.",
        may_send=True,
    ),
    FindingKind(
        "bar-one-late",
        Severity.ASK,
        "Bar one is not where the brief says",
        "You wrote that the files begin {said}, but bar one is at {bar_one_s} into them. Is that right?",
        "Brief: files begin {said}. Measured: bar one {bar_one_s} into the files.",
        "Ask, then set bar one.",
        may_send=True,
    ),
    FindingKind(
        "pickup",
        Severity.NOTE,
        "Pickup",
        "Your song begins with a pickup of {beats} before bar one. Is that right?",
        "Pickup of {beats} before bar one.",
        "Count in so that the pickup can be played.",
    ),
    FindingKind(
        "meter-differs",
        Severity.ASK,
        "Meter differs from the brief",
        "You wrote {said_meter}, but your song sounds like {measured_meter}. Which is right?",
        "Brief {said_meter}, measured {measured_meter}.",
        "Ask before making the click.",
        may_send=True,
    ),
    FindingKind(
        "wrong-rate-suspected",
        Severity.ASK,
        "Perhaps at the wrong sample rate",
        "Your files run at {measured_bpm}; you wrote {said_bpm}. That is as {file_rate_hz} to {other_rate_hz}: "
        "they may have been exported at the wrong rate. Do they sound right in pitch?",
        "Measured {measured_bpm}, brief {said_bpm}: just the ratio of {file_rate_hz} to {other_rate_hz}.",
        "Ask whether the pitch is right.",
        may_send=True,
    ),
)

FINDING_KINDS = FILE_KINDS + BETWEEN_KINDS + SONG_KINDS
NOWHERE = Place()
KIND_BY_CODE = {kind.code: kind for kind in FINDING_KINDS}


def make_finding(
    code: str,
    *,
    file: str | None = None,
    place: Place = NOWHERE,
    severity: Severity | None = None,
    value: dict[str, Any] | None = None,
) -> Finding:
    """A finding with its drummer's sentence filled in. `severity` where this case is graver or milder than its kind."""
    kind = KIND_BY_CODE[code]
    value = value or {}
    message = fill(kind.drummer_sentence, file=file, place=place, value=value)
    return Finding(code, (severity or kind.severity).value, file, place, value, message)


def client_message(finding: Finding) -> str:
    """The same finding as its client reads it."""
    sentence = KIND_BY_CODE[finding.code].client_sentence
    return fill(sentence, file=finding.file, place=finding.place, value=finding.value)
