"""Loss coefficients of the bends and transitions of a graph."""

from dataclasses import replace

import numpy as np

from elbowroom.layout import (
    Basis,
    BoolArray,
    DuctGraph,
    Ducts,
    ElbowConstruction,
    FloatArray,
    IntArray,
    Legs,
    Notice,
    Shape,
    angle_words,
    changed_mains,
    sides_before,
    some,
    warning,
)

from . import elbows, transitions
from .coefficient import Coefficient, Gathered, LookupRefused, Note, make
from .elbows_round import PLEATED_RATIO
from .own_changes import OwnChanges, own_change_lengths

SAME_RADIUS = 0.02  # diameters: what a radius measured in a drawing is off


def bend_coefficients(
    graph: DuctGraph, reynolds: FloatArray
) -> tuple[Gathered, list[Notice]]:
    """Coefficients of the bends, on the velocity in their duct.

    Parameters
    ----------
    graph
        The classified graph.
    reynolds
        Reynolds number in the duct before each bend, shape (b,).

    Returns
    -------
    gathered, notices
        The coefficients, and what is to be said of the elbows that stand in for
        others.

    Raises
    ------
    BadInput
        If an elbow cannot be made as it is said, with its run and number.
    """
    bends, ducts = graph.bends, graph.ducts
    shape = ducts.shape[graph.bend_duct]
    out = Gathered(len(bends.duct))
    notices: list[Notice] = []
    turned = bends.in_plane, bends.along_axis, bends.radius
    # Beyond r/W 2 another table goes on, with a class of its own.
    near = ~(bends.radius > 2.0 * bends.in_plane)
    kind = (bends.construction * len(Shape) + shape) * 2 + near
    # Tables of other pieces, splitters or vanes have sources of their own too.
    parts = [bends.pieces, bends.splitters]
    if not np.isnan(bends.vane_spacing).all():
        _, spacing = np.unique(np.nan_to_num(bends.vane_spacing), return_inverse=True)
        parts.append(spacing)
    for part in parts:
        kind = kind * (part.max(initial=0) + 1) + part
    for number in np.unique(kind).tolist():
        mine = (kind == number).nonzero()[0]
        code = ElbowConstruction(bends.construction[mine[0]])
        section = Shape(shape[mine[0]])
        try:
            out.put(mine, _elbow(graph, mine, section, code, reynolds, *turned))
            skewed = mine[bends.skew[mine] > 0.0]
            if len(skewed):
                out.put(skewed, _skewed(graph, skewed, section, code, reynolds))
        except LookupRefused as problem:
            raise problem.at(
                bend_place(graph, int(mine[0])), "choose another elbow"
            ) from None
    for row in (bends.skew > 0.0).nonzero()[0].tolist():
        notices.append(
            warning(
                bend_place(graph, row),
                "the duct turns askew, "
                f"{angle_words(bends.skew[row])} off its nearer side; the "
                "loss is taken between the two ways of turning",
                "turn the section, or make the turn of two elbows",
            )
        )
    notices.extend(_pleated_notices(graph))
    return out, notices


def _pleated_notices(graph: DuctGraph) -> list[Notice]:
    """Say of pleated elbows that they have another radius than the tested ones."""
    bends = graph.bends
    pleated = bends.construction == int(ElbowConstruction.PLEATED)
    if not pleated.any():
        return []
    rows = (pleated & off_ratio(bends.radius, bends.in_plane)).nonzero()[0].tolist()
    if not rows:
        return []
    return [
        warning(
            some([bend_place(graph, row) for row in rows], 3, "; "),
            f"pleated elbows were tested with r/D {PLEATED_RATIO:g} alone, and that "
            "value was taken for r/D "
            f"{bends.radius[rows[0]] / bends.in_plane[rows[0]]:.3g}",
            f"write radius_ratio = {PLEATED_RATIO:g} under [elbows] if they are "
            "made so, or take a smooth or a segmented elbow",
        )
    ]


def off_ratio(radius: FloatArray, diameter: FloatArray) -> BoolArray:
    """Whether pleated elbows have another radius than the tested ones."""
    wanted = PLEATED_RATIO * diameter
    return np.asarray(np.abs(radius - wanted) > SAME_RADIUS * diameter)


def bend_place(graph: DuctGraph, row: int) -> str:
    """Name the place of a bend for a message."""
    duct = int(graph.bends.duct[row])
    return f"{graph.place(duct)}, bend {graph.bends.number[row]}"


