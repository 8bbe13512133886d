import pytest

from analysis.core.reports import FileReport, SongMeasures, Tempo
from analysis.core.thresholds import Limits
from analysis.rules.stated_rules import stated_findings

SONG = SongMeasures(tempo=Tempo(kind="constant", bpm=112.0, confidence=0.99))


def said(metadata: dict[str, object], song: SongMeasures = SONG) -> list[str]:
    report = FileReport(name="bass.wav", sha256="", sample_rate_hz=48_000, metadata=metadata)
    return [finding.message for finding in stated_findings([report], song, Limits())]


@pytest.mark.parametrize("bpm", [112.0, 112.5, 56.0, 224.0, 168.0])
def test_the_same_pulse_is_no_disagreement(bpm: float) -> None:
    assert said({"name_bpm": bpm}) == []


@pytest.mark.parametrize("source", ["name_bpm", "tag_bpm", "midi_bpm"])
def test_another_tempo_is(source: str) -> None:
    (message,) = said({source: 120.0})

    assert "120 bpm" in message
    assert "112 bpm" in message


@pytest.mark.parametrize("source", ["name_sample_rate_hz", "ixml_sample_rate_hz"])
def test_another_rate_is(source: str) -> None:
    (message,) = said({source: 44_100})

    assert "44.1 kHz" in message


@pytest.mark.parametrize(
    "tempo", [Tempo(), Tempo(kind="constant", bpm=112.0, confidence=0.3), Tempo(kind="map", bpm=112.0, confidence=0.99)]
)
def test_an_unsure_tempo_disagrees_with_nothing(tempo: Tempo) -> None:
    assert said({"name_bpm": 120.0}, SongMeasures(tempo=tempo)) == []
