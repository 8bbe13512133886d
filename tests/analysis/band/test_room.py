import numpy as np
import pytest

from analysis.band.room import BEFORE_S, BLOCK, TAIL_S, add_hiss, add_room, drive


def impulse(frames: int = 120_000, at: int = 100) -> np.ndarray[tuple[int, int], np.dtype[np.float32]]:
    sides = np.zeros((2, frames), np.float32)
    sides[:, at] = 1
    return sides


def test_the_room_answers_after_a_gap_and_dies_away() -> None:
    sides = impulse()
    add_room(sides, 48_000, wet=0.5)
    gap, end = int(BEFORE_S * 48_000), int(TAIL_S * 48_000)

    assert sides[0, 100] == 1
    assert np.abs(sides[:, 101 : 100 + gap]).max() < 1e-6
    assert np.abs(sides[:, 100 + end + 2 :]).max() < 1e-6
    # The tail's energy is 1 by construction, so half of it has RMS energy 0.5 squared.
    assert (sides[0, 101:] ** 2).sum() == pytest.approx(0.25, rel=0.01)
    assert not np.allclose(sides[0], sides[1])


def test_blocks_join_without_a_seam() -> None:
    """The same sound gives the same answer wherever it falls in the blocks."""
    early, late = impulse(), impulse(at=100 + BLOCK // 2 + 77)
    add_room(early, 48_000, wet=1)
    add_room(late, 48_000, wet=1)

    shift = BLOCK // 2 + 77
    assert np.abs(late[:, shift:] - early[:, : early.shape[1] - shift]).max() < 1e-6


def test_drive_makes_soft_and_loud_nearly_alike_and_keeps_the_start() -> None:
    time = np.arange(48_000) / 48_000
    quiet = (0.1 * np.sin(2 * np.pi * 400 * time) * (time > 0.5))[None, :].astype(np.float32)
    loud = 4 * quiet
    drive(quiet, 48_000)
    drive(loud, 48_000)

    assert np.abs(loud).max() < 1.6 * np.abs(quiet).max()
    assert not quiet[:, :24_000].any()
    assert np.abs(quiet[:, 24_000:24_100]).max() > 0.1 * np.abs(quiet).max()


def test_hiss_has_its_level() -> None:
    sides = np.zeros((2, 480_000), np.float32)
    add_hiss(sides, -60.0, seed=1)

    assert 20 * np.log10(np.sqrt(np.mean(sides**2, axis=1))) == pytest.approx([-60, -60], abs=0.05)
    assert abs(float(np.mean(sides[0] * sides[1]))) < 0.01 * float(np.mean(sides[0] ** 2))
