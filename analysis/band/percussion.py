"""What the drums and the click play: grooves with fills, the sticks that count in, and the click."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from analysis.band.parts import Bar, Note, touch
from analysis.maps.tempo_map import MeterSign

# House choices.
_CRASH_SECTIONS = {"chorus", "solo", "bridge"}
_FILL_PIECES = ("snare", "snare", "tom-high", "tom-low")
_EXTRA_KICK = 0.15  # how often a bar has a kick more, on an eighth that has none
_SHORT = Fraction(1, 4)


def drums(bars: list[Bar], rng: np.random.Generator) -> list[Note]:
    notes: list[Note] = []
    for bar in bars:
        if bar.is_last:
            notes += [bar.note(0, 4, 0, 0.9, sound="crash"), bar.note(0, 1, 0, 0.9, sound="kick")]
            continue
        if bar.index == 0 and bar.label in _CRASH_SECTIONS:
            notes.append(bar.note(0, 4, 0, 0.9, sound="crash"))
        fill_from = bar.quarters - 1 if bar.index == bar.length - 1 else bar.quarters
        for piece, places in bar.feel.drums.items():
            if bar.label == "intro" and piece in ("kick", "snare"):
                continue
            notes += [_stroke(bar, piece, at, rng) for at in places if at < fill_from]
        if bar.label != "intro" and rng.random() < _EXTRA_KICK:
            at = float(rng.integers(1, max(2, int(fill_from * 2)))) / 2
            notes += [] if at in bar.feel.drums.get("kick", ()) else [_stroke(bar, "kick", at, rng)]
        notes += [
            bar.note(fill_from + order / 4, 0.5, 0, bar.loudness * float(rng.uniform(0.8, 1)), sound=piece)
            for order, piece in enumerate(_FILL_PIECES if fill_from < bar.quarters else ())
        ]
    return notes


def _stroke(bar: Bar, piece: str, at: float, rng: np.random.Generator) -> Note:
    hard = touch(bar, at, rng)
    if piece == "ghost":
        return bar.note(at, 0.5, 0, hard * 0.3, sound="snare")
    if piece in ("hat", "ride"):
        hard *= 0.85 if at % 1 == 0 else 0.6
    return bar.note(at, 0.5, 0, hard, sound=piece)


def stick_count(meter: MeterSign, bars: int) -> list[Note]:
    return [Note(Fraction(-beat), _SHORT, "stick", 0, 0.8) for beat in range(bars * meter.beats_per_bar, 0, -1)]


def click(bars: list[Bar], count_in_bars: int, *, sound: str, accented: bool) -> list[Note]:
    """One click a felt beat, count-in included, the first of each bar accented; exact, never human."""
    beats = bars[0].meter.beats_per_bar
    counted = [(beat, beat % beats == 0) for beat in range(-count_in_bars * beats, 0)]
    played = [(bar.start_beat + beat, beat == 0) for bar in bars for beat in range(bar.meter.beats_per_bar)]
    return [
        Note(Fraction(beat), _SHORT, f"{sound}-accent" if is_first and accented else f"{sound}-beat", 0, 1.0)
        for beat, is_first in counted + played
    ]
