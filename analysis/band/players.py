"""How each pitched player turns bars into notes: patterns, voicings, tunes and dynamics."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from analysis.band.harmony import Chord, nearest_pitch, voicing
from analysis.band.parts import Bar, Note, Player, touch

# House choices. Pitches are MIDI's; a tune's cells are places within a beat.
_BASS_LOWEST = 31
LEAD_RANGE = range(57, 80)
_LEAD_MIDDLE = 67
_TUNE_CELLS = ((0.0,), (0.0, 0.5), (0.5,), (), (0.0, 0.75), (0.0, 0.25, 0.5))
_STRUM_S = 0.009  # between neighbouring strings
_LEAVES_OUT = 0.08  # how often a player leaves out a note of the pattern that is not on the bar line
_WALKS = 0.4  # how often the bass steps into the next chord


def _bass(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes = []
    for bar in bars:
        if not bar.plays("bass"):
            continue
        if bar.is_last:
            notes.append(bar.note(0, bar.quarters, _bass_tones(bar.chord)[0], bar.loudness))
            continue
        for order, (at, length, tone) in enumerate(bar.feel.bass):
            if at >= bar.quarters or (at > 0 and rng.random() < _LEAVES_OUT):
                continue
            pitch = _bass_tones(bar.chord_at(at))[tone]
            if order == len(bar.feel.bass) - 1 and bar.feel.pushes_from is None and rng.random() < _WALKS:
                pitch = _step_towards(bar, pitch)
            notes.append(bar.note(at, length, pitch, touch(bar, at, rng)))
    return notes


def _bass_tones(chord: Chord) -> tuple[int, int, int, int]:
    root = nearest_pitch(chord.root, 36)
    root += 12 if root < _BASS_LOWEST else 0
    return root, root + (chord.tones[1] - chord.root) % 12, root + 7, root + 12


def _step_towards(bar: Bar, pitch: int) -> int:
    """A scale step below or above the coming root, on the side that the line comes from."""
    goal = _bass_tones(bar.coming)[0]
    if goal == pitch:
        return pitch
    side = 1 if pitch > goal else -1
    return next(goal + side * step for step in (1, 2, 3) if (goal + side * step) % 12 in bar.key.scale)


def _keys(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    pitches: tuple[int, ...] = ()
    for bar in bars:
        pattern = ((0.0, bar.quarters),) if bar.is_last or bar.label == "intro" else bar.feel.keys
        for at, length in pattern:
            if at >= bar.quarters or (at > 0 and rng.random() < _LEAVES_OUT):
                continue
            chord = bar.chord_at(at)
            pitches = voicing(chord, 53, pitches)
            hard = touch(bar, at, rng)
            low = (nearest_pitch(chord.root, 43),) if at == 0 else ()
            for pitch in low + pitches:
                spread_s = float(rng.uniform(0, 0.004))
                notes.append(bar.note(at, length, pitch, hard * float(rng.uniform(0.88, 1)), after_s=spread_s))
    return notes


def _strings(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    for bar in bars:
        if not bar.plays("strings"):
            continue
        pattern = ((0.0, bar.quarters, -1),) if bar.is_last else bar.feel.strings
        for at, length, tone in pattern:
            if at >= bar.quarters:
                continue
            fretted = _fretted(bar.chord_at(at))
            if tone >= 0:
                picked = (fretted[0], fretted[3], fretted[1] + 12, fretted[2] + 12)
                notes.append(bar.note(at, length, picked[tone], touch(bar, at, rng)))
            elif at == 0 or rng.random() >= _LEAVES_OUT:
                notes += _strum(bar, at, length, fretted, rng)
    return notes


def _fretted(chord: Chord) -> tuple[int, ...]:
    low = nearest_pitch(chord.root, 45)
    return low, low + 7, low + 12, low + 12 + (chord.tones[1] - chord.root) % 12, low + 19


def _strum(bar: Bar, at: float, length: float, fretted: tuple[int, ...], rng: np.random.Generator) -> list[Note]:
    """All strings downwards on the beat; the upper ones, softer, on the way back up."""
    hard, up = touch(bar, at, rng), (at * 2) % 2 == 1
    notes = []
    for order, pitch in enumerate(fretted[:1:-1] if up else fretted):
        spread_s = order * _STRUM_S * float(rng.uniform(0.7, 1.2))
        softer = 0.75 if up else 1 - 0.05 * order
        notes.append(bar.note(at, length, pitch, hard * softer, after_s=spread_s))
    return notes


def _pad(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    pitches: tuple[int, ...] = ()
    for bar in bars:
        ends = [start for start, _ in bar.chords[1:]] + [bar.quarters]
        for (start, chord), end in zip(bar.chords, ends, strict=True):
            pitches = voicing(chord, 57, pitches)
            loud = [bar.loudness * float(rng.uniform(0.85, 1)) for _ in pitches]
            notes += [bar.note(start, end - start, pitch, hard) for pitch, hard in zip(pitches, loud, strict=True)]
    return notes


def _lead(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    """A tune: two one-bar rhythms a section, moving by step, on chord tones where the bar is strong."""
    notes: list[Note] = []
    rhythm_by_label: dict[str, list[list[float]]] = {}
    pitch = _LEAD_MIDDLE
    for bar in bars:
        breathes = bar.index % 8 == 7 and not bar.is_last
        if breathes or not bar.plays("lead"):
            continue
        rhythms = rhythm_by_label.setdefault(bar.label, [_tune_rhythm(bar, rng) for _ in range(2)])
        places = [0.0] if bar.is_last else [at for at in rhythms[bar.index // 2 % 2] if at < bar.quarters]
        # A bar cut short may hold none of the tune's places.
        for place, following in zip(places, [*places[1:], bar.quarters][: len(places)], strict=True):
            strong = place == 0 or place * 2 == bar.quarters
            pitch = _next_pitch(bar, place, pitch, rng, strong=strong)
            length = min(following - place, 2.5) * float(rng.uniform(0.75, 0.97))
            notes.append(bar.note(place, length, pitch, touch(bar, place, rng), sound="aoe"[rng.integers(3)]))
    return notes


def _tune_rhythm(bar: Bar, rng: np.random.Generator) -> list[float]:
    """Where a bar of the tune has notes: a cell for each beat, to the eighth in meters of eighths."""
    in_quarters = bar.meter.lower == 4
    beats = np.arange(0, bar.quarters, 1.0 if in_quarters else 1.5)
    places = [float(beat + cell) for beat in beats for cell in _TUNE_CELLS[rng.integers(len(_TUNE_CELLS))]]
    return sorted({place if in_quarters else round(place * 2) / 2 for place in places} or {0.0})


def _next_pitch(bar: Bar, at: float, pitch: int, rng: np.random.Generator, *, strong: bool) -> int:
    classes = bar.chord_at(at).tones if strong else bar.key.scale
    aim = pitch + float(rng.normal(0, 2.5)) + (_LEAD_MIDDLE - pitch) * 0.15
    return min((p for p in LEAD_RANGE if p % 12 in classes), key=lambda p: abs(p - aim))


def pickup(first: Bar, beats: Fraction) -> list[Note]:
    """Notes that climb into bar one, the first exactly `beats` before it."""
    steps = round(beats * 2) or 1
    length = beats / steps
    scale = [p for p in LEAD_RANGE if p % 12 in first.key.scale]
    top = scale.index(min(scale, key=lambda p: abs(p - _LEAD_MIDDLE)))
    return [
        Note(-beats + step * length, length * Fraction(9, 10), "a", scale[max(top - steps + step, 0)], 0.7)
        for step in range(steps)
    ]


PITCHED_PLAYERS: dict[str, Player] = {"bass": _bass, "keys": _keys, "strings": _strings, "pad": _pad, "lead": _lead}
