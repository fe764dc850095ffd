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
    Shape,
)

from . import elbows
from .coefficient import Coefficient, Credit, Note, make
from .elbows_round import standing_in
from .elements import DuctState, Elements, Kind
from .interaction import mitred_pair, mitred_u_pair, offset_30, s_pair
from .junction_terms import SQUARE_TO
from .losses import SAME_RADIUS, both_ways, ways_of_turning
from .shares import share_between

_SAME = float(np.radians(3.0))  # angles and planes nearer than this are alike
_FADED = float(np.radians(10.0))  # and from here on no print is of them
_ANY = 1e5  # a Reynolds number: of a coefficient it changes the factor alone
_TIGHTEST = 0.9  # r/D from which on the print of S pairs begins to count
_CLOSE = 5.0  # hydraulic diameters within which a pair without a table is remarked on
_FAR = 40.0  # from here on no pair is felt


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
    # What bends the air before a straight stretch, in however many runs that is drawn.
    before = graph.bend_of[ducts.stretch_of(graph.bend_before)]
    changes = np.isin(bends.duct, graph.transitions.duct)
    second = np.flatnonzero((before >= 0) & ~changes & ~changes[before])
    between = graph.bend_before[second]
    spacing = ducts.reach[between] / ducts.diameter[between]
    loss = elements.loss[elements.of(Kind.BEND, len(bends.duct))]
    found: list[ClosePair] = []
    taken: set[int] = set()
    near = (spacing < _FAR) & (state.velocity_pressure[between] > 0.0)
    second, spacing = second[near], spacing[near]
    for place in np.lexsort((bends.duct[second], spacing.round(6))).tolist():
        row, one = int(second[place]), int(before[second[place]])
        if one in taken or row in taken:
            continue
        pair = _pair(graph, state, one, row, float(spacing[place]), loss)
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
) -> ClosePair | None:
    bends = graph.bends
    plain = float(loss[one] + loss[two])
    pv = float(state.velocity_pressure[graph.bend_duct[two]])
    cosine = float(bends.axis[one] @ bends.axis[two])
    turned = float(np.arccos(np.clip(cosine, -1.0, 1.0)))
    arrangement, plane = "twisted", np.pi / 2
    if turned < _FADED:
        arrangement, plane = "U", 0.0
    elif turned > np.pi - _FADED:
        arrangement, plane = "S", np.pi
    askew = abs(turned - plane)
    covered = _table(graph, one, two, gap, arrangement, askew, plain / pv)
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
        plain + (float(together.value[0]) * pv - plain) * share,
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
    askew: float,
    plain: float,
) -> tuple[Coefficient, float] | Note | None:
    """Coefficient of a pair, on the velocity in the duct, and how much of it counts.

    None where no table covers it, and why if there is one for other pairs. `askew` is
    how far the planes are from the arrangement, rad. The print of S pairs is of smooth
    round bends from r/D 1 on. It stands in for segmented elbows and, by r/W and the
    hydraulic diameter, for other sections; for tighter elbows the plain sum counts.
    Those of mitred pairs are of one angle; a pair near it loses as much more or less
    than its own plain sum as the printed one does. That fades out from 3 to 10 degrees
    off a print in any angle, from r/D 0.98 down to 0.9, and beyond the end of a table
    to nothing at twice that spacing, and askew each way of turning counts, so that
    nothing makes a jump: our own choice.
    """
    bends, pair = graph.bends, [one, two]
    codes = {int(bends.construction[row]) for row in pair}
    angles = bends.angle[pair]
    shape = int(graph.ducts.shape[graph.bend_duct[two]])
    if all(ElbowConstruction(code).is_smooth for code in codes):
        share = _near(max(askew, float(np.ptp(angles))))
        if arrangement != "S" or share == 0.0:
            return None
        sides = np.stack([bends.in_plane[pair], bends.along_axis[pair]])
        ratio = bends.side_radius[:, pair] / sides
        wide = share_between(ratio, _TIGHTEST, 1.0 - SAME_RADIUS)
        share *= float((wide * ways_of_turning(bends.skew[pair])).sum(axis=0).min())
        if share == 0.0:
            return Note.TIGHT_PAIR
        # Half of the plain sum stands for one of the two, which differ by rounding.
        found = s_pair(_alone(plain / 2), float(angles.mean()), gap)
        as_printed = codes == {int(ElbowConstruction.SMOOTH)} and shape == Shape.ROUND
        if share < 1.0:
            found = replace(found, notes=found.notes | int(Note.NEAREST_ROW))
        return found if as_printed else standing_in(found), share
    if codes != {int(ElbowConstruction.MITRED)}:
        return None
    width = np.stack([bends.in_plane[[one]], bends.along_axis[[one]]])
    aspect = width[::-1] / width
    axes = np.linalg.norm(bends.corner[two] - bends.corner[one]) / width
    printed = np.pi / 2
    if arrangement == "S" and np.abs(angles - np.pi / 6).max() < _FADED:
        printed, end = np.pi / 6, 3.0
        found = offset_30(np.minimum(axes, end), bool(shape == Shape.ROUND))
    elif arrangement == "U":
        end = 1.8
        found = mitred_u_pair(np.minimum(axes, end), 1.0)
    else:
        end, twisted = 10.0, arrangement != "S"
        found = mitred_pair(np.minimum(axes, end), aspect, twisted=twisted)
    off = max(askew, float(np.abs(angles - printed).max()))
    ways = _near(off) * (2.0 - axes / end).clip(0.0, 1.0)
    ways *= ways_of_turning(bends.skew[[one]])
    share = float(ways.sum())
    if share == 0.0:
        return None
    value = found.value * plain / (2.0 * _mitred(shape, aspect, printed))
    other = int(Note.NEAREST_ROW) if off > SQUARE_TO else 0
    found = replace(found, value=value / share, notes=found.notes | other)
    found = both_ways(found, ways)
    return standing_in(found) if bends.skew[one] > 0.0 else found, share


def _mitred(shape: int, aspect: FloatArray, angle: float) -> FloatArray:
    """Coefficient of one mitred elbow, without its Reynolds factor, as `aspect`."""
    if shape == Shape.ROUND:
        return elbows.round_mitred(angle, _ANY).value
    flat = elbows.flat_oval_mitred if shape == Shape.OVAL else elbows.rect_mitred
    return flat(aspect, angle, _ANY).value


def _near(off: float) -> float:
    """How much of a print counts of a pair that is off it by so much, rad."""
    return float(share_between(off, _FADED, _SAME))


def _alone(value: float) -> Coefficient:
    return make(
        np.array([value]),
        0,
        reference="duct",
        table="",
        source="",
        confidence="cross-checked",
    )


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
    place = elements.of(Kind.BEND, int((elements.kind == Kind.BEND).sum()))
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
