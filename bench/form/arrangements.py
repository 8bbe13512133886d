"""A whole song from a seed: its sections one after the other, and every bar's plan, with what is true of them.

Nothing here comes from the demo band: lengths, repeats, figures and endings are drawn for each song.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from bench.form.materials import (
    METER_SHARES,
    METERS,
    THREES_SHARES,
    Material,
    MeterKind,
    Rhythm,
    Rng,
    draw_figure,
    draw_material,
    grid_of,
)

# House choices, all of them: forms that songs have, by names; a name's first letter says how loud it may be.
FORMS = (
    "intro verse verse chorus verse chorus bridge chorus outro",
    "intro verse pre chorus verse pre chorus solo chorus tag",
    "verse chorus verse chorus bridge chorus chorus",
    "intro verse chorus tag verse chorus tag break chorus outro",
    "verse verse bridge verse bridge verse tag",
    "intro verse pre chorus inter verse pre chorus break pre chorus outro",
    "head head solo solo bridge head tag",
    "intro head bridge head solo bridge head outro",
    "verse chorus inter verse chorus inter solo verse chorus",
    "intro verse inter verse chorus solo break chorus outro",
    "intro verse chorus bridge solo outro",
)
LENGTHS = (4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 16)
LENGTH_SHARES = (0.12, 0.07, 0.09, 0.08, 0.33, 0.08, 0.05, 0.02, 0.07, 0.02, 0.07)
SHORT_LENGTHS = {"tag": (2, 2, 2, 3), "inter": (2, 3, 4, 4, 5), "pre": (3, 4, 4, 5, 6), "intro": (2, 4, 4, 5, 6, 8)}
LOUDNESS = {
    "intro": ("p", "mp", "mf", "f"), "verse": ("p", "mp", "mf"), "pre": ("mp", "mf"), "chorus": ("f", "ff"),
    "bridge": ("p", "mp", "mf", "f"), "solo": ("mf", "f", "ff"), "break": ("pp", "p"), "tag": ("mf", "f"),
    "inter": ("mp", "mf", "f"), "head": ("mp", "mf", "f"), "outro": ("p", "mp", "f"),
}  # fmt: skip
PLAIN = {"intro", "inter", "tag", "outro"}
ENDINGS = ("hit", "held", "ritardando", "fade", "none")
ENDING_SHARES = (0.24, 0.26, 0.22, 0.16, 0.12)
LONGEST_S = 215.0
# Seeds from here on are songs whose sections differ little: one band, one groove and one loudness, mostly.
ALIKE_FROM = 2000
# These are songs mostly in three, six and twelve with many short bars; in every fourth the sections differ little.
RICH_IN_THREES = range(6000, 8000)
SHORT_SHARE, RICH_SHORT_SHARE = 0.08, 0.25


@dataclass(frozen=True)
class BarPlan:
    """One bar: its place, its meter in written beats, and what happens in it. `stop` is (beat, beats)."""

    section: int
    index: int
    beats: int
    sign: str
    hits: Rhythm = ()
    alone: bool = True  # the figure replaces what the band plays; else it goes on below the figure's accents
    push: bool = False
    stop: tuple[float, float] | None = None
    fill: bool = False


@dataclass(frozen=True)
class PlannedSection:
    start_bar: int
    bars: int
    name: str
    material: Material
    players: tuple[str, ...]
    transpose: int
    dynamic: str
    varied: int  # a seed of what differs from the other times
    ramp_db: float = 0.0


@dataclass(frozen=True)
class Arrangement:
    """A song as it is to be played."""

    seed: int
    meter: MeterKind
    bpm: float
    scale: str
    key: int
    drums: bool
    stems: bool
    sections: tuple[PlannedSection, ...]
    bars: tuple[BarPlan, ...]
    ending: str
    pickup: bool
    silence_s: float
    moves: float = 0.0  # how far the tempo sways, as a share
    looseness_s: float = 0.006
    noise: float = 0.0  # at every attack of every player but the bass, beyond its voice's own
    sounds: dict[str, float] = field(default_factory=dict)


def arrange(seed: int) -> Arrangement:
    """Draw a song. Every other seed has drums, every other pair of seeds comes as stems."""
    rng = np.random.default_rng((seed, 77))
    is_rich = seed in RICH_IN_THREES
    meter = METERS[rng.choice(len(METERS), p=THREES_SHARES if is_rich else METER_SHARES)]
    bpm = float(round(rng.uniform(*meter.bpm)))
    names = _shortened(str(rng.choice(FORMS)).split(), rng, meter, bpm)
    sections = _sections(rng, meter, names, alike=seed // 4 % 4 == 0 if is_rich else seed >= ALIKE_FROM)
    ending = str(rng.choice(ENDINGS, p=ENDING_SHARES))
    bars = _bars(rng, meter, sections, ending, short_share=RICH_SHORT_SHARE if is_rich else SHORT_SHARE)
    return Arrangement(
        seed,
        meter,
        bpm,
        str(rng.choice(["major", "major", "minor"])),
        int(rng.integers(12)),
        seed % 2 == 0,
        seed // 2 % 2 == 0,
        sections,
        bars,
        ending,
        pickup=bool(rng.random() < 0.25),
        silence_s=float(rng.choice([0.0, 0.0, 0.5, 1.37])),
        moves=float(rng.choice([0.0, 0.0, 0.0, 0.012])),
        looseness_s=float(rng.uniform(0.002, 0.011)),
    )


def _shortened(names: list[str], rng: Rng, meter: MeterKind, bpm: float) -> list[str]:
    """The form, without sections at its end while it would last too long."""
    bar_s = meter.beats / meter.pulse * 60 / bpm
    most = LONGEST_S / bar_s
    while len(names) * 7.4 > most and len(names) > 4:
        names.pop(int(rng.integers(1, len(names) - 1)))
    return names


def _sections(rng: Rng, meter: MeterKind, names: list[str], *, alike: bool) -> tuple[PlannedSection, ...]:
    materials: dict[str, Material] = {}
    lengths: dict[str, int] = {}
    found: list[PlannedSection] = []
    start, raised = 1, 0
    last_time = {name: index for index, name in enumerate(names)}
    for index, name in enumerate(names):
        again = name in materials
        if not again:
            choices = SHORT_LENGTHS.get(name)
            lengths[name] = int(rng.choice(choices) if choices else rng.choice(LENGTHS, p=LENGTH_SHARES))
            dynamic = str(rng.choice(("mp", "mf") if alike else LOUDNESS[name]))
            plain = name in PLAIN and rng.random() < 0.7
            materials[name] = draw_material(
                rng, meter, name, dynamic, lengths[name], list(materials.values()), plain=plain, alike=alike
            )
        if again and last_time[name] == index and name in ("chorus", "head", "verse") and rng.random() < 0.4:
            raised = int(rng.choice([1, 2, 2, 3, -2, 5]))
        bars = _length_now(rng, lengths[name], again=again)
        found.append(_planned(rng, start, bars, materials[name], raised, again=again))
        start += bars
    return tuple(found)


def _length_now(rng: Rng, usual: int, *, again: bool) -> int:
    """A repeat is now and then longer or shorter."""
    if not again or rng.random() < 0.78:
        return usual
    return max(2, int(usual + rng.choice([1, 2, -1, -2, usual // 2])))


def _planned(rng: Rng, start: int, bars: int, material: Material, transpose: int, *, again: bool) -> PlannedSection:
    players, dynamic = set(material.players), material.dynamic
    if again and rng.random() < 0.5:
        players ^= {str(rng.choice(["keys", "guitar", "pad", "second"]))}
    if again and rng.random() < 0.15 and len(players) > 2:  # a quiet time of something known
        players -= {"bass", "second"}
        dynamic = "p"
    if not players & {"keys", "guitar", "pad"}:
        players |= {"keys"}
    ramp_db = float(rng.choice([0, 0, 0, 0, 0, 5])) if dynamic in ("p", "mp", "mf") else 0.0
    kept = tuple(name for name in ("bass", "keys", "guitar", "pad", "lead", "second") if name in players)
    return PlannedSection(
        start, bars, material.label, material, kept, transpose, dynamic, int(rng.integers(1 << 30)), ramp_db
    )


def _bars(
    rng: Rng, meter: MeterKind, sections: tuple[PlannedSection, ...], ending: str, *, short_share: float
) -> tuple[BarPlan, ...]:
    """Every bar's plan. What belongs to a label comes again at the same place of each of its sections, mostly."""
    habits = {one.name: _habit(rng, meter, one) for one in sections}
    plans: list[BarPlan] = []
    for number, section in enumerate(sections):
        bars = [BarPlan(number, index, meter.beats, meter.sign) for index in range(section.bars)]
        for from_end, plan in habits[section.name]:
            if from_end <= section.bars and rng.random() < 0.85:
                bars[-from_end] = replace(plan, section=number, index=section.bars - from_end)
        if section.bars > 2 and rng.random() < short_share:
            bars[-1] = _short_bar(rng, meter, bars[-1])
        if rng.random() < 0.7 and number + 1 < len(sections):
            bars[-1] = replace(bars[-1], fill=True)
        if section.bars >= 8 and rng.random() < 0.4:
            bars[section.bars // 2 - 1] = replace(bars[section.bars // 2 - 1], fill=True)
        plans += bars
    return _with_ending(plans, meter, ending)


def _habit(rng: Rng, meter: MeterKind, section: PlannedSection) -> list[tuple[int, BarPlan]]:
    """Hits and stops of a label: how many bars from the section's end, and the bar."""
    found: dict[int, BarPlan] = {}
    plain = BarPlan(0, 0, meter.beats, meter.sign)
    draw = rng.random()
    if draw < 0.28:
        found[1] = replace(plain, hits=draw_figure(rng, meter, meter.beats), alone=bool(rng.random() < 0.6))
    elif draw < 0.42:
        found[1] = replace(plain, stop=_stop(rng, meter))
    elif draw < 0.52:
        found[1] = replace(plain, push=True)
    if section.bars >= 4 and rng.random() < 0.22:
        place = int(rng.integers(2, section.bars + 1))
        if rng.random() < 0.7:
            found[place] = replace(plain, hits=draw_figure(rng, meter, meter.beats), alone=bool(rng.random() < 0.6))
        else:
            found[place] = replace(plain, stop=_stop(rng, meter))
    return sorted(found.items())


def _stop(rng: Rng, meter: MeterKind) -> tuple[float, float]:
    """Everybody rests from a pulse to the end of the bar."""
    pulses = meter.beats // meter.pulse
    first = int(rng.integers(1, pulses)) if pulses > 1 else 0
    beat = 1.0 + first * meter.pulse
    return beat, meter.beats + 1.0 - beat


def _short_bar(rng: Rng, meter: MeterKind, bar: BarPlan) -> BarPlan:
    sign = meter.short_sign()
    beats = int(sign.split("/")[0])
    figure = draw_figure(rng, meter, beats) if bar.hits and len(grid_of(meter, beats)) > 2 else ()
    return replace(bar, beats=beats, sign=sign, hits=figure, stop=None, push=False)


def _with_ending(plans: list[BarPlan], meter: MeterKind, ending: str) -> tuple[BarPlan, ...]:
    """The last bar holds the last chord, if there is one, and nothing else."""
    if ending in ("fade", "none"):
        return tuple(plans)
    last = replace(plans[-1], beats=meter.beats, sign=meter.sign, hits=(), stop=None, push=False, fill=False)
    before = replace(plans[-2], stop=None, push=False)
    return (*plans[:-2], before, last)
