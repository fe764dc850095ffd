"""Loss coefficients of changes of section along a duct: which table each takes.

Angles are the full included ones, wall to wall.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from elbowroom.layout import BoolArray, FloatArray, IntArray, Shape, sections

from .axes import alike
from .coefficient import Coefficient, Gathered, Note, make
from .contractions import contraction as contraction
from .contractions import contraction_abrupt as contraction_abrupt
from .expansions import expansion_abrupt as expansion_abrupt
from .expansions import expansion_rect as expansion_rect
from .expansions import expansion_round as expansion_round
from .expansions import expansion_round_by_reynolds as expansion_round_by_reynolds
from .junction_terms import mixed, thirds
from .shares import share_between

SAME_AREA = 0.05  # taken for a change of shape alone: no coefficient is published
ALIKE = 0.02  # areas this near to each other change shape alone
_UNLIKE = 0.10  # from there on no area of a main is taken for the same
SHAPE_ALONE, NO_CHANGE = "allowance", "formula: no change of section"
SAME_SIDE = 0.01  # of a side: 12 in that goes on as 305 mm is no change
CHANGED = 0.05  # of a side: from there on a pair of sides counts as changed in full


def included_angles(
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    width_out: npt.ArrayLike,
    height_out: npt.ArrayLike,
    length: npt.ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Included angles of a straight transition in both planes, rad.

    Lengths in m, in shapes that broadcast; a piece of no length opens at once, by pi.
    """
    wide = np.abs(np.subtract(width_out, width_in))
    tall = np.abs(np.subtract(height_out, height_in))
    run = np.asarray(length, dtype=np.float64)
    return 2.0 * np.arctan2(wide / 2, run), 2.0 * np.arctan2(tall / 2, run)


def round_to_rect_angle(
    diameter: npt.ArrayLike,
    width: npt.ArrayLike,
    height: npt.ArrayLike,
    length: npt.ArrayLike,
) -> FloatArray:
    """Equivalent angle of an expansion between round and rectangular, rad.

    1.13 sqrt(H W) is the diameter of the round duct of the same area, so that of a flat
    oval is the root of its area for both sides: our own reading.

    References
    ----------
    ASHRAE Handbook Fundamentals 1977-1989: tan(angle/2) = |D - 1.13 sqrt(H W)| / (2 L)
    (from memory).
    """
    twin = 1.13 * np.sqrt(np.multiply(width, height))
    return np.asarray(2.0 * np.arctan2(np.abs(np.subtract(diameter, twin)) / 2, length))


def same_area(share: npt.ArrayLike) -> Coefficient:
    """Change of shape at the same area: an allowance, as nothing is published.

    `share` is how much of it counts, 0 to 1, shape (n,).
    """
    part = np.atleast_1d(np.asarray(share, dtype=np.float64))
    notes: IntArray = np.full(len(part), int(Note.FALLBACK))
    return make(
        SAME_AREA * part,
        notes,
        reference="small area",
        table=SHAPE_ALONE,
        source="no published coefficient; an allowance of 0.05",
        confidence="low",
    )


