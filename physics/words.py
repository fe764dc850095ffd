"""What a fitting is, in the trade's words."""

import numpy as np

from elbowroom.layout import (
    DuctGraph,
    ElbowConstruction,
    Legs,
    Shape,
    TakeoffEntry,
    counted,
    some,
    units,
)

from .elbows_round import PLEATED_RATIO
from .elements import Kind
from .losses import off_ratio, vane_spacing
from .readings import STRAIGHT_LEG
from .takeoff_entries import Taken, taken_at

_NAMED = 2  # branches of one junction that are named


def bend_words(
    graph: DuctGraph,
    row: int,
    unit: str,
    counted: bool,
    flexible: bool,
) -> str:
    """Words for a bend: how it is made, its angle, and which way it turns.

    Its pieces, splitters and vanes are in it, as a shop has to make them; how far
    these are apart in 'mm' or 'in'. What it is `counted` as, where that is something
    else; `flexible` duct bends itself, whatever elbow it counts as.
    """
    bends = graph.bends
    construction = ElbowConstruction(bends.construction[row])
    angle = f"{round(float(np.degrees(bends.angle[row])), 3):.3g}°"
    duct = int(graph.bend_duct[row])
    text = f"{construction.words} elbow {angle}"
    if flexible:
        text = (
            f"bend of flexible duct, {angle}, counted as a {construction.words} elbow"
        )
    text += _parts(graph, row, unit)
    if bends.radius[row] > 0:
        over = "D" if graph.ducts.shape[duct] == Shape.ROUND else "W"
        text += f", r/{over} {bends.radius[row] / bends.in_plane[row]:.3g}"
    pleated = counted and construction == ElbowConstruction.PLEATED
    if pleated and off_ratio(bends.radius[row], bends.in_plane[row]):
        text += f", counted as {PLEATED_RATIO:g}"
    if graph.ducts.shape[duct] != Shape.ROUND:
        if bends.skew[row] > 0:
            text += ", askew"
        elif bends.along_axis[row] > bends.in_plane[row] * 1.001:
            text += ", the easy way"
        elif bends.along_axis[row] < bends.in_plane[row] * 0.999:
            text += ", the hard way"
    return text


def _parts(graph: DuctGraph, row: int, unit: str) -> str:
    bends, kinds = graph.bends, ElbowConstruction
    match ElbowConstruction(bends.construction[row]):
        case kinds.SEGMENTED:
            return f", {bends.pieces[row]} pieces"
        case kinds.SPLITTERS:
            return f", {counted(int(bends.splitters[row]), 'splitter')}"
        case kinds.SINGLE_VANES | kinds.DOUBLE_VANES as made:
            double = made == kinds.DOUBLE_VANES
            apart = vane_spacing(double, float(bends.vane_spacing[row]))
            return f", vanes {units.to_unit(apart, unit):.3g} {unit} apart"
    return ""


def _branches(graph: DuctGraph, legs: Legs, row: int) -> str:
    """Names of the branches that leave where a leg is the main."""
    ducts = [int(legs.branch[row])]
    if legs.leg_count[row] > 3:
        beside = legs.is_branch & (legs.common == legs.common[row])
        ducts = legs.duct[beside].tolist() or ducts
    runs = dict.fromkeys(graph.ducts.run[ducts].tolist())
    names = [graph.drawing.names[run] for run in runs]
    many = "branches" if names[1:] else "branch"
    return f"{many} {some(names, _NAMED, ' and ')}"


def _is_no_cone(graph: DuctGraph, legs: Legs, row: int) -> bool:
    """Whether a conical entry is declared of a branch that no cone ends in."""
    is_boxy = graph.ducts.shape[legs.duct[row]] == Shape.RECTANGULAR
    return bool(is_boxy and legs.entry[row] == TakeoffEntry.CONICAL)


def leg_words(
    graph: DuctGraph,
    row: int,
    kind: Kind,
    lone: int | None = None,
    counted: bool = True,
) -> str:
    """Words for the leg of a junction.

    Parameters
    ----------
    graph
        The classified graph.
    row
        Of its legs, or of its meetings.
    kind
        Which of the two.
    lone
        Row of `graph.lone` where it is a meeting past air that stands still.
    counted
        Whether to say as what an entry counts that has no table; else what is to be
        made, plain where a cone is declared of a rectangle.
    """
    legs, joining = graph.legs, graph.is_return
    if lone is not None:
        legs, row = graph.lone, lone
    elif kind == Kind.MEETING:
        legs, joining = graph.meetings, not joining
    if legs.common[row] == legs.duct[row]:
        return "leg of a joint where several ducts lead in and several out"
    angle = round(float(np.degrees(legs.angle[row])), 3)
    verb = "parts" if graph.is_return else "meets"
    where = f", where the air of a loop {verb}" if kind == Kind.MEETING else ""
    if lone is not None:
        where = ", past air of a loop that stands still"
    entry = TakeoffEntry(legs.entry[row])
    taken = Taken(int(taken_at(graph.ducts, legs, joining, row)[0]))
    if not counted and taken == Taken.PLAIN and _is_no_cone(graph, legs, row):
        entry = TakeoffEntry.PLAIN
    entered = f", {entry.words}" + " entry" * ("entry" not in entry.words)
    instead = taken.counted if counted else ""
    if legs.is_symmetrical[row]:
        what = "bullhead tee" if angle >= 80 else "symmetrical wye"
        made = entered * bool(instead)
        if entry == TakeoffEntry.RADIUS and angle > 60:
            made = ", radius of 1.5 widths"
        return f"leg of a {what}, {angle:.3g}°{made}{instead}{where}"
    if not legs.is_branch[row]:
        if legs.straight_angle[row] > STRAIGHT_LEG:
            return (
                f"main that turns {angle:.3g}° at {_branches(graph, legs, row)}{where}"
            )
        return f"straight leg past {_branches(graph, legs, row)}{where}"
    if legs.leg_count[row] == 2:
        return f"tap at the closed end of a duct, {angle:.3g}°"
    return f"branch at {angle:.3g}°{entered}{instead}{where}"
