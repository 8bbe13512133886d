"""What every measuring function expects of its samples, and the names of the array types that the engine uses."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

# Shape (n_frames, n_channels), full scale 1.0; single or double precision, as the decoder gives them.
Samples = NDArray[np.floating[Any]]
Floats = NDArray[np.float32]
Doubles = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]


def check_samples(samples: Samples, sample_rate_hz: int) -> None:
    """Refuse what would give a wrong answer without an error.

    Parameters
    ----------
    samples : float array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    sample_rate_hz : int

    Raises
    ------
    ValueError
        For an array that is not 2-D, has no channel or is not floating point, and for a rate that is not positive.
    """
    if samples.ndim != 2:
        raise ValueError(f"samples must have shape (n_frames, n_channels), not {samples.shape}")
    if samples.shape[1] < 1:
        raise ValueError("samples must have at least one channel")
    if not np.issubdtype(samples.dtype, np.floating):
        raise ValueError(f"samples must be floating point with full scale 1.0, not {samples.dtype}")
    if sample_rate_hz <= 0:
        raise ValueError(f"sample_rate_hz must be positive, not {sample_rate_hz}")
