"""From pooled evidence to the readings of a song and their probabilities."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.bars.beat_table import prepare
from analysis.bars.readings import Reading, readings_of
from analysis.bars.statements import Statements
from analysis.bars.threes import three_weights
from analysis.bars.weighing import fitted_weights
from analysis.core.samples import Doubles
from analysis.tempo.evidence import Evidence
from analysis.tempo.grid import GridFit, fit_grid
from analysis.tempo.pulse import candidate_beats_hz, onset_curve, spectrum_of

# Tempi within this share are one; bar lines this near are the same, as beat trackers are usually judged (MIREX: 70 ms).
SAME_TEMPO = 0.006
_SAME_BAR_S = 0.07


@dataclass(frozen=True)
class Ranking:
    """All readings with their probabilities, the likeliest first, and the grids they stand on.

    Attributes
    ----------
    readings : tuple of Reading
    probability : float64 array, shape (len(readings),)
        Falling. Adds up to 1, unless readings were ruled out.
    fits : tuple of GridFit
        Looked up by `Reading.fit`.
    share_of_bars : float or None
        Where odd bars were found, how sure the bar lines are once beat and meter are.
    odd_price : float or None
        What an odd bar costs, in log odds, where the whole song will be asked whether to believe it.
    """

    readings: tuple[Reading, ...]
    probability: Doubles
    fits: tuple[GridFit, ...]
    share_of_bars: float | None = None
    odd_price: float | None = None

    @property
    def best(self) -> Reading:
        return self.readings[0]

    def share(self, holds: Callable[[Reading], bool]) -> float:
        """Probability that what `holds` says is so."""
        return float(sum(p for reading, p in zip(self.readings, self.probability, strict=True) if holds(reading)))

    @property
    def tempo_confidence(self) -> float:
        return self.share(self.has_best_tempo)

    @property
    def meter_confidence(self) -> float:
        return self.share(lambda other: self.has_best_tempo(other) and other.meter == self.best.meter)

    @property
    def bar_confidence(self) -> float:
        if self.share_of_bars is not None:
            return self.meter_confidence * self.share_of_bars
        return self.share(self.has_best_bars)

    def without_best_tempo(self) -> Ranking | None:
        """What is left when the best tempo is ruled out; the probabilities stay what they were."""
        rest = [index for index, reading in enumerate(self.readings) if not self.has_best_tempo(reading)]
        if not rest:
            return None
        return replace(self, readings=tuple(self.readings[index] for index in rest), probability=self.probability[rest])

    def has_best_tempo(self, other: Reading) -> bool:
        return abs(other.period_s / self.best.period_s - 1) < SAME_TEMPO

    def has_best_bars(self, other: Reading) -> bool:
        return same_bars(other, self.best)


def same_bars(other: Reading, best: Reading) -> bool:
    """Whether both readings draw the same bar lines."""
    if other.meter != best.meter or abs(other.period_s / best.period_s - 1) >= SAME_TEMPO:
        return False
    bar_s = best.period_s * best.meter.beats
    apart = ((other.bar_s - best.bar_s) / bar_s + 0.5) % 1 - 0.5
    return abs(apart) * bar_s < _SAME_BAR_S


def rank_readings(evidence: Evidence, statements: Statements) -> Ranking | None:
    """Every reading worth naming, on every grid that the onsets suggest.

    Parameters
    ----------
    evidence : Evidence
        On a clock on which the tempo is steady.
    statements : Statements
        What people state about the song: it weighs, and never overrides.

    Returns
    -------
    Ranking or None
        None when the sound has no pulse.
    """
    curve = onset_curve(evidence)
    if len(curve) < 2:
        return None
    beats_hz = candidate_beats_hz(spectrum_of(curve))
    fits = tuple(fit for fit in (fit_grid(evidence, 1 / hz) for hz in beats_hz) if fit)
    return _weighed(evidence, fits, statements)


def rank_readings_on(evidence: Evidence, fit: GridFit, statements: Statements) -> Ranking | None:
    """The readings on one given grid: which of its beats begins the bar.

    Parameters
    ----------
    evidence : Evidence
        On a clock on which the tempo is steady.
    fit : GridFit
        On the same clock.
    statements : Statements

    Returns
    -------
    Ranking or None
        None when the grid has fewer than five beats.
    """
    return _weighed(evidence, (fit,), statements)


def _weighed(evidence: Evidence, fits: tuple[GridFit, ...], statements: Statements) -> Ranking | None:
    readings, rows = readings_of(prepare(evidence), fits)
    if not readings:
        return None
    heard = three_weights().second_look(rows, fitted_weights().probabilities(rows))
    probability = heard * np.array([statements.weight(item) for item in readings])
    probability /= probability.sum()
    order = np.argsort(-probability)
    likeliest = tuple(readings[index] for index in order)
    return Ranking(likeliest, probability[order], fits)
