"""Shares by which one value gives way to another, so that nothing makes a jump."""

import numpy as np

from elbowroom.layout import FloatArray


def share_between(
    value: FloatArray | float, none: float, whole: float | FloatArray
) -> FloatArray:
    """How much counts: 0 to one value, 1 from another on, straight between.

    Parameters
    ----------
    value
        Any array.
    none, whole
        Where nothing counts, and where all does: either may be the larger one.

    Returns
    -------
    share
        Of the shape of `value`; NaN stays NaN.

    Examples
    --------
    >>> share_between(np.array([0.0, 3.0, 12.0, 15.0]), 15.0, 3.0).tolist()
    [1.0, 1.0, 0.25, 0.0]
    """
    # Else it is -0 at one end where the values fall, which would be printed so.
    return np.clip((value - none) / (whole - none), 0.0, 1.0) + 0.0
