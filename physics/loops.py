"""Airflow around loops: the pressure is the same by every way to where air meets.

The graph is opened at each meeting: all but the strongest of the ducts that lead there
end, and carry an airflow that `loop_balance` finds. Where the air would rather go the
other way, that way is turned and the fittings are recognised anew.
"""

from dataclasses import replace

import numpy as np

from elbowroom.layout import (
    Audit,
    BadInput,
    BoolArray,
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
    airflow_words,
    directed,
    pressure_words,
    ranked,
    refusal,
    sum_from_root,
    warning,
)

from .conditions import Conditions, conditions_of
from .flags import fast_flags
from .flows import (
    against_drawn,
    check_drawn_flows,
    duct_flows,
    loops_of,
    openings,
    paths_to,
    resistances,
)
from .loop_balance import STILL, balanced, least_flows, spent
from .losses import bend_coefficients
from .network import RoundDucts, solved
from .several_legs import WEAK

_TURNS = 100
_STEPS = 200
_SETTLED = 1e-11  # of the pressure
_LEAST = 1e-6  # of the pressure: what a duct loses at the least
_SAME = 0.01  # of the loss of a path: less of a change is not said


def settled(
    graph: DuctGraph,
    conditions: Conditions,
    leaving: FloatArray | None = None,
    begin: FloatArray | None = None,
) -> tuple[DuctGraph, Conditions, FloatArray]:
    """Airflow in each duct, with the air of every loop in its real direction.

    Parameters
    ----------
    graph
        The classified graph.
    conditions
        Of its ducts.
    leaving
        Airflow at each terminal, m³/s, shape (t,); that of the graph if None.
    begin
        Airflow along each way of its loops to begin from, m³/s, shape (w,); what
        friction alone would give if None.

    Returns
    -------
    graph, conditions, flow
        The graph, built anew where air goes in another direction (its ducts may then
        stand in another order), the conditions in its order, and the airflow in m³/s,
        shape (d,). Without loops they are those given, with the sum of the terminals.

    Raises
    ------
    BadInput
        If the airflow does not settle.

    Notes
    -----
    Air stands still in a way that it would not take in either direction: it is held at
    a millionth of the whole airflow. Where the tables at its ends do not agree on what
    dead air is worth, it may be taken in both: one is found (see `still_notices`).

    References
    ----------
    Loop equations after Cross, 1936, for all loops at once (from memory).
    """
    if graph.loops is None:
        return graph, conditions, duct_flows(graph, leaving)
    taken = np.zeros(len(graph.nodes))  # at each node
    taken[_ends(graph)] = graph.terminals.flow if leaving is None else leaving
    way = begin
    if way is None:
        way = _by_place(graph, graph.loops.signed(_rubbed(graph, conditions, taken)))
    graph, conditions = _turned(graph, conditions, way)
    most = 0
    held, seen = np.zeros(len(way), dtype=bool), {_directions(graph)}
    for _ in range(_TURNS):
        flow, off = balanced(graph, conditions, taken, way, held)
        loops = graph.loops
        assert loops is not None  # turning keeps them
        way = loops.signed(flow)
        if off is None:  # the strongest of the ducts at a meeting is another
            graph, conditions = _turned(graph, conditions, way)
            continue
        last, _ = openings(graph)
        closing = loops.of_duct[last]
        still = flow[last] <= least_flows(graph, taken)[last] * (1 + 1e-9)
        pressed = np.flatnonzero((off > 0.0) & still & ~held[closing])
        if len(pressed) == 0:
            idle = closing[still & ~held[closing]]
            if len(idle) == 0:
                return graph, conditions, flow
            held[idle] = True  # it stands still, so it counts as one that does
            continue
        most = int(closing[pressed[np.argmax(off[pressed])]])
        back = way.copy()
        back[most] = -way[most]
        try:
            other, renewed = _turned(graph, conditions, back)
        except BadInput:  # no air would leave a node
            held[most] = True
            continue
        # Turned back to where it was: the air goes neither way.
        held[most] = _directions(other) in seen
        graph, conditions, way = other, renewed, back
        seen.add(_directions(graph))
    raise refusal(
        graph.drawing.file,
        f"the airflow in its loops still turns round after {_TURNS} trials, last in "
        f"{way_words(graph, most)}",
        "open a loop there, or make the ducts around it differ",
    )


def dead_ducts(graph: DuctGraph, flow: FloatArray) -> BoolArray | None:
    """Ducts in which the air stands still, shape (d,); None where none can be.

    Those of loops that take no air in either direction, and those behind which every
    end is closed.

    Parameters
    ----------
    graph
        The classified graph.
    flow
        Airflow in each duct as `settled` leaves it, m³/s, shape (d,).
    """
    if graph.loops is None and len(graph.terminals.closed) == 0:
        return None
    return np.asarray(flow <= 2.0 * STILL * flow.max())


