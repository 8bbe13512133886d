"""The K-weighting of ITU-R BS.1770-5 Annex 1 at any rate, over a stream of blocks.

A recursive filter goes sample by sample, which is slow in Python. Cut into pieces of `_PIECE` samples it becomes matrix
products: what a piece answers by itself, what the four numbers that the filter remembers add to it, and what the piece
leaves in them. The memory is turned so that its squares are the energy still to come: single precision is then enough.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.core.samples import Doubles, Floats

# Samples in a piece (house choice).
_PIECE = 64
# Pieces whose memories are worked out in one product, and groups of pieces again (house choice).
_GROUP = 32
# The shelf begins where low rates end: it is then put below half the rate, where it hardly matters
# (house choice, as a share of the rate).
_HIGHEST_SHELF = 0.45
# Doublings of the time over which the filter's answer is summed up: two million samples, all of it at any rate
# (arithmetic: 2**21).
_DOUBLINGS = 21


def k_weighting(sample_rate_hz: int) -> Doubles:
    """BS.1770-5 Annex 1's two filters as second-order sections for any rate.

    The tables give coefficients for 48 kHz alone; these are the analogue shelf and high-pass behind them, mapped by the
    bilinear transform, which gives the tabled values back at 48 kHz.

    Returns
    -------
    float64 array, shape (2, 6)
        Shelf and high-pass, each b0, b1, b2, a0, a1, a2 with a0 = 1.

    References
    ----------
    ITU-R BS.1770-5, Annex 1, tables 1 and 2.
    """
    # Derived from the tabled coefficients; `tests/analysis/levels/test_k_weighting.py` holds them against the tables.
    shelf_gain_db, shelf_q, shelf_hz = 3.999843853973347, 0.7071752369554196, 1681.974450955533
    pass_q, pass_hz = 0.5003270373238773, 38.13547087602444
    k = math.tan(math.pi * min(shelf_hz / sample_rate_hz, _HIGHEST_SHELF))
    high = 10.0 ** (shelf_gain_db / 20.0)
    band = high**0.4996667741545416
    norm = 1.0 + k / shelf_q + k * k
    shelf = [
        (high + band * k / shelf_q + k * k) / norm,
        2.0 * (k * k - high) / norm,
        (high - band * k / shelf_q + k * k) / norm,
        1.0,
        2.0 * (k * k - 1.0) / norm,
        (1.0 - k / shelf_q + k * k) / norm,
    ]
    k = math.tan(math.pi * pass_hz / sample_rate_hz)
    norm = 1.0 + k / pass_q + k * k
    high_pass = [1.0, -2.0, 1.0, 1.0, 2.0 * (k * k - 1.0) / norm, (1.0 - k / pass_q + k * k) / norm]
    return np.array([shelf, high_pass])


class KWeighting:
    """Weighted samples of a stream, channel by channel."""

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        step, entry, exit_, direct = _state_space(k_weighting(sample_rate_hz))
        powers = _powers(step, _PIECE)
        impulse = [direct, *(float(exit_ @ power @ entry) for power in powers[: _PIECE - 1])]
        # Memories are rows: the matrices stand transposed, to be multiplied from the right.
        self._answer = _toeplitz(np.array(impulse)).astype(np.float32)
        self._left = np.array([power @ entry for power in powers[_PIECE - 1 :: -1]], np.float32)
        self._heard = np.array([exit_ @ power for power in powers[:_PIECE]], np.float32).T.copy()
        self._ahead = [power.T.astype(np.float32) for power in powers]
        by_piece = _powers(powers[_PIECE].T, _GROUP)
        self._in_group, self._into_group = _group_products(by_piece)
        self._in_groups, self._into_groups = _group_products(_powers(by_piece[_GROUP], _GROUP))
        self._memory: Floats = np.zeros((channels, len(step)), np.float32)

    def weighted(self, rows: Floats) -> Floats:
        """Weight the next samples.

        Parameters
        ----------
        rows : float32 array, shape (n_channels, n_frames)
            Not modified.

        Returns
        -------
        float32 array, shape (n_channels, n_frames)
        """
        channels, frames = rows.shape
        short = -frames % (_PIECE * _GROUP**2)
        padded = np.pad(rows, ((0, 0), (0, short))) if short else rows
        pieces = padded.reshape(-1, _PIECE)
        size = self._memory.shape[1]
        memories = self._memories((pieces @ self._left).reshape(channels, -1, _GROUP, _GROUP * size))
        answers = pieces @ self._answer
        answers += memories.reshape(-1, size) @ self._heard
        if short:
            # The stream goes on after `frames`, not after what it was filled up with.
            whole, rest = divmod(frames, _PIECE)
            tail = rows[:, whole * _PIECE :] @ self._left[_PIECE - rest :]
            self._memory = memories[:, whole] @ self._ahead[rest] + tail
        return np.asarray(answers.reshape(channels, -1)[:, :frames])

    def _memories(self, left: Floats) -> Floats:
        """At the start of each piece, shape (channels, pieces, 4): within groups of pieces, then groups of groups."""
        channels, stretches = left.shape[:2]
        size = self._memory.shape[1]
        inside = left @ self._in_group
        starts: Floats = np.matmul(inside[..., -size:].reshape(channels, stretches, -1), self._in_groups)
        for stretch in range(stretches):
            starts[:, stretch] += self._memory @ self._into_groups
            self._memory = starts[:, stretch, -size:]
        groups = starts[..., :-size].reshape(channels, stretches, _GROUP, size)
        memories = inside[..., :-size] + groups @ self._into_group[:, :-size]
        return np.asarray(memories.reshape(channels, -1, size))


def _powers(matrix: Doubles, most: int) -> list[Doubles]:
    powers = [np.eye(len(matrix))]
    for _ in range(most):
        powers.append(powers[-1] @ matrix)
    return powers


def _state_space(sections: Doubles) -> tuple[Doubles, Doubles, Doubles, float]:
    """Two sections in a row as step, entry, exit and direct path of one memory."""
    (step_1, entry_1, exit_1, direct_1), (step_2, entry_2, exit_2, direct_2) = (_section(row) for row in sections)
    step = np.block([[step_1, np.zeros((2, 2))], [np.outer(entry_2, exit_1), step_2]])
    entry = np.concatenate([entry_1, entry_2 * direct_1])
    exit_ = np.concatenate([direct_2 * exit_1, exit_2])
    turn = np.linalg.cholesky(_energy_to_come(step, exit_)).T
    back = np.linalg.inv(turn)
    return turn @ step @ back, turn @ entry, exit_ @ back, direct_1 * direct_2


def _section(coefficients: Doubles) -> tuple[Doubles, Doubles, Doubles, float]:
    b0, b1, b2, _, a1, a2 = coefficients
    return np.array([[-a1, 1.0], [-a2, 0.0]]), np.array([b1 - a1 * b0, b2 - a2 * b0]), np.array([1.0, 0.0]), float(b0)


def _energy_to_come(step: Doubles, exit_: Doubles) -> Doubles:
    """The quadratic form that gives the energy of all that a memory will still put out."""
    energy = np.outer(exit_, exit_)
    for _ in range(_DOUBLINGS):
        energy = energy + step.T @ energy @ step
        step = step @ step
    return energy


def _toeplitz(impulse: Doubles) -> Doubles:
    """Row: the sample that goes in; column: the sample that comes out."""
    late = np.arange(_PIECE) - np.arange(_PIECE)[:, np.newaxis]
    return np.where(late >= 0, impulse[np.maximum(late, 0)], 0.0)


def _group_products(steps: list[Doubles]) -> tuple[Floats, Floats]:
    """From what each piece of a group leaves, and from the memory before it, to the memories before each and after."""
    size = len(steps[0])
    within = np.zeros((_GROUP, size, _GROUP + 1, size))
    for source in range(_GROUP):
        for target in range(source + 1, _GROUP + 1):
            within[source, :, target] = steps[target - source - 1]
    through = np.stack(steps[: _GROUP + 1], axis=1)
    return (
        within.reshape(_GROUP * size, -1).astype(np.float32),
        through.reshape(size, -1).astype(np.float32),
    )