def _skewed(
    graph: DuctGraph,
    mine: IntArray,
    section: Shape,
    code: ElbowConstruction,
    reynolds: FloatArray,
) -> Coefficient:
    """Between the easy and the hard way, by the square of the cosine of the skew.

    Our own rule: no coefficient is published for a bend that turns a flat section
    askew. It is even in the skew and meets both pure cases.
    """
    bends = graph.bends
    one, other = bends.in_plane, bends.along_axis
    near = _elbow(
        graph, mine, section, code, reynolds, one, other, bends.side_radius[0]
    )
    far = _elbow(graph, mine, section, code, reynolds, other, one, bends.side_radius[1])
    return between_ways(near, far, np.sin(bends.skew[mine]) ** 2)


def between_ways(near: Coefficient, far: Coefficient, share: FloatArray) -> Coefficient:
    """Between two ways of turning askew: `share` is how much the far one counts."""
    factor = near.reynolds_factor
    return make(
        near.value + (far.value - near.value) * share,
        near.notes | far.notes | int(Note.FALLBACK),
        factor=factor + (far.reynolds_factor - factor) * share,
        reference=near.reference,
        table=near.table,
        source=near.source,
        confidence="low",
        factors=near.factors,
    )


def ways_of_turning(skew: FloatArray) -> FloatArray:
    """How much counts of a turn with the nearer side in its plane, and the other.

    Shape (2, n): the squares of the cosine and the sine of the skew, rad, shape (n,).
    """
    far = np.sin(skew) ** 2
    return np.stack([1.0 - far, far])


def both_ways(found: Coefficient, share: FloatArray) -> Coefficient:
    """Sum over both ways of turning, shape (2, n), whose Reynolds factors are alike."""
    return replace(
        found,
        value=(found.value * share).sum(axis=0),
        reynolds_factor=found.reynolds_factor[0],
        notes=np.bitwise_or.reduce(np.where(share > 0.0, found.notes, 0)),
    )


def _elbow(
    graph: DuctGraph,
    mine: IntArray,
    section: Shape,
    code: ElbowConstruction,
    reynolds: FloatArray,
    in_plane: FloatArray,
    along_axis: FloatArray,
    radii: FloatArray,
) -> Coefficient:
    """Coefficients of elbows alike in pieces, splitters and vanes."""
    bends = graph.bends
    w, h = in_plane[mine], along_axis[mine]
    angle, radius, re = bends.angle[mine], radii[mine], reynolds[mine]
    kinds, pieces = ElbowConstruction, int(bends.pieces[mine[0]])
    if section == Shape.OVAL:
        if code == kinds.MITRED:
            return elbows.flat_oval_mitred(h / w, angle, re)
        if code == kinds.SEGMENTED:
            return elbows.flat_oval_segmented(pieces, radius / w, angle)
        if code == kinds.SMOOTH:
            return elbows.flat_oval_smooth(radius / w, angle)
        raise LookupRefused(
            f"no value is published for flat oval elbows made {code.words}; take a "
            "smooth, a segmented or a mitred one"
        )
    if section == Shape.ROUND:
        if code.is_vaned:
            raise LookupRefused(
                "no value is published for round mitred elbows with vanes; take a "
                "plain mitred or a smooth elbow"
            )
        if code == kinds.MITRED:
            return elbows.round_mitred(angle, re)
        if code == kinds.SEGMENTED:
            return elbows.round_segmented(pieces, radius / w, angle)
        if code == kinds.PLEATED:
            found = elbows.round_by_diameter("pleated", w, angle)
            found.notes[off_ratio(radius, w)] |= int(Note.CLAMPED)
            return found
        if code != kinds.SMOOTH:
            raise LookupRefused(
                f"a round elbow is not made {code.words}; take a smooth, a segmented, "
                "a pleated or a mitred one"
            )
        return elbows.round_smooth(radius / w, angle)
    if code == kinds.MITRED:
        return elbows.rect_mitred(h / w, angle, re)
    if code.is_vaned:
        double = code == kinds.DOUBLE_VANES
        spacing = vane_spacing(double, float(bends.vane_spacing[mine[0]]))
        return elbows.rect_vaned(double, spacing, angle, angle.shape)
    if code == kinds.SQUARE_HEEL:
        return elbows.rect_square_heel(radius / w - 0.5, h / w, angle)
    if code == kinds.SPLITTERS:
        vanes = int(bends.splitters[mine[0]])
        return elbows.rect_splitters(vanes, radius / w - 0.5, h / w, angle)
    if code in (kinds.SEGMENTED, kinds.PLEATED):
        raise LookupRefused(
            f"a rectangular elbow is not made {code.words}; take a smooth, a mitred or "
            "a vaned elbow"
        )
    # A square throat with a radius heel is the smooth elbow of r/W 0.5 by geometry.
    # A tighter one cannot be built, as the drawing is told, and counts as that.
    ratio = radius / w
    found = elbows.rect_smooth(np.maximum(ratio, elbows.TIGHTEST), h / w, angle, re)
    found.notes[ratio < elbows.TIGHTEST - 1e-9] |= int(Note.CLAMPED)
    return found


