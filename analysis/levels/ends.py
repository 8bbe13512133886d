"""How quiet a file gets, and how loud it still is when it ends.

RMS of short pieces, the loudest channel. The quietest piece that is not digital silence is the noise floor: what is
there while nobody plays. A file that ends far over it was cut while it still rang (house choices).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.blocks import Block
from analysis.core.samples import Floats

_PIECE_S = 0.05
# With more digital silence than this, nobody hears the noise between the strokes (house choice).
_GATED_SHARE = 0.2


@dataclass(frozen=True)
class Ends:
    """RMS amplitudes: of the quietest piece, of the file's last, and the one under which a quarter of the pieces lies;
    `offset`: the mean of that quarter, of the channel where it is larger. None without a whole piece of sound."""

    floor: float | None
    last: float | None
    quarter: float | None = None
    offset: float | None = None


class EndsMeter:
    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._frames = round(_PIECE_S * sample_rate_hz)
        self._held = np.zeros((channels, 0), np.float32)
        self._sounding: list[Floats] = []
        self._means: list[Floats] = []
        self._pieces = 0

    def add(self, block: Block) -> None:
        """Take the next block of the file. Its last piece is held: it may be the file's last."""
        joined = np.concatenate([self._held, block.by_channel], axis=1)
        count = joined.shape[1] // self._frames
        levels = _levels(joined[:, : count * self._frames], self._frames)
        self._pieces += count
        self._sounding.append(levels[levels > 0.0])
        self._means.append(_means(joined[:, : count * self._frames], self._frames)[:, levels > 0.0])
        self._held = joined[:, max(0, joined.shape[1] - self._frames) :].copy()

    def finish(self) -> Ends:
        whole = self._held.shape[1] == self._frames
        last = float(_levels(self._held, self._frames)[0]) if whole else None
        sounding = np.concatenate([np.zeros(0, np.float32), *self._sounding])
        if not len(sounding) or self._pieces - len(sounding) > _GATED_SHARE * self._pieces:
            return Ends(None, last)
        quarter = float(np.quantile(sounding, 0.25))
        offsets = np.concatenate(self._means, axis=1)[:, sounding <= quarter].mean(axis=1)
        return Ends(float(sounding.min()), last, quarter, float(offsets[np.abs(offsets).argmax()]))


def _means(rows: Floats, frames: int) -> Floats:
    return np.asarray(rows.reshape(len(rows), -1, frames).mean(axis=2), np.float32)


def _levels(rows: Floats, frames: int) -> Floats:
    """An offset is no sound: each piece is measured around its own mean."""
    power = rows.reshape(len(rows), -1, frames).var(axis=2).max(axis=0)
    return np.asarray(np.sqrt(power), np.float32)
