"""How each bend is made: measured, declared in the schedule, or assumed."""

from dataclasses import replace

import numpy as np

from .basis import Basis
from .constructions import PIECES_TAKEN, SPLITTERS_TAKEN, ElbowConstruction
from .drawing import Drawing
from .fittings import Bends
from .run_words import flexible_runs
from .schedule import ElbowRule, Schedule
from .sections import BoolArray, FloatArray, IntArray, Shape

# By the code of a construction: elbows that turn about a corner and not along an arc.
_CORNERED = np.array([code.turn == "corner" for code in ElbowConstruction])
# Elbows that a drawn arc may stand for; with any other word the arc wins.
_CURVED = np.array([code.turn == "arc" for code in ElbowConstruction])
_TRUE = np.radians(1.0)  # less of a skew is the drawing's rounding
_TIE = 1e-6  # rad: a bend midway turns about the width however it is rounded


def build_bends(
    *,
    duct: IntArray,
    run: IntArray,
    number: IntArray,
    angle: FloatArray,
    axis: FloatArray,
    drawn_radius: FloatArray,
    drawn_setback: FloatArray,
    misfit: FloatArray,
    shape: IntArray,
    width: FloatArray,
    height: FloatArray,
    across: FloatArray,
    drawing: Drawing,
    schedule: Schedule,
) -> Bends:
    """Give each bend its construction and its radius.

    Parameters
    ----------
    duct, run, number
        Duct after each bend, rising, its run, and which bend of that it is, from 1,
        (b,).
    angle, axis
        Turn, rad, and the unit vector about which it goes, (b,) and (b, 3).
    drawn_radius, drawn_setback, misfit
        Radius of a drawn arc, how far before its first vertex it begins, m, and the
        misfit of the radius; NaN, NaN and 0 for a sharp vertex.
    shape, width, height, across
        Section of the bend and the unit vector along its width.
    drawing, schedule
        The drawing and the schedule, for what they say of elbows. The rule of all
        elbows is not one of flexible duct, whose bends are smooth unless an exception
        names them.

    Returns
    -------
    bends
        In order of `duct`; `short_by` and `corner` are filled in by the classifier.
    """
    about_width, skew = _planes(axis, across, shape)
    in_plane = np.where(about_width, height, width)
    along_axis = np.where(about_width, width, height)

    size = len(duct)
    construction = np.zeros(size, dtype=np.int64)
    sides = np.stack([in_plane, along_axis])
    radius = np.zeros((2, size))  # with either side in the plane of the bend
    pieces = np.zeros(size, dtype=np.int64)
    splitters = np.zeros(size, dtype=np.int64)
    vane_spacing = np.full(size, np.nan)
    radius_basis = np.zeros(size, dtype=np.int64)
    construction_basis = np.zeros(size, dtype=np.int64)
    parts_basis = np.zeros(size, dtype=np.int64)

    def put(rows: IntArray | slice, rule: ElbowRule, with_radius: bool = True) -> None:
        construction[rows] = int(rule.construction)
        construction_basis[rows] = int(rule.construction_basis)
        if with_radius:
            radius[:, rows] = rule.radius_for(sides[:, rows])
            radius_basis[rows] = int(rule.radius_basis)
        pieces[rows] = rule.pieces or PIECES_TAKEN
        splitters[rows] = rule.splitters or SPLITTERS_TAKEN
        parts_basis[rows] = int(rule.parts_basis)
        if rule.vane_spacing is not None:
            vane_spacing[rows] = rule.vane_spacing

    put(slice(None), schedule.elbow_rule())
    soft = flexible_runs(drawing, schedule)
    if soft:
        put(np.isin(run, soft).nonzero()[0], ElbowRule())
    for index, said in drawing.attributes.items():
        if said.bend_radius is not None:
            rows = (run == index).nonzero()[0]
            radius[:, rows] = said.bend_radius
            radius_basis[rows] = int(Basis.DECLARED)
    for name, bend in schedule.elbow_exceptions:
        index = list(drawing.names).index(name)
        mine = run == index
        rows = (mine & (number == bend) if bend else mine).nonzero()[0]
        rule = schedule.elbow_rule(name, bend)
        if index in soft and not rule.own_construction:
            made = ElbowRule()
            rule = replace(
                rule,
                construction=made.construction,
                construction_basis=made.construction_basis,
            )
        put(rows, rule, rule.says_radius)

    drawn = ~np.isnan(drawn_radius)
    replaced = drawn & ~_CURVED[construction]
    construction[replaced] = int(ElbowConstruction.SMOOTH)
    construction_basis[replaced] = parts_basis[replaced] = int(Basis.DRAWN)
    radius = np.where(drawn, drawn_radius, radius)
    radius_basis[drawn] = int(Basis.DRAWN)
    cornered = _CORNERED[construction]
    radius[:, cornered] = 0.0
    radius_basis[cornered] = construction_basis[cornered]
    square = construction == int(ElbowConstruction.SQUARE_THROAT)
    radius[:, square] = sides[:, square] / 2  # throat radius 0 by construction
    radius_basis[square] = construction_basis[square]

    far = angle > np.radians(179.0)  # a sharp hairpin has no tangent points
    # Askew it goes evenly from one side to the other, as its loss does.
    share = np.sin(skew) ** 2
    turned = radius[0] + (radius[1] - radius[0]) * share
    reach = turned * np.tan(np.where(far, 0.0, angle) / 2)
    setback = np.where(drawn, drawn_setback, reach)
    return Bends(
        duct=duct,
        number=number,
        angle=angle,
        radius=turned,
        side_radius=radius,
        in_plane=in_plane,
        along_axis=along_axis,
        skew=skew,
        construction=construction,
        pieces=pieces,
        splitters=splitters,
        vane_spacing=vane_spacing,
        radius_basis=radius_basis,
        construction_basis=construction_basis,
        parts_basis=parts_basis,
        setback=setback,
        short_by=np.zeros(size),
        misfit=misfit,
        axis=axis,
        corner=np.zeros((size, 3)),
    )


def _planes(
    axis: FloatArray, across: FloatArray, shape: IntArray
) -> tuple[BoolArray, FloatArray]:
    """Whether each bend turns about the width, and how far off the nearer side, rad."""
    cosine = np.minimum(np.abs(np.einsum("ij,ij->i", axis, across)), 1.0)
    lean = np.arccos(cosine)  # 0: turns about the width; pi/2: about the height
    about_width: BoolArray = lean <= np.pi / 4 + _TIE
    skew = np.where(about_width, lean, np.pi / 2 - lean).clip(0.0, np.pi / 4)
    skew[(skew < _TRUE) | (shape == int(Shape.ROUND))] = 0.0
    return about_width, skew
