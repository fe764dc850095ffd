"""What recurs in arrays: sums along the ways of a tree, stretches of equal values.

The sums go by pointer doubling, in a few passes over whole arrays: in every pass each
row takes in what its farthest ancestor so far has gathered, and looks twice as far; a
way of a thousand ducts takes ten passes.
"""

import numpy as np

from .sections import BoolArray, FloatArray, IntArray

_NO_TREE = "the rows before each lead round to where they began: they are no tree"


def sum_from_root(parent: IntArray, own: FloatArray) -> FloatArray:
    """Sum of a quantity over each row and all its ancestors.

    Parameters
    ----------
    parent
        Row before each; negative where there is none, shape (n,).
    own
        What each row adds, shape (n,), or (m, n) for m quantities.

    Returns
    -------
    total
        In the shape of `own`.

    Raises
    ------
    ValueError
        If a row is among its own ancestors.

    Examples
    --------
    >>> sum_from_root(np.array([-1, 0, 1, 0]), np.array([1.0, 2.0, 3.0, 4.0]))
    array([1., 3., 6., 5.])
    """
    count = len(parent)
    total = np.zeros((*own.shape[:-1], count + 1))  # the last: 'no ancestor'
    total[..., :count] = own
    jump = _ancestors(parent)
    rounds = count.bit_length()  # each looks twice as far as the one before
    while jump.min() < count:
        if rounds == 0:
            raise ValueError(_NO_TREE)
        total += total.take(jump, axis=-1)
        jump = jump.take(jump)
        rounds -= 1
    return total[..., :count]


def sum_of_subtree(parent: IntArray, own: FloatArray) -> FloatArray:
    """Sum of a quantity over each row and all its descendants.

    Parameters and what is raised are those of `sum_from_root`.

    Examples
    --------
    >>> sum_of_subtree(np.array([-1, 0, 1, 0]), np.array([1.0, 2.0, 3.0, 4.0]))
    array([10.,  5.,  3.,  4.])
    """
    count = len(parent)
    total = np.zeros(count + 1)
    total[:count] = own
    jump = _ancestors(parent)
    rounds = count.bit_length()
    while jump.min() < count:
        if rounds == 0:
            raise ValueError(_NO_TREE)
        total += np.bincount(jump, total, minlength=count + 1)
        total[count] = 0.0
        jump = jump.take(jump)
        rounds -= 1
    return total[:count]


def is_first(values: IntArray) -> BoolArray:
    """Whether each value begins a stretch of equal ones, shape (n,).

    Examples
    --------
    >>> is_first(np.array([3, 3, 5, 3])).tolist()
    [True, False, True, True]
    """
    first = np.ones(len(values), dtype=bool)
    np.not_equal(values[1:], values[:-1], out=first[1:])
    return first


def _ancestors(parent: IntArray) -> IntArray:
    """Parents, with a last row that stands for 'none'."""
    count = len(parent)
    jump = np.full(count + 1, count)
    np.copyto(jump[:count], parent, where=parent >= 0)
    return jump