def vane_spacing(double: bool, said: float) -> float:
    """How far apart vanes are, m: the closest that were tested where nobody says it."""
    return elbows.vane_spacings(double)[0] if np.isnan(said) else said


def transition_coefficients(graph: DuctGraph) -> tuple[Gathered, OwnChanges]:
    """Coefficients of the transitions, each on the velocity in its smaller area.

    Parameters
    ----------
    graph
        The classified graph; in a return the air flows towards the source.

    Returns
    -------
    gathered
        Shape (t,). The downstream duct of a contraction and the upstream duct of an
        expansion are their smaller areas.
    own
        What mains would spend that change their section at a junction; in a return,
        and past radii alone off a rectangle, for a change of shape alone, as the tables
        of joining air and of radius wyes have that of area.
    """
    found = graph.transitions
    after, before = found.duct, graph.ducts.parent[found.duct]
    if graph.is_return:
        every = _transitions(graph.ducts, after, before, found.length)
        return every, own_changes(graph, graph.legs)
    return _with_own_changes(graph, graph.legs, before, after, found.length)


def own_changes(graph: DuctGraph, legs: Legs) -> OwnChanges:
    """Those of mains among some legs, as `transition_coefficients` gives them."""
    if not graph.is_return:
        none, length = np.zeros(0, dtype=np.int64), np.zeros(0)
        return _with_own_changes(graph, legs, none, none, length)[1]
    rows = np.concatenate(changed_mains(graph.ducts, legs))
    return _reshaped(graph.ducts, legs, rows, joining=True)


def _reshaped(ducts: Ducts, legs: Legs, rows: IntArray, joining: bool) -> OwnChanges:
    """Changes of shape alone of some mains, those that have one."""
    main, rest = legs.common[rows], legs.straight[rows]
    way = (rest, main) if joining else (main, rest)
    shape = transitions.shape_allowance(
        *as_they_stand(ducts, *way), _square(ducts, *way)
    )
    rows, shape = rows[shape > 0.0], shape[shape > 0.0]
    found = Gathered(len(rows))
    found.put(np.arange(len(rows)), transitions.shape_alone(shape))
    drawn = np.full(len(rows), int(Basis.DRAWN))  # no length goes into it
    note = np.full(len(rows), int(Note.RESHAPED))
    return OwnChanges(rows, found, shape, drawn, note)


def _with_own_changes(
    graph: DuctGraph,
    legs: Legs,
    before: IntArray,
    after: IntArray,
    length: FloatArray,
) -> tuple[Gathered, OwnChanges]:
    """Transitions of a supply, and its mains' own changes: looked up in one pass."""
    ducts, count = graph.ducts, len(length)
    rows, swept = changed_mains(ducts, legs)
    main, rest = legs.common[rows], legs.straight[rows]
    basis, shape = rows, np.zeros(len(rows))
    if len(rows):
        before, after = np.append(before, main), np.append(after, rest)
        own_length, basis = own_change_lengths(graph, main, rest)
        length = np.append(length, own_length)
        shape = transitions.shape_allowance(
            *as_they_stand(ducts, main, rest), _square(ducts, main, rest)
        )
    every = _transitions(ducts, before, after, length)
    if len(rows) == 0 and len(swept) == 0:
        return every, OwnChanges(rows, every, shape, basis, rows)
    mine, others = np.split(np.arange(len(length)), [count])
    note = np.full(len(rows), int(Note.OWN_CHANGE))
    own = OwnChanges(rows, every.part(others), shape, basis, note)
    if len(swept):
        own = own.joined(_reshaped(ducts, legs, swept, joining=False))
    return every.part(mine), own


def _transitions(
    ducts: Ducts, before: IntArray, after: IntArray, length: FloatArray
) -> Gathered:
    """Transitions between some ducts, in the direction of the air."""
    return transitions.transition(
        *as_they_stand(ducts, before, after),
        length,
        square=_square(ducts, before, after),
    )


def _square(ducts: Ducts, before: IntArray, after: IntArray) -> FloatArray:
    """How much of a change of one side for the other counts, by the twist there.

    Our own rule: by the cosine of twice the twist, none at 45 degrees, where the nearer
    reading becomes the other one.
    """
    return np.abs(np.cos(2.0 * ducts.twist[np.maximum(before, after)]))


def as_they_stand(
    ducts: Ducts, before: IntArray, after: IntArray
) -> tuple[IntArray, FloatArray, FloatArray, IntArray, FloatArray, FloatArray]:
    """Shape, width and height of some ducts, and of those behind them."""
    # Farther from the source: later in the order.
    crossed = ducts.crossed[np.maximum(before, after)]
    wide, high = sides_before(ducts.width, ducts.height, before, crossed)
    came = ducts.shape[before], wide, high
    return *came, ducts.shape[after], ducts.width[after], ducts.height[after]
