"""What is played: a song's plan in, every note of every player out. The same plan always gives the same notes."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from analysis.band.clock import BeatPlace, Clock, Steady, TempoPlan
from analysis.band.feels import FEELS
from analysis.band.harmony import Chord, Key, chord_on
from analysis.band.parts import Bar, Note
from analysis.band.percussion import click, drums, stick_count
from analysis.band.players import PITCHED_PLAYERS, pickup
from analysis.band.truth import Truth, truth_of
from analysis.core.reports import Section
from analysis.core.samples import Doubles
from analysis.maps.tempo_map import MeterSign

ALL_PITCHED = ("bass", "keys", "strings", "pad", "lead")
# House choices.
_DEFAULT_FORM = (("intro", 4), ("verse", 8), ("chorus", 8), ("verse", 8), ("chorus", 8), ("outro", 4))
_C_MAJOR = Key(0)
_SPLITS = 0.35  # how often the last bar of four has two chords
_SWAY = 0.9  # how much of its lateness a player keeps from note to note


@dataclass(frozen=True)
class SongPlan:
    """Everything that decides a song.

    `silence_s` comes before the first thing heard (count-in, pickup or bar one). `odd_bars` are single bars of another
    meter: (bar, "2/4"). `looseness_s` is the spread of human timing; players also sit up to about half of it early or
    late, and the median of it all is zero: the grid is where the band plays. The click is always exact.
    `hiss_dbfs` is the RMS of the noise that live players' microphones pick up all through their files. The defaults are
    house choices.
    """

    title: str
    seed: int
    tempo: TempoPlan
    feel: str = "straight"
    key: Key = _C_MAJOR
    form: tuple[tuple[str, int], ...] = _DEFAULT_FORM
    players: tuple[str, ...] = ALL_PITCHED
    keys_sound: str = "tines"
    strings_sound: str = "steel"
    click_sound: str = "pip"
    click_accents: bool = True
    silence_s: Fraction = Fraction(0)
    pickup_beats: Fraction = Fraction(0)
    count_in_bars: int = 0
    odd_bars: tuple[tuple[int, str], ...] = ()
    looseness_s: float = 0.006
    ring_out_s: float = 2.5
    hiss_dbfs: float | None = None

    def __post_init__(self) -> None:
        if self.count_in_bars and not {"drums", "click"} & set(self.players):
            raise ValueError("a count-in needs drums or a click to play it")
        if self.pickup_beats and "lead" not in self.players:
            raise ValueError("a pickup needs a lead to play it")

    @property
    def bars(self) -> int:
        return sum(bars for _, bars in self.form)


@dataclass(frozen=True)
class Score:
    """The notes of each player, with the second at which each one starts."""

    plan: SongPlan
    clock: Clock
    truth: Truth
    notes: dict[str, tuple[Note, ...]] = field(default_factory=dict)
    starts_s: dict[str, Doubles] = field(default_factory=dict)

    @property
    def duration_s(self) -> float:
        return float(self.clock.time_of_bar(self.clock.bars + 1)) + self.plan.ring_out_s


def steady(title: str, seed: int, bpm: Fraction | int, **rest: object) -> SongPlan:
    """The common case: a plan at one tempo."""
    return SongPlan(title, seed, Steady(Fraction(bpm)), **rest)  # type: ignore[arg-type]


def write_score(plan: SongPlan) -> Score:
    """Choose every note of a song and when it sounds."""
    rng = np.random.default_rng((plan.seed, 1))
    clock = _clock_of(plan)
    bars = _plan_bars(plan, clock, rng)
    notes = {name: tuple(_part(name, plan, bars, rng)) for name in plan.players}
    starts_s = _human_times(plan, clock, notes)
    first_s = min(float(times.min()) for times in starts_s.values() if len(times))
    sections, bar = [], 1
    for label, length in plan.form:
        sections.append(Section(bar, length, label))
        bar += length
    truth = truth_of(plan.tempo, clock, plan.pickup_beats, plan.count_in_bars, tuple(sections), first_s)
    return Score(plan, clock, truth, notes, starts_s)


def _clock_of(plan: SongPlan) -> Clock:
    main = MeterSign.parse(FEELS[plan.feel].meter)
    odd = {bar: MeterSign.parse(text) for bar, text in plan.odd_bars}
    meters = tuple(odd.get(bar, main) for bar in range(1, plan.bars + 1))
    before = max(Fraction(plan.count_in_bars * main.beats_per_bar), plan.pickup_beats)
    first_beat_s = plan.tempo.beat_s(BeatPlace(0, 1, plan.bars * main.beats_per_bar))
    return Clock.from_plan(plan.tempo, meters, plan.silence_s + before * first_beat_s)


def _plan_bars(plan: SongPlan, clock: Clock, rng: np.random.Generator) -> list[Bar]:
    """Each bar's section, harmony and place."""
    places = [(label, index, length) for label, length in plan.form for index in range(length)]
    harmony = _harmony(plan, places, rng)
    return [
        Bar(
            number=number,
            label=label,
            index=index,
            length=length,
            chords=harmony[number - 1],
            coming=harmony[min(number, plan.bars - 1)][0][1],
            meter=clock.meters[number - 1],
            start_beat=clock.bar_first_beats[number - 1],
            feel=FEELS[plan.feel],
            key=plan.key,
            is_last=number == plan.bars,
        )
        for number, (label, index, length) in enumerate(places, 1)
    ]