def flows_at(
    graph: DuctGraph, pressure: float, lost: FloatArray, flow: FloatArray
) -> FloatArray:
    """Airflow in each duct at a pressure, where losses go with the airflow's square.

    Parameters
    ----------
    graph
        The classified graph, with or without loops.
    pressure
        Between the source and the rooms, Pa.
    lost
        What each duct loses, with all that stands at it, Pa, shape (d,); where that is
        less than nothing it stays as it is.
    flow
        At this airflow, m³/s, shape (d,).

    Returns
    -------
    flow
        m³/s, shape (d,); below zero where the air goes against the graph.

    Raises
    ------
    BadInput
        If it does not settle.

    Notes
    -----
    The pressure is spent along the path to each terminal, and equally by both ways to
    each meeting. The unknowns are the airflows that leave the tree at its ends; what is
    sought is the least of a convex sum, to which Newton's method leads by half steps.
    """
    closing, around = loops_of(graph)
    moves = flow[closing] > 10.0 * STILL * flow.max()  # the air of the others stands
    closing, around = closing[moves], around[moves]
    ends = graph.terminals.duct
    paths = np.concatenate([paths_to(graph, ends), around])
    k = resistances(np.maximum(lost, _LEAST * pressure), flow)
    drive = np.concatenate([np.full(len(ends), pressure), np.zeros(len(closing))])
    drive -= paths @ (lost - k * flow**2)

    def short(flow: FloatArray) -> FloatArray:
        return np.asarray(drive - paths @ (k * flow * np.abs(flow)))

    def content(x: FloatArray, flow: FloatArray) -> float:
        return float((k * np.abs(flow) ** 3).sum() / 3.0 - x @ drive)

    x = flow[np.concatenate([ends, closing])]
    flow = np.asarray(x @ paths)
    left = short(flow)
    for _ in range(_STEPS):
        if float(np.abs(left).max()) < _SETTLED * pressure:
            return flow
        speed = np.maximum(np.abs(flow), 1e-6 * np.abs(flow).max())
        step = np.linalg.solve((paths * (2.0 * k * speed)) @ paths.T, left)
        size, here = 1.0, content(x, flow)
        while (
            size > 1e-6 and content(x + size * step, (x + size * step) @ paths) > here
        ):
            size /= 2.0
        x = x + size * step
        flow = np.asarray(x @ paths)
        before, left = left, short(flow)
        worst = float(np.abs(left).max())
        if float(np.abs(before).max()) <= worst < 1e-6 * pressure:  # rounding
            return flow
    raise refusal(
        graph.drawing.file,
        "the airflow in its loops does not settle",
        "check the losses of what stands at the ducts",
    )


def terminal_rows(graph: DuctGraph, other: DuctGraph) -> IntArray:
    """Row in another turn of a graph of each of its terminals, shape (t,)."""
    place = np.zeros(len(graph.nodes), dtype=np.int64)
    place[_ends(other)] = np.arange(len(other.terminals.duct))
    return place[_ends(graph)]


def _rubbed(graph: DuctGraph, conditions: Conditions, taken: FloatArray) -> FloatArray:
    """Airflow that friction alone would give, below zero against the graph, (d,)."""
    ducts = graph.ducts
    before = np.where(ducts.parent < 0, graph.source.node, ducts.finish[ducts.parent])
    ends = [graph.source.node, *before.tolist(), *ducts.finish.tolist()]
    nodes = list(dict.fromkeys(ends))  # a graph may have some that no duct leads to
    place = np.zeros(len(graph.nodes), dtype=np.int64)
    place[nodes] = np.arange(len(nodes))
    round_ducts = RoundDucts(
        (),
        place[before],
        place[ducts.finish],
        ducts.length,
        np.sqrt(4.0 * ducts.area / np.pi),
        conditions.roughness,
        np.zeros(len(before)),
    )
    fixed = np.full(len(nodes), np.nan)
    fixed[0] = 0.0
    air = conditions.air
    flow, _ = solved(
        round_ducts, fixed, -taken[nodes], None, air.density, air.viscosity
    )
    return flow


def _by_place(graph: DuctGraph, way: FloatArray) -> FloatArray:
    """Where friction leaves the air of a way still, let its place say its direction.

    Else that hangs on rounding, and so on the order in which the lines were drawn.
    """
    assert graph.loops is not None
    begin, end = graph.nodes[graph.loops.ways.ends.T].round(6).tolist()
    least = 1e-9 * float(np.abs(way).max())
    along = np.array([one < two for one, two in zip(begin, end, strict=True)])
    return np.where(np.abs(way) > least, way, np.where(along, least, -least))


