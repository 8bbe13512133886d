from fractions import Fraction

from analysis.band.score import steady, write_score

FORM = (("verse", 4), ("chorus", 4))


def test_the_backbeat_is_where_a_backbeat_is() -> None:
    notes = write_score(steady("Beat", 1, 112, players=("drums",), form=FORM)).notes["drums"]
    snares = {note.beat % 4 for note in notes if note.sound == "snare" and note.beat < 12}

    assert snares == {Fraction(1), Fraction(3)}


def test_a_section_ends_with_a_fill_and_a_chorus_starts_with_a_crash() -> None:
    notes = write_score(steady("Beat", 1, 112, players=("drums",), form=FORM)).notes["drums"]
    fill = [note.sound for note in notes if 15 <= note.beat < 16 and note.sound != "kick"]

    assert fill == ["snare", "snare", "tom-high", "tom-low"]
    assert [note.beat for note in notes if note.sound == "crash"] == [16, 28]


def test_a_click_accents_the_first_beat_of_odd_bars_too() -> None:
    score = write_score(steady("Odd", 1, 120, players=("click",), form=FORM, odd_bars=((2, "2/4"),)))

    assert [note.beat for note in score.notes["click"] if note.sound == "pip-accent"][:4] == [0, 4, 6, 10]


def test_a_click_can_be_without_accents_and_of_another_sound() -> None:
    plan = steady("Plain", 1, 120, players=("click",), form=FORM, click_sound="block", click_accents=False)

    assert {note.sound for note in write_score(plan).notes["click"]} == {"block-beat"}
