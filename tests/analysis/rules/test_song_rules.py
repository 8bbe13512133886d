"""What is worth saying about a song: rules over measurements and brief, without any sound."""

from analysis.core.reports import Brief, SongMeasures, Tempo
from analysis.core.thresholds import Limits
from analysis.rules.song_rules import SongFacts, song_findings


def severities(brief: Brief, *, click_name: str | None = None) -> dict[str, str]:
    song = SongMeasures(tempo=Tempo(kind="constant", bpm=112.0, confidence=0.99))
    facts = SongFacts(song=song, brief=brief, reports=(), has_music=True, click_name=click_name)
    return {finding.code: finding.severity for finding in song_findings(facts, Limits())}


class TestNoClick:
    def test_the_client_must_say_where_no_tempo_is_stated_either(self) -> None:
        assert severities(Brief())["no-click"] == "ask"

    def test_a_stated_tempo_makes_it_good_to_know(self) -> None:
        assert severities(Brief(bpm=112.0))["no-click"] == "note"

    def test_a_click_that_was_promised_is_missed(self) -> None:
        assert severities(Brief(bpm=112.0, click_promised=True))["no-click"] == "ask"

    def test_a_click_or_the_wish_for_a_map_settles_it(self) -> None:
        assert "no-click" not in severities(Brief(), click_name="click.wav")
        assert "no-click" not in severities(Brief(make_map=True))
