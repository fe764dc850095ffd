"""Ducts in their true shape: rings of section along centrelines, in arrays."""

from dataclasses import dataclass

from .sections import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Tubes:
    """Duct surfaces as rings: m rings along t tubes.

    A tube is a sequence of two or more rings; the piece between two rings that
    follow each other in one tube belongs to one element of the analysis.

    Parameters
    ----------
    centre
        Centre of each ring, m, shape (m, 3).
    across, upright
        Unit vectors along the width and along the height of each ring, (m, 3).
    width, height
        Sides of each ring, m, shape (m,).
    shape
        `Shape` code of each ring, shape (m,).
    offsets
        Where each tube begins among the rings, shape (t + 1,).
    element
        For each ring, the element that the piece which begins here belongs to,
        shape (m,); the value at the last ring of a tube is not used.
    """

    centre: FloatArray
    across: FloatArray
    upright: FloatArray
    width: FloatArray
    height: FloatArray
    shape: IntArray
    offsets: IntArray
    element: IntArray
