from fractions import Fraction

from analysis.band.harmony import chord_on
from analysis.band.players import LEAD_RANGE
from analysis.band.score import steady, write_score

FORM = (("verse", 16),)


def test_the_bass_plays_the_root_on_every_bar_line() -> None:
    plan = steady("Roots", 4, 112, players=("bass", "pad"), form=FORM)
    score = write_score(plan)
    chords = {note.beat: set() for note in score.notes["pad"] if note.beat % 4 == 0}  # type: dict[Fraction, set[int]]
    for note in score.notes["pad"]:
        if note.beat in chords:
            chords[note.beat].add(note.pitch % 12)
    roots = {frozenset(chord_on(plan.key, numeral).tones): chord_on(plan.key, numeral).root for numeral in
             ("I", "II", "III", "IV", "V", "VI", "VII")}  # fmt: skip

    firsts = [note for note in score.notes["bass"] if note.beat % 4 == 0]
    assert len(firsts) == 16
    assert all(note.pitch % 12 == roots[frozenset(chords[note.beat])] for note in firsts)


def test_a_pushing_feel_changes_harmony_an_eighth_early() -> None:
    score = write_score(steady("Pushed", 4, 100, feel="push", players=("bass", "pad"), form=FORM))
    bass = {note.beat: note.pitch % 12 for note in score.notes["bass"]}
    pairs = [(bass[bar * 4 - Fraction(1, 2)], bass[Fraction(bar * 4)]) for bar in range(1, 15)
             if bar * 4 - Fraction(1, 2) in bass]  # fmt: skip

    assert len(pairs) > 8
    assert all(early == on_time for early, on_time in pairs)


def test_a_strum_goes_down_on_the_beat_and_back_up_off_it() -> None:
    score = write_score(steady("Strummed", 4, 112, players=("strings",), form=FORM))
    down = [note for note in score.notes["strings"] if note.beat == 0]
    up = [note for note in score.notes["strings"] if note.beat % 1 == Fraction(1, 2)][:3]

    assert len(down) == 5
    assert [note.pitch for note in down] == sorted(note.pitch for note in down)
    assert [note.after_s for note in down] == sorted(note.after_s for note in down)
    assert down[-1].after_s > 0.02
    assert [note.pitch for note in up] == sorted((note.pitch for note in up), reverse=True)


def test_the_tune_stays_in_its_range_key_and_breathes() -> None:
    plan = steady("Sung", 4, 112, players=("lead",), form=FORM)
    notes = write_score(plan).notes["lead"]

    assert all(note.pitch in LEAD_RANGE and note.pitch % 12 in plan.key.scale for note in notes)
    assert not [note for note in notes if note.beat // 4 == 7]
    assert len({note.pitch for note in notes}) > 4