def _harmony(
    plan: SongPlan, places: list[tuple[str, int, int]], rng: np.random.Generator
) -> list[tuple[tuple[float, Chord], ...]]:
    """Chords bar by bar: a progression for each kind of section, some bars of four beats split in two."""
    feel = FEELS[plan.feel]
    order = rng.permutation(len(plan.key.progressions))
    labels = list(dict.fromkeys(label for label, _ in plan.form))
    harmony = []
    for label, index, _ in places:
        numerals = plan.key.progressions[order[labels.index(label) % len(order)]].split()
        chords = [(0.0, chord_on(plan.key, numerals[index % len(numerals)], seventh=feel.sevenths))]
        if feel.meter == "4/4" and index % 4 == 3 and rng.random() < _SPLITS:
            other = str(rng.choice(["II", "IV", "V"]))
            chords.append((2.0, chord_on(plan.key, other, seventh=feel.sevenths)))
        harmony.append(tuple(chords))
    harmony[-1] = ((0.0, chord_on(plan.key, "I")),)
    return harmony


def _part(name: str, plan: SongPlan, bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    if name == "click":
        return click(bars, plan.count_in_bars, sound=plan.click_sound, accented=plan.click_accents)
    if name == "drums":
        counted = 0 if "click" in plan.players else plan.count_in_bars
        return stick_count(bars[0].meter, counted) + drums(bars, rng)
    notes = PITCHED_PLAYERS[name](bars, rng)
    return pickup(bars[0], plan.pickup_beats) + notes if name == "lead" and plan.pickup_beats else notes


def _human_times(plan: SongPlan, clock: Clock, notes: dict[str, tuple[Note, ...]]) -> dict[str, Doubles]:
    """Seconds at which notes sound. Lateness sways from note to note; the band's median is put on the grid."""
    rng = np.random.default_rng((plan.seed, 2))
    late = {name: _lateness(part, plan.looseness_s, rng) for name, part in notes.items() if name != "click"}
    middle = float(np.median(np.concatenate(list(late.values())))) if late else 0.0
    starts_s = {}
    for name, part in notes.items():
        exact = clock.times_of_beats(np.array([float(note.beat) for note in part]))
        spread = np.array([note.after_s for note in part])
        human = exact + spread + (late[name] - middle if name in late else 0.0)
        starts_s[name] = np.maximum(human, 0.0)
    return starts_s


def _lateness(part: tuple[Note, ...], looseness_s: float, rng: np.random.Generator) -> Doubles:
    """One value a moment: notes struck together by one player stay together."""
    moments, of_note = np.unique([float(note.beat) for note in part], return_inverse=True)
    white = rng.normal(0, looseness_s * 0.7, len(moments))
    sway, value = np.zeros(len(moments)), 0.0
    for index, push in enumerate(rng.normal(0, looseness_s * 0.7 * (1 - _SWAY**2) ** 0.5, len(moments))):
        value = _SWAY * value + push
        sway[index] = value
    late: Doubles = (white + sway + rng.normal(0, looseness_s / 2))[of_note]
    return late
