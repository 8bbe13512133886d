"""The form: where the song's sections begin, by bars, which of them are alike, how sure that is, and how loud each is.

Each bar line gets the odds that a section begins there, from evidence of several kinds (`borders.py`); one decision is
made over the whole song (`division.py`); then sections are laid side by side (`letters.py`). A draft for the chart.
docs/form.md says how often it is right.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.core.linear_model import LinearModel
from analysis.core.reports import Section
from analysis.core.samples import Doubles
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.bar_rows import bar_rows
from analysis.form.borders import border_numbers
from analysis.form.division import BORDER_BONUS, divide
from analysis.form.dynamics import dynamics_of
from analysis.form.letters import group_alike, letter, pair_numbers
from analysis.form.likeness import Likeness, likeness
from analysis.form.weights import form_models
from analysis.tempo.evidence import Evidence

# The least that has a form, and more than any song has: every bar is compared with every other (house choices).
_LEAST_BARS, MOST_BARS = 4, 1_500
_LEVEL_FRAMES = 10  # energy frames of 1 ms that are one frame of a file's level
_DECIMALS = 3


def find_sections(music: Evidence, files: Sequence[Features], clock: BarClock) -> tuple[Section, ...]:
    """Sections from bar one on.

    Parameters
    ----------
    music : Evidence
        The files' pooled evidence, on the clock's time.
    files : sequence of Features
        Of each file of the music.
    clock : BarClock

    Returns
    -------
    tuple of Section
        Without gaps, in order of time. Empty for a few bars, which have no form.
    """
    if not _LEAST_BARS <= clock.bars <= MOST_BARS:
        return ()
    rows = bar_rows(music, [file_level(features) for features in files], clock)
    alike = likeness(rows)
    models = form_models()
    log_odds = models.borders.log_odds(border_numbers(rows, alike))
    sections = divide(log_odds)
    groups = group_alike(pair_odds(models.pairs, alike, sections))
    dynamics = dynamics_of(rows.loudness_db, sections)
    sure = _confidences(log_odds, sections)
    return tuple(
        Section(bars.start + 1, len(bars), letter(group), confidence, dynamic)
        for bars, group, confidence, dynamic in zip(sections, groups, sure, dynamics, strict=True)
    )


def file_level(features: Features) -> tuple[Doubles, Doubles]:
    """Seconds and mean square of a file, frame by frame."""
    frames = len(features.energy_1ms) // _LEVEL_FRAMES
    power = features.energy_1ms[: frames * _LEVEL_FRAMES].reshape(frames, _LEVEL_FRAMES).mean(axis=1)
    return np.arange(frames) * _LEVEL_FRAMES / features.energy_rate_hz, power.astype(np.float64)


def pair_odds(model: LinearModel, alike: Likeness, sections: Sequence[range]) -> Doubles:
    """The log odds that two sections are alike, for each two of them: (n_sections, n_sections)."""
    count = len(sections)
    odds = np.zeros((count, count))
    for one in range(count):
        for two in range(one + 1, count):
            numbers = pair_numbers(alike, sections[one], sections[two])
            odds[one, two] = odds[two, one] = float(model.log_odds(numbers[None, :])[0])
    return odds


def _confidences(log_odds: Doubles, sections: Sequence[range]) -> list[float]:
    """How likely a section begins and ends where it does: its less likely border; the song's ends are sure."""
    begins = np.concatenate([[np.inf], log_odds + BORDER_BONUS, [np.inf]])
    least = [float(min(begins[section.start], begins[section.stop])) for section in sections]
    return [round(1 / (1 + float(np.exp(-min(odds, 30.0)))), _DECIMALS) for odds in least]
