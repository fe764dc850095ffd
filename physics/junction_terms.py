"""What the coefficients of all junctions share."""

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray

from .coefficient import Coefficient, make
from .tables import Curve

REFERENCE = "common"
TEE_FROM = np.radians(60.0)  # between this and a right angle C goes straight
BULLHEAD_FROM = np.radians(80.0)
AS_WIDE = 0.95  # a main within 5 % of the common area counts as unchanged
CHOKING = 20.0  # above this coefficient the branch is choking: nobody designs there
IDELCHIK = "Idelchik, Handbook of Hydraulic Resistance, section VII"


def share_of_tee(angle: FloatArray) -> FloatArray:
    """How much of a right angle's coefficient counts: 0 at 60 degrees, 1 at 90."""
    return np.asarray(((angle - TEE_FROM) / (np.pi / 2 - TEE_FROM)).clip(0.0, 1.0))


def share_of_bullhead(angle: FloatArray) -> FloatArray:
    """How much of a bullhead counts against a wye: 0 at 60 degrees, 1 from 80 on."""
    return np.asarray(((angle - TEE_FROM) / (BULLHEAD_FROM - TEE_FROM)).clip(0.0, 1.0))


def joining_factor(q: FloatArray, f: FloatArray) -> FloatArray:
    """Factor A of joining tees and bullheads over q and f.

    Notes
    -----
    The print has 1 to f = 0.35, above that 0.9 (1 - q) to q = 0.4 and 0.55 beyond. It
    is blended over f 0.30 to 0.40 and over q 0.40 to 0.45, so that a sweep has no
    jump: our own choice.

    References
    ----------
    Idelchik, diagrams 7-4 and 7-29; Crane TP-410, 2009.
    """
    late = 0.54 + 0.01 * ((q - 0.40) / 0.05).clip(0.0, 1.0)
    wide = np.where(q <= 0.4, 0.9 * (1.0 - q), late)
    return np.asarray(1.0 + (wide - 1.0) * ((f - 0.30) / 0.10).clip(0.0, 1.0))


def growth_beyond(v: FloatArray, end: float) -> tuple[FloatArray, BoolArray]:
    """Growth with v² beyond the end of a table, and where that is needed."""
    beyond: BoolArray = v > end + 1e-9
    return np.where(beyond, (v / end) ** 2, 1.0), beyond


def from_curve(book: Curve, argument: npt.ArrayLike) -> Coefficient:
    """Coefficient that is read off one published curve."""
    value, bits = book.at(np.atleast_1d(argument))
    return make(
        value,
        bits,
        reference=REFERENCE,
        table=book.name,
        source=book.source,
        confidence=book.confidence,
    )
