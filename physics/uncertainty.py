"""How well a loss is known: draws in which each table is wrong as a whole.

What a table gets wrong it gets wrong for every fitting that is taken from it; so the
errors of a table are drawn once and shared, within a layout and between layouts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from elbowroom.layout import FloatArray, sum_from_root

from .analysis import Analysis
from .coefficient import AS_DECLARED, DECLARED, Credit
from .friction import COLEBROOK
from .tables import rows

DRAWS = 20_000
_SEED = 20_261_125  # fixed, so that the same input gives the same bytes
_READ = ("cross-checked", DECLARED, "seen")  # classes of what nobody had to recall
_NINE_OF_TEN = 1.6448536269514722  # standard deviations, NIST e-Handbook 1.3.6.7.1
_MOST_DRAWN = 256  # paths that are drawn one by one
_MOST_PATHS = 64  # of many terminals only those near the critical one can become it


@dataclass(frozen=True, slots=True)
class Band:
    """Range that holds nine draws of ten, Pa."""

    low: float
    high: float


@cache
def relative_errors() -> dict[str, float]:
    """Relative standard error of each class, and of friction."""
    return {
        row["confidence"]: float(row["relative_error"]) for row in rows("uncertainty")
    }


def error_of(credit: Credit) -> float:
    """Relative standard error of what is credited so; declared losses have none."""
    if credit.table == AS_DECLARED.table:
        return 0.0
    errors = relative_errors()
    if credit.first_table != COLEBROOK.table:
        return errors[credit.confidence]
    # Friction goes by a small power of the roughness, so by the doublings of its range.
    spread = errors["friction"] * credit.span
    recalled = 0.0 if credit.confidence in _READ else errors[credit.confidence]
    return max(spread, recalled)


def critical_draws(*analyses: Analysis, draws: int = DRAWS) -> FloatArray:
    """Loss of each layout's critical path in many draws of the tables' errors.

    Parameters
    ----------
    analyses
        One layout or more.
    draws
        How many draws.

    Returns
    -------
    loss
        Pa, shape (analyses, draws): in every draw the largest over the paths. Errors
        are lognormal with the median at the nominal loss, drawn once a table.
    """
    factor, place = _factors(analyses, draws)
    out = np.empty((len(analyses), draws))
    for row, analysis in enumerate(analyses):
        near = np.argsort(-analysis.path_loss)[:_MOST_PATHS]
        shares = np.stack([_by_table(analysis, int(path), place) for path in near])
        out[row] = (shares @ factor).max(axis=0)
    return out


_Print = tuple[str, float]  # a table, and how wrong what was taken from it may be


def _print(credit: Credit) -> _Print:
    return credit.first_table, error_of(credit)


def _factors(
    analyses: Sequence[Analysis], draws: int
) -> tuple[FloatArray, dict[_Print, int]]:
    """Factor on each print in each draw, shape (prints, draws), and their rows.

    What stands in for another fitting goes the same way as its table, but farther.
    """
    prints = sorted({_print(c) for a in analyses for c in a.elements.credits})
    tables = sorted({table for table, _ in prints})
    random = np.random.default_rng(_SEED)
    normal = random.standard_normal((len(tables), draws))
    drawn = normal[[tables.index(table) for table, _ in prints]]
    error = np.array([error for _, error in prints])
    place = {found: number for number, found in enumerate(prints)}
    return np.exp(drawn * error[:, None]), place


def _by_table(
    analysis: Analysis, terminal: int, place: dict[_Print, int]
) -> FloatArray:
    """Loss on a path by print, Pa."""
    elements = analysis.elements
    rows_ = analysis.path(terminal)
    column = np.array([place[_print(credit)] for credit in elements.credits])
    of = column[elements.credit[rows_]]
    return np.bincount(of, elements.loss[rows_], len(place)).astype(np.float64)


def critical_band(analysis: Analysis) -> Band:
    """Range of the critical loss that holds nine draws of ten.

    In each draw the largest over all paths: no path's own range (see `path_bands`).
    """
    low, high = np.quantile(critical_draws(analysis)[0], (0.05, 0.95))
    return Band(float(low), float(high))


def element_bands(analysis: Analysis) -> FloatArray:
    """Range of each element's loss that holds nine draws of ten, Pa, shape (n, 2).

    The error of one table is lognormal with the median at the nominal loss.
    """
    elements = analysis.elements
    error = np.array([error_of(credit) for credit in elements.credits])
    spread = np.exp(_NINE_OF_TEN * error[elements.credit])
    ends = np.stack([elements.loss / spread, elements.loss * spread], axis=1)
    return np.sort(ends, axis=1)  # a main that regains has a negative loss


def path_bands(analysis: Analysis) -> FloatArray:
    """Range of each path's loss that holds nine draws of ten, Pa, shape (t, 2).

    Errors are shared by all elements of a table, as in `critical_draws`. Of more than
    256 paths the range is that of a lognormal with the same variance to first order.
    """
    count = len(analysis.path_loss)
    if count > _MOST_DRAWN:
        return first_order_bands(analysis)
    factor, place = _factors((analysis,), DRAWS)
    return np.array(
        [
            np.quantile(_by_table(analysis, path, place) @ factor, (0.05, 0.95))
            for path in range(count)
        ]
    )


def first_order_bands(analysis: Analysis) -> FloatArray:
    """Ranges of all paths at once, table by table down the tree."""
    graph, elements = analysis.graph, analysis.elements
    parent, ends = graph.ducts.parent, graph.terminals.duct
    tables = np.array([credit.first_table for credit in elements.credits])
    error = np.array([error_of(credit) for credit in elements.credits])
    wrong = elements.loss * error[elements.credit]
    variance = np.zeros(len(ends))
    for table in np.unique(tables).tolist():
        mine = (tables == table)[elements.credit]
        own = np.bincount(elements.duct[mine], wrong[mine], len(parent))
        variance += sum_from_root(parent, own.astype(float))[ends] ** 2
    loss = analysis.path_loss
    spread = np.exp(_NINE_OF_TEN * np.sqrt(variance) / np.abs(loss))
    return np.sort(np.stack([loss / spread, loss * spread], axis=1), axis=1)


def share_less(one: Analysis, other: Analysis) -> float:
    """Share of draws in which one layout's critical path loses less than another's."""
    first, second = critical_draws(one, other)
    return float((first < second).mean())
