"""Elbows that stand close together: their plain sum beside what the pair loses.

The plain sum counts unless the schedule or an option asks for the pair's value: smooth
pairs lose less than their sum, mitred ones more, and most of the figures are recalled.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Shape,
    sections,
)

from .coefficient import Coefficient, Credit, Note, make
from .elbows_round import standing_in
from .elements import DuctState, Elements, Kind
from .interaction import mitred_pair, mitred_u_pair, offset_30, s_pair
from .losses import SAME_RADIUS

_SAME = np.radians(3.0)  # angles and planes nearer than this are alike
_CLOSE = 5.0  # hydraulic diameters within which a pair without a table is remarked on
_FAR = 40.0  # from here on no pair is felt
_SMOOTH = (ElbowConstruction.SMOOTH, ElbowConstruction.SEGMENTED)


@dataclass(frozen=True, slots=True)
class ClosePair:
    """Two elbows of one section with straight duct between them.

    Parameters
    ----------
    first, second
        Rows of the graph's bends.
    arrangement
        'S', 'U' or 'twisted': the second turns back, on, or out of the plane.
    spacing
        Straight length between their tangents over the hydraulic diameter.
    plain
        Sum of the two losses, Pa.
    together
        Loss of the pair, Pa; None where no table covers it.
    table, source, confidence
        Of the pair's loss; empty where there is none.
    notes
        `Note` bits of it, or why there is none.
    """

    first: int
    second: int
    arrangement: str
    spacing: float
    plain: float
    together: float | None
    table: str = ""
    source: str = ""
    confidence: str = ""
    notes: int = 0


def close_pairs(
    graph: DuctGraph, state: DuctState, elements: Elements
) -> list[ClosePair]:
    """Find the elbows that feel each other.

    Parameters
    ----------
    graph, state, elements
        The graph, the air in its ducts, and what each element spends alone.

    Returns
    -------
    pairs
        In walking order; no elbow is in two of them: the two that stand nearer count,
        of equal distances the ones upstream. A pair that no table covers is given when
        it stands within 5 diameters.
    """
    bends, ducts = graph.bends, graph.ducts
    of_duct = np.full(len(ducts.parent), -1)
    of_duct[bends.duct] = np.arange(len(bends.duct))
    before = of_duct[graph.bend_duct]
    changes = np.isin(bends.duct, graph.transitions.duct)
    second = np.flatnonzero((before >= 0) & ~changes & ~changes[before])
    between = graph.bend_duct[second]
    diameter = sections.hydraulic_diameter(
        ducts.shape[between], ducts.width[between], ducts.height[between]
    )
    spacing = np.maximum(ducts.straight[between], 0.0) / diameter
    loss = np.zeros(len(bends.duct))
    rows = np.flatnonzero(elements.kind == Kind.BEND)
    loss[elements.row[rows]] = elements.loss[rows]
    factor = np.ones(len(bends.duct))
    factor[elements.row[rows]] = elements.reynolds_factor[rows]
    found: list[ClosePair] = []
    taken: set[int] = set()
    near = (spacing < _FAR) & (state.velocity_pressure[between] > 0.0)
    second, spacing = second[near], spacing[near]
    for place in np.lexsort((bends.duct[second], spacing.round(6))).tolist():
        row, one = int(second[place]), int(before[second[place]])
        if one in taken or row in taken:
            continue
        pair = _pair(graph, state, one, row, float(spacing[place]), loss, factor)
        if pair is not None:
            found.append(pair)
            taken |= {one, row}
    return sorted(found, key=lambda pair: int(bends.duct[pair.second]))


def _pair(
    graph: DuctGraph,
    state: DuctState,
    one: int,
    two: int,
    gap: float,
    loss: FloatArray,
    factor: FloatArray,
) -> ClosePair | None:
    bends = graph.bends
    plain = float(loss[one] + loss[two])
    pv = float(state.velocity_pressure[graph.bend_duct[two]])
    cosine = float(bends.axis[one] @ bends.axis[two])
    turned = float(np.arccos(np.clip(cosine, -1.0, 1.0)))
    arrangement = "twisted"
    if turned < _SAME:
        arrangement = "U"
    elif turned > np.pi - _SAME:
        arrangement = "S"
    covered = _table(graph, one, two, gap, arrangement, turned, plain / pv, factor)
    if covered is None or isinstance(covered, Note):
        if gap >= _CLOSE:
            return None
        why = int(covered or Note.NOTHING)
        return ClosePair(one, two, arrangement, gap, plain, None, notes=why)
    together, share = covered
    return ClosePair(
        one,
        two,
        arrangement,
        gap,
        plain,
        plain
        + (float(together.value[0] * together.reynolds_factor[0]) * pv - plain) * share,
        together.table,
        together.source,
        together.confidence,
        int(together.notes[0]),
    )


def _table(
    graph: DuctGraph,
    one: int,
    two: int,
    gap: float,
    arrangement: str,
    turned: float,
    plain: float,
    factor: FloatArray,
) -> tuple[Coefficient, float] | Note | None:
    """Coefficient of a pair, on the velocity in the duct, and how much of it counts.

    None where no table covers it, and why if there is one for other pairs. The print of
    S pairs is of smooth round bends from r/D 1 on. It stands in for segmented elbows
    and, by r/W and the hydraulic diameter, for other sections; for tighter elbows the
    plain sum counts. Beyond the end of a table what the pair loses more or
    less than its two elbows alone fades out, to nothing at twice that spacing, so that
    no spacing makes a jump: our own choice.
    """
    bends = graph.bends
    codes = {int(bends.construction[row]) for row in (one, two)}
    angle = float(bends.angle[one])
    alike = abs(angle - float(bends.angle[two])) < _SAME
    width, height = float(bends.in_plane[one]), float(bends.along_axis[one])
    axes = float(np.linalg.norm(bends.corner[two] - bends.corner[one])) / width
    right = alike and abs(angle - np.pi / 2) < _SAME
    is_round = bool(graph.ducts.shape[graph.bend_duct[two]] == Shape.ROUND)
    if codes <= set(map(int, _SMOOTH)):
        if arrangement != "S" or not alike:
            return None
        pair = [one, two]
        if (bends.radius[pair] < (1.0 - SAME_RADIUS) * bends.in_plane[pair]).any():
            return Note.TIGHT_PAIR
        # Half of the plain sum stands for one of the two, which differ by rounding.
        found = s_pair(_alone(plain / 2), angle, gap)
        as_printed = codes == {int(ElbowConstruction.SMOOTH)} and is_round
        return found if as_printed else standing_in(found), 1.0
    if codes != {int(ElbowConstruction.MITRED)}:
        return None
    reynolds = float(factor[one])
    if arrangement == "S" and alike and abs(angle - np.pi / 6) < _SAME:
        end = 3.0
        found = offset_30(min(axes, end), is_round)
    elif not right:
        return None
    elif arrangement == "U":
        end = 1.8
        found = mitred_u_pair(min(axes, end), 1.0)
    elif arrangement == "S" or abs(turned - np.pi / 2) < _SAME:
        end = 10.0
        twisted = arrangement != "S"
        found = mitred_pair(min(axes, end), height / width, twisted=twisted)
    else:
        return None
    share = min(max(2.0 - axes / end, 0.0), 1.0)
    return (_scaled(found, reynolds), share) if share > 0.0 else None


def _alone(value: float) -> Coefficient:
    return make(
        np.array([value]),
        0,
        reference="duct",
        table="",
        source="",
        confidence="cross-checked",
    )


def _scaled(found: Coefficient, factor: float) -> Coefficient:
    """The pair's value with the Reynolds factor of its elbows, as the sum has it."""
    return replace(found, reynolds_factor=found.reynolds_factor * factor)