def _turned(
    graph: DuctGraph, conditions: Conditions, way: FloatArray
) -> tuple[DuctGraph, Conditions]:
    """Build the graph for other airflows along its ways, with its conditions."""
    other = directed(graph, way)
    # What holds for a duct holds for its run.
    of_run = np.zeros(graph.drawing.run_count, dtype=np.int64)
    of_run[graph.ducts.run] = np.arange(len(graph.ducts.run))
    row = of_run[other.ducts.run]
    return other, replace(
        conditions,
        roughness=conditions.roughness[row],
        roughness_basis=conditions.roughness_basis[row],
        roughness_credit=conditions.roughness_credit[row],
        compression=conditions.compression[row],
        compression_basis=conditions.compression_basis[row],
    )


def way_words(graph: DuctGraph, way: int) -> str:
    """The runs along a way of a loop, for a message."""
    assert graph.loops is not None
    runs = np.unique(graph.ducts.run[graph.loops.of_duct == way]).tolist()
    return " and ".join(f"'{graph.drawing.names[run]}'" for run in runs)


def _directions(graph: DuctGraph) -> bytes:
    """Direction of the air along every way, to be compared."""
    assert graph.loops is not None
    return graph.loops.forward.tobytes()


def settled_audit(found: Audit) -> tuple[Audit, FloatArray | None]:
    """What is odd about a drawing in which the air has settled and is added up.

    Parameters
    ----------
    found
        The drawing looked through.

    Returns
    -------
    audit, flow
        With the graph as the air goes, and what was found on the way; the airflow in
        each duct, m³/s, shape (d,), none where it stands still; None if it is not
        known.
    """
    graph = found.graph
    if graph is None:
        if found.partial is None:
            return found, None
        faults, _ = _without_airflows(found.partial, has_bends=not found.is_bare)
        return replace(found, findings=ranked([*faults, *found.findings])), None
    faults, conditions = _without_airflows(graph, has_bends=True)
    drawn = None if graph.loops is not None else duct_flows(graph)
    said = set(graph.notices)
    # What is told of a gap is not told again of the part behind it.
    left_out = said.difference(found.findings)
    rest = [notice for notice in found.findings if notice not in said]
    flow = drawn
    try:
        if conditions is not None:
            graph, conditions, flow = settled(graph, conditions)
        if flow is not None:
            check_drawn_flows(graph, flow)
    except BadInput as bad:
        faults += bad.faults
        conditions = None
    if conditions is None or flow is None:
        return replace(found, findings=(*faults, *found.findings)), drawn
    velocity = flow / graph.ducts.area
    every = [
        *faults,
        *rest,
        *(notice for notice in graph.notices if notice not in left_out),
        *still_notices(graph, conditions, flow),
        *unused_flows(graph, flow),
        *fast_flags(graph, velocity),
    ]
    flow = np.where(flow > 2.0 * STILL * flow.max(), flow, 0.0)
    return replace(found, graph=graph, findings=ranked(every)), flow


def _without_airflows(
    graph: DuctGraph, *, has_bends: bool
) -> tuple[list[Notice], Conditions | None]:
    """What stands in the way whatever the airflows are; the conditions if nothing does.

    The bends are asked where all sections are known.
    """
    faults: list[Notice] = []
    if has_bends:
        try:  # an elbow that cannot be made so; at which Reynolds number is all one
            bend_coefficients(graph, np.full(len(graph.bends.duct), 1e5))
        except BadInput as bad:
            faults += bad.faults
    try:
        return faults, conditions_of(graph)
    except BadInput as bad:
        return [*faults, *bad.faults], None


