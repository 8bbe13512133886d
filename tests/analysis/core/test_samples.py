import numpy as np
import pytest

from analysis.core.samples import check_samples


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_takes_floating_point_samples_of_any_length(dtype: type) -> None:
    for frames in (0, 1, 100):
        check_samples(np.zeros((frames, 2), dtype), 48_000)


@pytest.mark.parametrize(
    ("samples", "rate_hz", "why"),
    [
        (np.zeros(100), 48_000, "shape"),
        (np.zeros((100, 0)), 48_000, "one channel"),
        (np.zeros((100, 2), np.int16), 48_000, "int16"),
        (np.zeros((100, 2)), 0, "positive"),
        (np.zeros((100, 2)), -1, "positive"),
    ],
    ids=["flat", "no channel", "integers", "no rate", "negative rate"],
)
def test_refuses_what_would_give_a_wrong_answer(samples: np.ndarray, rate_hz: int, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        check_samples(samples, rate_hz)