def corrected(elements: Elements, pairs: Sequence[ClosePair]) -> Elements:
    """Elements with the pairs' own losses.

    Parameters
    ----------
    elements
        What each element spends alone.
    pairs
        The pairs; what a pair loses beyond or below its plain sum goes to its second
        elbow, which is credited to their table too.
    """
    loss, coefficient = elements.loss.copy(), elements.coefficient.copy()
    notes, credit = elements.notes.copy(), elements.credit.copy()
    known = {one: number for number, one in enumerate(elements.credits)}
    rows = np.flatnonzero(elements.kind == Kind.BEND)
    place: IntArray = np.zeros(len(rows), dtype=np.int64)
    place[elements.row[rows]] = rows
    for pair in pairs:
        if pair.together is None:
            continue
        row = place[pair.second]
        loss[row] += pair.together - pair.plain
        on = elements.velocity_pressure[row] * elements.reynolds_factor[row]
        coefficient[row] = loss[row] / on
        own = Credit("duct", pair.table, pair.source, pair.confidence)
        both = elements.credits[credit[row]].joined(own)
        credit[row] = known.setdefault(both, len(known))
        notes[row] |= pair.notes
    return replace(
        elements,
        loss=loss,
        coefficient=coefficient,
        notes=notes,
        credit=credit,
        credits=tuple(known),
    )
