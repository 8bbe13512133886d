"""A click compared with the music: does it last as long, and does it run at the same tempo?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.bars.layout import music_span
from analysis.bars.measures import with_music
from analysis.bars.statements import Statements
from analysis.core.samples import Doubles
from analysis.given_grid.click_track import ClickTrack
from analysis.tempo.evidence import Evidence

# Fewer attacks than this within the click say nothing (house choice).
_LEAST_ATTACKS = 16
# How far the music's tempo is looked for around the click's, in steps of a turn over the whole song
# (house choices).
_REACH, _STEPS_A_TURN = 0.015, 8
# Music that follows the click gathers on its halves this clearly, and nowhere near it clearly better. Elsewhere
# begins where the two drift this far apart over the song (house choices).
_LEAST_COHERENCE, _MOST_GAIN = 0.25, 1.4
_LEAST_APART_S = 0.03
# Ratios at which the music's tempo may be another level of the click's; it is one when it is this near. Two tempi
# differ from this many BPM on, and only where the music's own is this sure (house choices).
_LEVELS = (1.0, 2.0, 0.5, 3.0, 1 / 3, 1.5, 2 / 3, 4 / 3, 0.75, 4.0, 0.25)
_SAME_LEVEL = 0.03
_LEAST_APART_BPM = 0.02
_LEAST_CONFIDENCE = 0.5


@dataclass(frozen=True)
class ClickFit:
    """First and last sound of click and music, the click's bar; the music's own tempo where it is not the click's,
    counted at the click's level."""

    click_from_s: float
    click_to_s: float
    music_from_s: float
    music_to_s: float
    bar_s: float
    click_bpm: float
    music_bpm: float | None


def compare_click(click: ClickTrack, music: Evidence, statements: Statements, sample_rate_hz: int) -> ClickFit:
    """Where click and music begin and end, and whether they run at one tempo.

    Parameters
    ----------
    click : ClickTrack
    music : Evidence
        In the same time as the click.
    statements : Statements
        What people state about the song.
    sample_rate_hz : int
    """
    beats_s = click.beats_s
    beat_s = float(np.median(np.diff(beats_s)))
    click_bpm = 60 / beat_s if click.period_s is None else 60 / (click.period_s * click.clicks_per_beat)
    from_s, to_s = music_span(music)
    return ClickFit(
        click_from_s=float(click.clicks_s[0]),
        click_to_s=float(click.clicks_s[-1]),
        music_from_s=from_s,
        music_to_s=to_s,
        bar_s=beat_s * (click.beats_per_bar or 4),
        click_bpm=click_bpm,
        music_bpm=_own_bpm(click, click_bpm, music, statements, sample_rate_hz),
    )


def _own_bpm(
    click: ClickTrack, click_bpm: float, music: Evidence, statements: Statements, sample_rate_hz: int
) -> float | None:
    """The music's tempo when it is steady and surely another than the click's."""
    if click.period_s is None or _follows(music, click.beats_s):
        return None
    own = with_music(music, statements, sample_rate_hz).tempo
    if own.kind != "constant" or own.bpm is None or own.confidence < _LEAST_CONFIDENCE:
        return None
    leveled = min((own.bpm / level for level in _LEVELS), key=lambda bpm: abs(bpm / click_bpm - 1))
    bpm = leveled if abs(leveled / click_bpm - 1) < _SAME_LEVEL else own.bpm
    width_bpm = (own.bpm_high or own.bpm) - (own.bpm_low or own.bpm)
    return bpm if abs(bpm - click_bpm) > max(_LEAST_APART_BPM, width_bpm) else None


def _follows(music: Evidence, beats_s: Doubles) -> bool:
    """Whether the attacks gather on the click's beats, and no better on a slightly faster or slower pulse."""
    inside = ~music.onset_is_bass & (music.onset_s > beats_s[0]) & (music.onset_s < beats_s[-1])
    if inside.sum() < _LEAST_ATTACKS:
        return True  # too few to say
    halves = 2 * np.interp(music.onset_s[inside], beats_s, np.arange(len(beats_s)))
    weights = music.onset_weight[inside]
    steps = np.arange(
        -int(_REACH * 2 * len(beats_s) * _STEPS_A_TURN), int(_REACH * 2 * len(beats_s) * _STEPS_A_TURN) + 1
    )
    apart = steps / (2 * len(beats_s) * _STEPS_A_TURN)
    gathered = np.abs(np.exp(2j * np.pi * np.multiply.outer(1 + apart, halves)) @ weights) / weights.sum()
    here, best = float(gathered[len(steps) // 2]), int(gathered.argmax())
    elsewhere_s = abs(float(apart[best])) * float(beats_s[-1] - beats_s[0])
    return here > _LEAST_COHERENCE and (elsewhere_s < _LEAST_APART_S or gathered[best] < _MOST_GAIN * here)
