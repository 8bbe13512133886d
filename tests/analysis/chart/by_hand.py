"""Five charts as a drummer would write them by hand, with invented titles: straight rock, a waltz, 6/8, meters that
change, and a D.S. al Coda. Between them they use every sign that a chart has."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from analysis.chart.document import (
    DRUMS,
    FEELS,
    FINE,
    REPEAT_1,
    REPEAT_2,
    REST,
    RHYTHM,
    START,
    Bar,
    Chart,
    Dynamic,
    Hit,
    Jump,
    Note,
    Road,
    Section,
    Span,
    Tempo,
    Words,
)
from analysis.maps.tempo_map import MeterSign
from tests.analysis.chart.charts import FOUR_FOUR, SIX_EIGHT, THREE_FOUR, TWO_FOUR, bar, ds_al_coda, with_road


def beats(text: str) -> list[Fraction]:
    return [Fraction(word) for word in text.split()]


def voice(name: str, text: str, **more: object) -> tuple[Note, ...]:
    return tuple(Note(beat, voice=name, **more) for beat in beats(text))  # type: ignore[arg-type]


ROCK_GROOVE = voice("hat", "1 3/2 2 5/2 3 7/2 4 9/2") + voice("kick", "1 5/2 3") + voice("snare", "2 4", accent=True)
ROCK_FILL = (
    *voice("snare", "1 5/4 3/2 7/4 2"),
    Note(Fraction(5, 2), voice="high tom", mark="flam"),
    *voice("low tom", "3"),
    Note(Fraction(7, 2), voice="floor tom", mark="roll"),
    *voice("floor tom", "4"),
    *voice("kick", "1 2 3 4"),
)


def straight_rock() -> Chart:
    groove = Bar(FOUR_FOUR, shows=DRUMS, notes=ROCK_GROOVE, dynamics=(Dynamic("mf"),))
    ghosted = Bar(
        FOUR_FOUR,
        shows=DRUMS,
        notes=(*ROCK_GROOVE[1:], Note(Fraction(15, 4), voice="snare", mark="ghost"), Note(Fraction(1), voice="crash")),
    )
    intro = Section("", (Bar(FOUR_FOUR, shows=REST),) * 4, "Intro")
    verse = Section(
        "A",
        (
            groove,
            bar(shows=REPEAT_1),
            bar(),
            bar(words=(Words("she counts four", Fraction(3), cue=True),)),
            *(bar(),) * 3,
            bar(fills=(Span(Fraction(3), Fraction(2)),)),
        ),
        "Verse",
    )
    chorus = Section(
        "B",
        (
            replace(ghosted, dynamics=(Dynamic("f"),)),
            bar(shows=REPEAT_1),
            bar(hits=(Hit(Fraction(5, 2)), Hit(Fraction(9, 2), Fraction(1), accent=True))),
            bar(),
            bar(shows=REPEAT_2),
            bar(shows=REPEAT_2),
            bar(stops=(Span(Fraction(3), Fraction(2)),)),
            Bar(FOUR_FOUR, shows=DRUMS, notes=ROCK_FILL),
        ),
        "Chorus",
    )
    outro = Section(
        "C",
        (
            bar(),
            Bar(
                FOUR_FOUR,
                shows=RHYTHM,
                notes=(
                    Note(Fraction(1), Fraction(1, 2), accent=True),
                    Note(Fraction(5, 2), Fraction(1, 2)),
                    *(Note(beat, Fraction(1, 3)) for beat in beats("4 13/3 14/3")),
                ),
            ),
            bar(dynamics=(Dynamic("dim."),)),
            bar(held=Fraction(1), words=(Words("let it ring"),)),
        ),
        "Tag",
    )  # fmt: skip
    sections = (intro, with_road(with_road(verse, 1, repeat_start=True), 8, repeat_end=2), chorus, outro)
    return Chart("Four Spare Window Hooks", sections, tempo=Tempo(Fraction(112)), words="eighths", count_in=2)


def waltz() -> Chart:
    groove = Bar(
        THREE_FOUR,
        shows=DRUMS,
        notes=voice("ride", "1 2 3") + voice("kick", "1") + voice("side stick", "2 3") + voice("hat foot", "2"),
    )
    plain = bar(THREE_FOUR)
    first = Section("A", (groove, bar(THREE_FOUR, shows=REPEAT_1), *(plain,) * 6), "젖은 계단")
    first = with_road(with_road(first, 7, ending=(1,), repeat_end=2), 8, ending=(2,))
    second = Section(
        "B", (*(plain,) * 4, replace(plain, stops=(Span(Fraction(2), Fraction(2)),)), *(plain,) * 3), "Più mosso"
    )
    second = with_road(with_road(second, 1, repeat_start=True), 8, repeat_end=3)
    last = replace(plain, tempo=Tempo(Fraction(84)), words=(Words("slower", Fraction(1)),))
    end = Section("C", (last, plain, plain, replace(plain, held=Fraction(1))), "Coda")
    return Chart(
        "Wet Stairs Beside Kettle",
        (first, second, end),
        meter=THREE_FOUR,
        artist="젖은 계단 옆 주전자 · Però là più giù",
        tempo=Tempo(Fraction(132)),
        words="brushes",
        first_bar=1,
    )  # fmt: skip


def six_eight() -> Chart:
    groove = Bar(
        SIX_EIGHT,
        shows=DRUMS,
        notes=voice("hat", "1 2 3 4 5 6") + voice("kick", "1 6") + voice("snare", "4"),
    )
    hits = bar(
        SIX_EIGHT, hits=(Hit(Fraction(1), Fraction(2)), Hit(Fraction(3), Fraction(1)), Hit(Fraction(6), Fraction(1)))
    )
    over = bar(SIX_EIGHT, hits=(Hit(Fraction(6), Fraction(3), accent=True),))
    verse = Section("A", (groove, *(bar(SIX_EIGHT),) * 2, hits, *(bar(SIX_EIGHT),) * 3, over), "Strofa")
    chorus = Section("B", (*(bar(SIX_EIGHT, dynamics=()),) * 7, bar(SIX_EIGHT)), "Ritornello")
    chorus = with_road(chorus, 8, fine=True)
    bridge = Section("C", (*(bar(SIX_EIGHT, shows=REST),) * 4, bar(SIX_EIGHT, dynamics=(Dynamic("cresc."),))), "Tacet")
    bridge = with_road(bridge, 5, jump=Jump(START, FINE))
    return Chart("Slow Rope Over Gravel", (verse, chorus, bridge), meter=SIX_EIGHT, tempo=Tempo(Fraction(72)))


def changing_meters() -> Chart:
    seven, five = MeterSign.parse("7/8"), MeterSign.parse("5/4")
    first = Section("A", (bar(), bar(), bar(), bar(TWO_FOUR), bar(), bar(THREE_FOUR), bar(seven), bar(five)), "Vers")
    hits = tuple(Hit(beat, Fraction(1)) for beat in beats("1 3 5 7"))
    second = Section("B", (bar(seven, hits=hits), bar(seven), bar(FOUR_FOUR), bar(FOUR_FOUR), bar(TWO_FOUR)), "Ł")
    triplets = tuple(Note(Fraction(1) + Fraction(step, 3), Fraction(1, 3)) for step in range(6))
    third = Section("C", (Bar(TWO_FOUR, shows=RHYTHM, notes=triplets), Bar(FOUR_FOUR, shows=REST)), "End")
    pickup = Section("", (Bar(TWO_FOUR, shows=RHYTHM, notes=(Note(Fraction(2), Fraction(1)),)),))
    return Chart(
        "Seven Plates Under Linen",
        (pickup, first, second, third),
        tempo=Tempo(Fraction(275, 3)),
        feel=FEELS[1],
        first_bar=0,
    )


def ds_chart() -> Chart:
    chart = ds_al_coda()
    coda = chart.sections[-1]
    last = replace(coda.bars[-1], shows=RHYTHM, notes=(Note(Fraction(1), Fraction(1, 2), accent=True),), road=Road())
    return replace(chart, sections=(*chart.sections[:-1], replace(coda, bars=(*coda.bars[:-1], last))), artist="nobody")


BY_HAND = {
    "rock": straight_rock,
    "waltz": waltz,
    "six-eight": six_eight,
    "meters": changing_meters,
    "ds": ds_chart,
}
