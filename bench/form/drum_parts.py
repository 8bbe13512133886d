"""What the drummer plays in a bar: the groove of its section with small changes, and fills."""

from __future__ import annotations

import numpy as np

from bench.form.arrangements import Arrangement, BarPlan, PlannedSection
from bench.form.materials import Rng, grid_of

DrumNote = tuple[float, float, str]  # beat from 1, dB more than the section, sound
FILL_SOUNDS = ("snare", "tom1", "tom2", "tom3")


def drum_notes(song: Arrangement, section: PlannedSection, bar: BarPlan, rng: Rng) -> list[DrumNote]:
    """The groove; one bar in six has a stroke more or less; a fill takes the bar's second half."""
    groove = section.material.groove
    found: list[DrumNote] = [(beat, 0.0, "kick") for beat in groove.kick]
    found += [(beat, 1.0, "snare") for beat in groove.snare]
    found += [(beat, -8.0 + 2.0 * (beat % 1 == 0), groove.cymbal) for beat in groove.hat]
    if rng.random() < 1 / 6:
        grid = grid_of(song.meter)
        found.append((float(grid[rng.integers(len(grid))]), -3.0, str(rng.choice(["kick", "snare"]))))
    if bar.index == 0 and bar.section and rng.random() < 0.6:
        found.append((1.0, 0.0, "crash"))
    found = [note for note in found if note[0] < bar.beats + 1]
    if bar.fill and not bar.hits and not bar.stop:
        found = with_fill(song, bar, found, rng)
    return found


def with_fill(song: Arrangement, bar: BarPlan, notes: list[DrumNote], rng: Rng) -> list[DrumNote]:
    """Strokes over snare and toms instead of the groove, from the bar's middle or its last pulse to its end."""
    start = 1 + (bar.beats // 2 if rng.random() < 0.6 else max(0, bar.beats - song.meter.pulse))
    step = song.meter.step if song.meter.step != 0.25 else float(rng.choice([0.25, 0.5]))
    beats = np.arange(start, bar.beats + 1 - 1e-6, step)
    kept = [note for note in notes if note[0] < start]
    sounds = sorted(int(value) for value in rng.integers(0, len(FILL_SOUNDS), len(beats)))
    played = [beat for beat in beats if beat == start or rng.random() < 0.85]
    return kept + [(float(beat), 0.0, FILL_SOUNDS[which]) for beat, which in zip(played, sounds, strict=False)]
