"""Fitted numbers that are stored by the name of the column they belong to, so that none can be taken for another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.core.samples import Doubles


def values_in_order(named: Mapping[str, float], names: Sequence[str]) -> Doubles:
    """The stored numbers in the order in which the code has its columns.

    Parameters
    ----------
    named : mapping of str to float
        As `by_name` made it.
    names : sequence of str
        The code's columns.

    Returns
    -------
    float64 array, shape (len(names),)

    Raises
    ------
    ValueError
        When the two do not have the same names.
    """
    if wrong := sorted(set(named) ^ set(names)):
        raise ValueError(f"stored and expected columns differ in: {', '.join(wrong)}")
    return np.array([named[name] for name in names], np.float64)


def by_name(names: Sequence[str], values: Doubles, *, digits: int) -> dict[str, float]:
    """Name each column's number for storage.

    Parameters
    ----------
    names : sequence of str
    values : float64 array, shape (len(names),)
    digits : int
        Decimals that are kept.

    Returns
    -------
    dict of str to float

    Raises
    ------
    ValueError
        When there are more or fewer names than values, or a name stands twice.
    """
    named = {name: round(float(value), digits) for name, value in zip(names, values, strict=True)}
    if len(named) != len(names):
        raise ValueError("two columns have the same name")
    return named