def still_notices(
    graph: DuctGraph, conditions: Conditions, flow: FloatArray
) -> list[Notice]:
    """Say in which ways of its loops the air stands nearly still, and what hangs on it.

    Parameters
    ----------
    graph, conditions
        The classified graph, and the conditions of its ducts.
    flow
        Airflow in each duct as `settled` leaves it, m³/s, shape (d,).
    """
    if graph.loops is None:
        return []
    closing, around = loops_of(graph)
    into, ends = graph.meetings.duct, graph.ducts.finish
    through = np.bincount(ends[into], flow[into], len(graph.nodes))[ends[closing]]
    lost, _ = spent(graph, conditions, flow)
    lacks = around @ lost
    # Less is rounding, or what the least airflow itself takes.
    lacks[lacks <= 10.0 * _LEAST * (np.abs(around) @ np.abs(lost))] = 0.0
    notices = []
    for row in (flow[closing] < WEAK * through).nonzero()[0].tolist():
        duct, part = int(closing[row]), float(flow[closing[row]] / through[row])
        node, way = int(ends[duct]), int(graph.loops.of_duct[duct])
        begin = int(graph.loops.ways.ends[way].sum()) - node
        there = graph.topology.place(node)
        verb = "parts" if graph.is_return else "meets"
        said = [
            f"only {100.0 * part:.2g} % of the air that {verb} at {there} goes here"
        ]
        if flow[duct] <= 2.0 * STILL * flow.max():
            said = [f"the air stands still up to {there}"]
            if lacks[row] > 0.0:
                said.append(
                    "to move it either way the tables of its junctions lack "
                    f"{pressure_words(float(lacks[row]))} or more"
                )
            else:
                said[0] += ", as the pressure is the same at both ends of its way"
        least = STILL * flow.max()
        here = flow - flow[duct] * around[row]
        first = (here < least) & (flow > 2.0 * least) & (graph.loops.of_duct != way)
        here = np.maximum(here, least)
        step = 0.0 if first.any() else _hangs_on(graph, conditions, here, way)
        if first.any():
            said.append("the air of another duct turns round before its own does")
        elif step > 0.0:
            said.append(
                "as its air turns round, a path loses up to "
                f"{pressure_words(step)} more or less at once"
            )
        else:
            said.append(
                f"while it is less than {100.0 * WEAK:.0f} % of the air that {verb} "
                "there, the losses of that joint go evenly over to those that it has "
                "when this air turns round, so that none jumps (own choice, no "
                "published source)"
            )
        notices.append(
            warning(
                graph.place(duct),
                "; ".join(said),
                f"delete the duct from {graph.topology.place(begin)} to there if it is "
                "to carry nothing, or make the ducts around it differ more",
                effect="the losses near its ends are less sure than others, and other "
                "airflows may settle as well",
                place=graph.nodes[node],
            )
        )
    return notices


def unused_flows(graph: DuctGraph, flow: FloatArray) -> list[Notice]:
    """Say which airflows drawn within a loop are not those that its air is shared by.

    Parameters
    ----------
    graph
        The classified graph.
    flow
        Airflow in each duct as `settled` leaves it, m³/s, shape (d,).
    """
    dead = dead_ducts(graph, flow)
    if graph.loops is None or dead is None:
        return []
    begins, off = against_drawn(graph, flow)
    begins &= loops_of(graph)[1].any(axis=0) & ~dead
    # The air goes both ways from the inlet of a loop that is one run.
    runs, agreed = graph.ducts.run, graph.ducts.run[begins & ~off]
    ducts = (begins & off & ~np.isin(runs, agreed)).nonzero()[0]
    run, first = np.unique(runs[ducts], return_index=True)
    return [
        warning(
            graph.place(duct),
            f"the drawing writes {airflow_words(float(graph.ducts.drawn_flow[duct]))} "
            "there, but around a loop the air is shared so that both ways lose the "
            f"same: {airflow_words(float(flow[duct]))} where the run begins",
            "leave it out, or change a size if it is to hold",
            effect="the airflow written there is not used",
            place=graph.drawing.first_middle(row),
        )
        for row, duct in zip(run.tolist(), ducts[first].tolist(), strict=True)
    ]


def _hangs_on(
    graph: DuctGraph, conditions: Conditions, flow: FloatArray, way: int
) -> float:
    """Most that the loss of a path changes as the direction of a way does, Pa.

    Nothing where that is less than a hundredth of it.
    """
    assert graph.loops is not None
    paid = _path_losses(graph, conditions, flow)
    signed = graph.loops.signed(flow)
    signed[way] = -signed[way]
    try:
        other, renewed = _turned(graph, conditions, signed)
    except BadInput:  # no air would leave a node
        return 0.0
    assert other.loops is not None
    moved = np.abs(signed)[other.loops.of_duct]
    lost = _path_losses(other, renewed, moved)[terminal_rows(graph, other)]
    change = np.abs(lost - paid)
    return float(change[change > _SAME * np.abs(paid)].max(initial=0.0))


def _path_losses(
    graph: DuctGraph,
    conditions: Conditions,
    flow: FloatArray,
) -> FloatArray:
    """Loss from the source to the end of each terminal's duct, Pa, shape (t,)."""
    lost, _ = spent(graph, conditions, flow)
    return sum_from_root(graph.ducts.parent, lost)[graph.terminals.duct]


def _ends(graph: DuctGraph) -> IntArray:
    """Node of each terminal, shape (t,): the same however the graph is turned."""
    return graph.ducts.finish[graph.terminals.duct]
