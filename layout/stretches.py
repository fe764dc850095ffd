"""Stretches of equal values in an array that is in order."""

import numpy as np
import numpy.typing as npt

from .sections import IntArray


def is_first(values: IntArray) -> npt.NDArray[np.bool_]:
    """Whether each value begins a stretch of equal ones, shape (n,).

    Examples
    --------
    >>> is_first(np.array([3, 3, 5, 3])).tolist()
    [True, False, True, True]
    """
    first = np.ones(len(values), dtype=bool)
    np.not_equal(values[1:], values[:-1], out=first[1:])
    return first
