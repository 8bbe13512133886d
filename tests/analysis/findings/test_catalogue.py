"""Findings are data: every kind is complete, and both its sentences can be said."""

import string

import pytest

from analysis.core.reports import Finding, Place
from analysis.findings.catalogue import FINDING_KINDS, KIND_BY_CODE, FindingKind, Severity, client_message, make_finding

# The codes are permanent: portals have stored them.
# fmt: off
PERMANENT_CODES = [
    "unreadable", "cut-short", "silent", "clipped", "over-full-scale", "true-peak-over", "dc-offset", "low-level",
    "padded-bits", "lossy-file", "lossy-origin", "one-sided", "dual-mono", "inverted-channel", "dropout",
    "duplicate", "not-audio", "squashed", "upsampled", "bad-values", "has-drums", "rate-differs", "rate-mislabelled",
    "depth-differs", "length-differs", "start-differs", "codec-delay", "missing-from-stems", "evidence-disagrees",
    "no-click", "no-tempo", "no-music", "tempo-differs", "tempo-unsure", "tempo-drifts", "tempo-changes",
    "click-differs", "bar-one-late", "pickup", "meter-differs", "wrong-rate-suspected",
    "odd-bar", "click-tempo-differs", "click-short",
]
# fmt: on
EXAMPLES = {
    "reason": "is not audio but a text file",
    "missing": "2 seconds are missing",
    "span": "from 1:12 to 1:40",
    "codec": "mp3",
    "side": "left",
    "other_file": "Bass.wav",
    "later_or_earlier": "later",
    "longer_or_shorter": "shorter",
    "said": "at bar one",
    "measured": "120 bpm",
    "said_meter": "3/4",
    "measured_meter": "4/4",
    "odd_meter": "2/4",
    "usual_meter": "4/4",
    "delay_name": "one AAC frame",
}


def example(kind: FindingKind) -> Finding:
    names = {
        name
        for sentence in (kind.client_sentence, kind.drummer_sentence)
        for _, name, _, _ in string.Formatter().parse(sentence)
        if name and name not in ("file", "place")
    }
    value = {name: EXAMPLES.get(name, 3.0) for name in names}
    return make_finding(kind.code, file="Keys.wav", place=Place(time_s=72.0), value=value)


def test_no_permanent_code_is_missing() -> None:
    assert set(PERMANENT_CODES) <= set(KIND_BY_CODE)
    assert len(KIND_BY_CODE) == len(FINDING_KINDS)


@pytest.mark.parametrize("kind", FINDING_KINDS, ids=lambda kind: kind.code)
def test_every_kind_can_be_said(kind: FindingKind) -> None:
    finding = example(kind)

    for message in (finding.message, client_message(finding)):
        assert message[0].isupper() or not message[0].isalpha()
        assert message.endswith((".", "?"))
        assert not {"{", "}", "None", "nan"} & set(message.split())
    assert kind.title
    assert kind.what_to_do.endswith(".")


def test_a_stop_that_goes_out_by_itself_says_what_to_do() -> None:
    for kind in FINDING_KINDS:
        if kind.severity is Severity.STOP and kind.may_send:
            assert "lease" in kind.client_sentence or "?" in kind.client_sentence, kind.code


def test_severity_can_be_milder_than_the_kind() -> None:
    value = {"places": 1, "runs": 2, "level_dbfs": -0.1, "longest_frames": 3}
    finding = make_finding("clipped", file="Mix.wav", severity=Severity.NOTE, value=value)

    assert (finding.severity, KIND_BY_CODE["clipped"].severity) == ("note", "stop")


def test_a_value_that_its_sentence_needs_must_be_there() -> None:
    with pytest.raises(KeyError):
        make_finding("clipped", file="Mix.wav")