def transition(
    shape_in: npt.ArrayLike,
    width_in: npt.ArrayLike,
    height_in: npt.ArrayLike,
    shape_out: npt.ArrayLike,
    width_out: npt.ArrayLike,
    height_out: npt.ArrayLike,
    length: npt.ArrayLike,
    *,
    friction: bool = False,
    square: FloatArray | float = 1.0,
) -> Gathered:
    """Straight transitions between any two sections, each from its own table.

    Parameters
    ----------
    shape_in, shape_out
        `Shape` codes of the sections before and after, in the direction of the air.
    width_in, height_in, width_out, height_out
        Their sides, m; the diameter twice where round.
    length
        m; 0 is a sudden change.
    friction
        Whether a round cone counts its own friction; not where the length of the duct
        holds it already.
    square
        How much of a change of one side for the other counts: 1 without a twist and of
        a quarter one, 0 of one of 45 degrees.

    Returns
    -------
    gathered
        Shape (n,), each on the velocity in its smaller area. A change of shape, or of
        one side for the other, takes an allowance until the table of the change of area
        has more, so that none loses less the more its area changes; it fades as the
        side that changes less comes from 5 % down to 1 %; sections
        whose sides are the same within 1 %, as when an inch size goes on in a metric
        one, take nothing. Flat ovals take the tables of rectangles, noted.

    Notes
    -----
    Contractions take the larger of the two side angles, and between two sections of
    one shape they begin by degrees, from 1 % to 5 % of the side that changes more: our
    own choice. Expansions of rectangles take
    the table with two sides parallel where one pair of sides stays as it is, within
    1 %, and the pyramidal one where both change by 5 % or more; straight between, our
    own choice. A flat oval has two sides like a rectangle, also where one goes on in
    the other. Between round and either, the pyramidal table at the equivalent angle.
    """
    before, after, w1, h1, w2, h2, run = alike(
        shape_in, shape_out, width_in, height_in, width_out, height_out, length
    )
    out = Gathered(len(before))
    size_in = sections.area(before, w1, h1)
    size_out = sections.area(after, w2, h2)
    ratio = size_out / size_in
    wide, tall = included_angles(w1, h1, w2, h2, run)
    steepest = np.maximum(wide, tall)
    same_shape = before == after
    was_round, is_round = before == int(Shape.ROUND), after == int(Shape.ROUND)
    second, first, nothing = changed_sides(same_shape, w1, h1, w2, h2)
    narrows, opens = ~nothing & (ratio < 1.0), ~nothing & (ratio >= 1.0)
    if nothing.any():
        out.put(nothing, _nothing(int(nothing.sum())))
    if narrows.any():
        found = contraction(1.0 / ratio[narrows], steepest[narrows])
        part = np.where(same_shape, first, 1.0)[narrows]
        # Less than the table's nearest end is no longer that end.
        eased = (found.notes & ~int(Note.CLAMPED)) | int(Note.EXTENDED)
        notes = np.where(part < 1.0, eased, found.notes)
        out.put(narrows, replace(found, value=found.value * part, notes=notes))
    mine = opens & was_round & is_round
    if mine.any():
        out.put(
            mine,
            expansion_round(1.0 / ratio[mine], steepest[mine], friction=friction),
        )
    rows = (opens & ~(was_round | is_round)).nonzero()[0]
    for part in map(rows.__getitem__, thirds(second[rows])):
        if len(part):
            plane, pyramid = (
                expansion_rect(ratio[part], steepest[part], flat)
                for flat in (True, False)
            )
            out.put(part, mixed(plane, pyramid, second[part]))
    mine = opens & (was_round != is_round)
    if mine.any():
        diameter = np.where(was_round, w1, w2)[mine]
        side = np.sqrt(np.where(was_round, size_out, size_in)[mine])
        angle = round_to_rect_angle(diameter, side, side, run[mine])
        out.put(mine, expansion_rect(ratio[mine], angle))
    share = _shape_share(same_shape, second * square, (w2 > w1) != (h2 > h1))
    # Beyond, every contraction loses as much or as its print has it.
    mine = ~nothing & (SAME_AREA * share > out.value) & (ratio > 1.0 - _UNLIKE)
    if mine.any():
        out.put(mine, same_area(share[mine]))
    oval = ((before == int(Shape.OVAL)) | (after == int(Shape.OVAL))) & ~nothing
    if oval.any():
        out.stand_in(oval)
    return out


def changed_sides(
    same_shape: BoolArray,
    w1: FloatArray,
    h1: FloatArray,
    w2: FloatArray,
    h2: FloatArray,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """How much each pair of sides counts, the one that changes less first.

    Also where neither does.
    """
    change = np.sort(np.abs(np.array([w2 / w1, h2 / h1]) - 1.0), axis=0)
    second, first = share_between(change, SAME_SIDE, CHANGED)
    return second, first, same_shape & (change[1] < SAME_SIDE)


def _shape_share(
    same_shape: BoolArray, second: FloatArray, crosswise: BoolArray
) -> FloatArray:
    """How much of the allowance for a change of shape counts, 0 to 1."""
    return np.where(same_shape, second * crosswise, 1.0)


def shape_allowance(
    shape_in: IntArray,
    width_in: FloatArray,
    height_in: FloatArray,
    shape_out: IntArray,
    width_out: FloatArray,
    height_out: FloatArray,
    square: FloatArray,
) -> FloatArray:
    """What a main's change of shape alone counts as beside its table, shape (n,).

    That of `transition` at the same area, within 2 %; it fades to nothing as the area
    changes by 10 %, which the tables of mains have, or its own part counts for, and
    with `square` as there.
    """
    same_shape = shape_in == shape_out
    crosswise = (width_out > width_in) != (height_out > height_in)
    if not (crosswise | ~same_shape).any():  # as nearly everywhere
        return np.zeros(len(crosswise))
    sides = width_in, height_in, width_out, height_out
    second, _, nothing = changed_sides(same_shape, *sides)
    ratio = sections.area(shape_out, width_out, height_out)
    ratio = ratio / sections.area(shape_in, width_in, height_in)
    near = share_between(np.abs(ratio - 1.0), _UNLIKE, ALIKE)
    share = _shape_share(same_shape, second * square, crosswise) * near
    return np.where(nothing, 0.0, SAME_AREA * share)


def shape_alone(allowance: FloatArray) -> Coefficient:
    """Coefficients of what `shape_allowance` gives."""
    return same_area(allowance / SAME_AREA)


def _nothing(count: int) -> Coefficient:
    return make(
        np.zeros(count),
        0,
        reference="small area",
        table=NO_CHANGE,
        source="sides the same within 1 %, so nothing is lost beyond friction",
        confidence="cross-checked",
    )
