"""Songs whose answers are known, drawn from a seed: every feel, with and without drums, steady and moving."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from analysis.band.clock import Drift, Rubato, Slowing, Steady, Step, TempoPlan
from analysis.band.feels import FEELS
from analysis.band.harmony import Key
from analysis.band.score import ALL_PITCHED, SongPlan
from analysis.maps.tempo_map import MeterSign

SECONDS = 75
MOVING = ("drift", "step", "slowing", "short bar", "rubato")  # one song in four is not even
ODD_BARS = {"4/4": "2/4", "3/4": "2/4", "2/4": "3/4", "5/4": "4/4", "6/8": "9/8", "12/8": "6/8", "7/8": "5/8"}
COMMON = ("ballad", "straight", "sixteen", "shuffle", "four-floor", "push", "waltz", "slow-three")


@dataclass(frozen=True)
class Item:
    """One song of the set. `sent` is how it arrives: a mix, its stems, or stems with a click."""

    name: str
    plan: SongPlan
    sent: str

    @property
    def category(self) -> str:
        if self.plan.tempo.kind == "rubato":
            return "free"
        if self.plan.tempo.kind != "constant" or self.plan.odd_bars:
            return "moving"
        if self.sent != "mix":
            return self.sent
        if self.plan.feel not in COMMON:
            return "rare feels"
        return "drums" if "drums" in self.plan.players else "no drums"


def draw_items(seed: int, count: int, feels: Sequence[str] = ()) -> list[Item]:
    """So many songs, in all feels or only in some of them, which then come as one mix each."""
    return [_draw(np.random.default_rng((seed, number)), f"song{number:03d}", number, feels) for number in range(count)]


def _draw(rng: np.random.Generator, name: str, number: int, feels: Sequence[str]) -> Item:
    every = sorted(FEELS)
    feel = COMMON[number // 2 % len(COMMON)] if number % 2 else every[number // 2 % len(every)]
    sent = ("mix", "mix", "stems", "mix", "stems and click")[number % 5]
    if feels:
        feel, sent = feels[number % len(feels)], "mix"
    bpm = _draw_bpm(rng, *FEELS[feel].bpm_range)
    meter = MeterSign.parse(FEELS[feel].meter)
    bars = max(20, int(SECONDS * bpm / 60 / meter.beats_per_bar) // 4 * 4)
    players = _draw_players(rng, click=sent == "stems and click")
    counted = 2 if "click" in players or ("drums" in players and rng.random() < 0.2) else 0
    uneven = MOVING[number // 4 % len(MOVING)] if number % 4 == 3 else ""
    plan = SongPlan(
        name,
        seed=int(rng.integers(1 << 30)),
        tempo=_draw_tempo(rng, uneven, bpm, bars, meter),
        feel=feel,
        key=Key(int(rng.integers(12)), minor=bool(rng.random() < 0.4)),
        form=_form(bars),
        players=players,
        silence_s=Fraction(int(rng.integers(0, 2_500)), 1_000),
        pickup_beats=Fraction(0) if counted or rng.random() > 0.2 else Fraction(int(rng.integers(1, 5)), 2),
        count_in_bars=counted,
        odd_bars=((bars // 8 * 4 + 1, ODD_BARS[str(meter)]),) if uneven == "short bar" else (),
        looseness_s=float(rng.choice([0.004, 0.007, 0.012])),
    )
    return Item(name, _with_sounds(plan, rng), sent)


def _with_sounds(plan: SongPlan, rng: np.random.Generator) -> SongPlan:
    return replace(
        plan,
        keys_sound=str(rng.choice(["tines", "hammers", "reeds"])),
        strings_sound=str(rng.choice(["steel", "nylon", "driven"])),
        click_sound=str(rng.choice(["pip", "block", "tick"])),
        click_accents=bool(rng.random() < 0.7),
        hiss_dbfs=float(rng.uniform(-85, -65)) if rng.random() < 0.5 else None,
    )


def _draw_bpm(rng: np.random.Generator, low: int, high: int) -> Fraction:
    """Whole in six of ten songs, as people choose tempos, else with two decimals."""
    hundredths = int(rng.integers(low * 100, high * 100 + 1))
    return Fraction(round(hundredths, -2 if rng.random() < 0.6 else 0), 100)


def _draw_tempo(rng: np.random.Generator, kind: str, bpm: Fraction, bars: int, meter: MeterSign) -> TempoPlan:
    if kind == "drift":
        return Drift(bpm, float(rng.uniform(0.015, 0.035)), float(rng.uniform(50, 110)), float(rng.random()))
    if kind == "step":
        factor = Fraction(int(rng.choice([92, 95, 105, 110])), 100)
        return Step(bpm, round(bpm * factor * 4) / Fraction(4), at_bar=bars // 8 * 4 + 1)
    if kind == "slowing":
        return Slowing(bpm, last_beats=2 * meter.beats_per_bar)
    if kind == "rubato":
        return Rubato(bpm, seed=int(rng.integers(1_000)))
    return Steady(bpm)


def _draw_players(rng: np.random.Generator, *, click: bool) -> tuple[str, ...]:
    """Two to five pitched players, keys or strings among them, the lead always (it plays pickups)."""
    others = [name for name in ALL_PITCHED if name != "lead" and rng.random() < 0.75]
    if not {"keys", "strings"} & set(others):
        others.append("keys")
    drums = ("drums",) if rng.random() < 0.4 else ()
    return (*others, "lead", *drums, *(("click",) if click else ()))


def _form(bars: int) -> tuple[tuple[str, int], ...]:
    quarter = bars // 4
    return (
        ("intro", 4),
        ("verse", quarter),
        ("chorus", quarter),
        ("verse", quarter),
        ("chorus", bars - 4 - 3 * quarter),
    )
