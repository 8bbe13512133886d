"""What a kind of section is made of: meter, chords, tune, rhythms of each player, groove and figures, all drawn.

Beats are 1-based in the meter's written unit (a quarter in 4/4, an eighth in 6/8), with fractions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Rhythm = tuple[tuple[float, float], ...]  # beat, length
Rng = np.random.Generator


@dataclass(frozen=True)
class MeterKind:
    """A meter: written beats in a bar, written beats of a pulse, the smallest note, pulses per minute."""

    sign: str
    beats: int
    pulse: int
    step: float
    bpm: tuple[float, float]
    swing: bool = False

    def short_sign(self) -> str:
        """A bar of about half the length that songs throw in: 2/4, or 3/8 among compound bars, 6/8 in 12/8."""
        return {"4/4": "2/4", "3/4": "2/4", "6/8": "3/8", "12/8": "6/8"}[self.sign]


METERS = (
    MeterKind("4/4", 4, 1, 0.25, (76, 160)),
    MeterKind("4/4", 4, 1, 1 / 3, (84, 180), swing=True),
    MeterKind("3/4", 3, 1, 0.5, (88, 168)),
    MeterKind("6/8", 6, 3, 1.0, (44, 84)),
    MeterKind("12/8", 12, 3, 1.0, (54, 96)),
)
METER_SHARES = (0.5, 0.14, 0.12, 0.16, 0.08)
THREES_SHARES = (0.12, 0.06, 0.28, 0.3, 0.24)
PITCHED = ("bass", "keys", "guitar", "pad", "lead", "second")
# Steps of the major and the minor scale, and which triads open or go on (house choices).
SCALES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10)}
DYNAMICS_DB = {"pp": -17.0, "p": -12.0, "mp": -8.5, "mf": -5.5, "f": -2.5, "ff": 0.0}


@dataclass(frozen=True)
class Groove:
    """A drum pattern of one bar: beats of kick, snare and hat, and which cymbal keeps time."""

    kick: tuple[float, ...]
    snare: tuple[float, ...]
    hat: tuple[float, ...]
    cymbal: str = "hat"


@dataclass(frozen=True)
class Material:
    """What belongs to a label and comes again with it. Chords: (beat, scale step) by bar of the loop."""

    label: str
    chords: tuple[tuple[tuple[float, int], ...], ...]
    turnaround: tuple[tuple[float, int], ...]
    tune: tuple[tuple[tuple[float, int, float], ...], ...]  # beat, scale step, length by bar of the phrase
    rhythms: dict[str, Rhythm]
    players: tuple[str, ...]
    dynamic: str
    groove: Groove


def draw_material(
    rng: Rng,
    meter: MeterKind,
    label: str,
    dynamic: str,
    bars: int,
    others: list[Material],
    *,
    plain: bool,
    alike: bool,
) -> Material:
    """Draw what a label sounds like; now and then it takes over the chords or the rhythms of an earlier one.

    `plain` sections have no tune of the lead; `alike` ones keep the first one's players and rhythms, mostly.
    """
    shared = others[rng.integers(len(others))] if others and rng.random() < 0.15 else None
    loop = shared.chords if shared else _loop(rng, meter, bars)
    same_rhythms = others[rng.integers(len(others))] if others and rng.random() < (0.85 if alike else 0.3) else None
    rhythms = same_rhythms.rhythms if same_rhythms else draw_rhythms(rng, meter)
    groove = (
        same_rhythms.groove if same_rhythms and rng.random() < (0.85 if alike else 0.5) else draw_groove(rng, meter)
    )
    turnaround, tune = ((1.0, int(rng.choice([1, 3, 4, 4, 6]))),), _tune(rng, meter)
    players = _players(rng, dynamic, plain=plain)
    if alike and others and rng.random() < 0.7:
        players = others[0].players
    return Material(label, loop, turnaround, tune, rhythms, players, dynamic, groove)


def _loop(rng: Rng, meter: MeterKind, bars: int) -> tuple[tuple[tuple[float, int], ...], ...]:
    length = int(rng.choice([1, 2, 3, 4, 4, 4, 8, bars], p=[0.03, 0.14, 0.05, 0.2, 0.2, 0.14, 0.1, 0.14]))
    steps, step = [], int(rng.choice([0, 0, 0, 5, 3, 1, 4]))
    for _ in range(max(1, min(length, bars))):
        steps.append(step)
        step = int((step + rng.choice([3, 4, 2, 5, 1, 6, 0], p=[0.3, 0.22, 0.1, 0.12, 0.12, 0.06, 0.08])) % 7)
    half = 1.0 + meter.beats / 2
    split = meter.beats % 2 == 0 and meter.beats > 3
    return tuple(
        ((1.0, step), (half, int((step + 3) % 7))) if split and rng.random() < 0.12 else ((1.0, step),)
        for step in steps
    )


def _tune(rng: Rng, meter: MeterKind) -> tuple[tuple[tuple[float, int, float], ...], ...]:
    """Two or four bars of a tune; the bars of a phrase share a rhythm, more or less."""
    bars, here = [], int(rng.integers(4, 10))
    rhythm = rhythm_of(rng, meter, int(rng.integers(2, 7)))
    for index in range(int(rng.choice([2, 4, 4]))):
        if index and rng.random() < 0.5:
            rhythm = rhythm_of(rng, meter, int(rng.integers(1, 7)))
        notes = []
        for beat, length in rhythm:
            here = int(np.clip(here + rng.integers(-2, 3), 2, 13))
            notes.append((beat, here, length * 0.9))
        bars.append(tuple(notes))
    return tuple(bars)


def grid_of(meter: MeterKind, beats: float | None = None) -> list[float]:
    """Where notes may stand: eighths in simple meters (swung ones late), every written eighth in compound ones."""
    count = meter.beats if beats is None else beats
    if meter.pulse == 3:
        return [1.0 + index for index in range(int(count))]
    off = 2 / 3 if meter.swing else 0.5
    return [1.0 + beat + part for beat in range(int(count)) for part in (0.0, off)]


def rhythm_of(rng: Rng, meter: MeterKind, notes: int) -> Rhythm:
    """Some places of the grid, each held to the next."""
    grid = grid_of(meter)
    weights = np.array([1.6 if (beat - 1) % meter.pulse < 1e-6 else 1.0 for beat in grid])
    count = min(notes, len(grid))
    chosen = sorted(rng.choice(len(grid), count, replace=False, p=weights / weights.sum()))
    beats = [grid[index] for index in chosen]
    ends = [*beats[1:], meter.beats + 1.0]
    return tuple((beat, end - beat) for beat, end in zip(beats, ends, strict=True))


def draw_rhythms(rng: Rng, meter: MeterKind) -> dict[str, Rhythm]:
    found: dict[str, Rhythm] = {"pad": ((1.0, float(meter.beats)),)}
    for player in ("bass", "keys", "guitar", "second"):
        kind = rng.choice(["held", "pulse", "all", "off", "drawn", "drawn"])
        found[player] = _rhythm_named(rng, meter, str(kind))
    if found["bass"][0][0] > 1.0 and rng.random() < 0.85:
        first = found["bass"][0][0]
        found["bass"] = ((1.0, first - 1.0), *found["bass"])
    return found


def _rhythm_named(rng: Rng, meter: MeterKind, kind: str) -> Rhythm:
    grid = grid_of(meter)
    pulse = [1.0 + index for index in range(0, meter.beats, meter.pulse)]
    beats = {
        "held": [1.0],
        "pulse": pulse,
        "all": grid,
        "off": [beat for beat in grid if (beat - 1) % meter.pulse > 1e-6],
    }.get(kind)
    if beats is None:
        return rhythm_of(rng, meter, int(rng.integers(2, 6)))
    ends = [*beats[1:], meter.beats + 1.0]
    share = 1.0 if kind == "held" else float(rng.choice([0.4, 0.7, 0.95]))
    return tuple((beat, (end - beat) * share) for beat, end in zip(beats, ends, strict=True))


def _players(rng: Rng, dynamic: str, *, plain: bool) -> tuple[str, ...]:
    """Louder sections have more players; a plain one has no tune."""
    count = {"pp": 1, "p": 2, "mp": 3, "mf": 3, "f": 4, "ff": 5}[dynamic]
    core = ["bass", "keys", "guitar", "pad", "second"]
    chosen = {str(name) for name in rng.choice(core, min(count, 5), replace=False)}
    if dynamic not in ("pp", "p") or rng.random() < 0.5:
        chosen.add("bass")
    if not chosen & {"keys", "guitar", "pad"}:
        chosen.add(str(rng.choice(["keys", "guitar"])))
    if not plain:
        chosen.add("lead")
    return tuple(name for name in PITCHED if name in chosen)


def draw_groove(rng: Rng, meter: MeterKind) -> Groove:
    grid = grid_of(meter)
    pulses = [1.0 + index for index in range(0, meter.beats, meter.pulse)]
    if meter.sign == "3/4":
        snare: tuple[float, ...] = ((2.0, 3.0), (3.0,), (2.0,))[rng.integers(3)]
    elif rng.random() < 0.15 and len(pulses) >= 4:
        snare = (pulses[2],)
    else:
        snare = tuple(pulses[1::2])
    off = [beat for beat in grid if beat not in snare and beat != 1.0]
    extra = [float(beat) for beat in rng.choice(off, min(int(rng.integers(0, 4)), len(off)), replace=False)]
    kick = tuple(sorted({1.0, *extra}))
    if rng.random() < 0.12:
        kick = tuple(pulses)
    hat = (tuple(grid), tuple(grid), tuple(pulses))[rng.integers(3)]
    if meter.swing:
        hat = tuple(beat for beat in grid if beat % 1 == 0 or int(beat) % 2 == 0)
    return Groove(kick, snare, hat, str(rng.choice(["hat", "hat", "ride", "open"])))


def draw_figure(rng: Rng, meter: MeterKind, beats: float) -> Rhythm:
    """Accents of the whole band in one bar: at least two, at least one of them off the pulse."""
    grid = grid_of(meter, beats)
    if meter.step == 0.25 and rng.random() < 0.3:
        grid = sorted({*grid, *(beat + 0.75 for beat in grid if beat % 1 == 0)})
    off = [beat for beat in grid if (beat - 1) % meter.pulse > 1e-6]
    for _ in range(20):
        count = int(rng.integers(2, 5))
        chosen = sorted(float(beat) for beat in rng.choice(grid, min(count, len(grid)), replace=False))
        if set(chosen) & set(off):
            break
    else:
        chosen = off[:2]
    ends = [*chosen[1:], beats + 1.0]
    longest = 1.0 if meter.pulse == 1 else 2.0
    return tuple((beat, round(min(end - beat, longest) * 0.5, 4)) for beat, end in zip(chosen, ends, strict=True))
