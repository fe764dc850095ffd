"""The classified graph of a drawing: `build` makes it, `DuctGraph` holds it."""

import gc
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from .basis import Basis
from .classify import classify
from .components import Components, components_of
from .drawing import Drawing
from .faults import BadInput, Notice, error, note, refusal, warning
from .fit import fit_notices
from .fittings import NONE, Bends, Ducts, Legs, Source, Terminals, Transitions
from .islands import islands, with_islands
from .named_ends import without_lent
from .names import no_section, toml_key, without_section
from .odd_lengths import length_notices
from .pieces import RunSections
from .quantity_words import length_words
from .run_names import (
    drawn_alone,
    goes_by,
    labels,
    shared_notices,
    with_drawn_names,
)
from .run_words import with_run_words
from .schedule import Schedule
from .sections import BoolArray, FloatArray, IntArray, Section, Shape, words
from .shared_lines import drawn_flows, end_flow_notices, lost_faults, shared_lines
from .snap import TOLERANCE
from .source import find_source, side_notices
from .standing import lying_notices
from .terminals import match_terminals
from .toml_tables import table_at
from .topology import Topology, join, loops, walk
from .total_airflow import total_notices
from .tree import Tree, tree_from
from .unused import unused_notices
from .ways import Loops, Ways, find_ways, first_guess, still_faults, tree_along

if TYPE_CHECKING:
    import networkx as nx

    Network: TypeAlias = "nx.DiGraph[int]"

_SILENT = Schedule()  # for a drawing without a schedule
_ANY = 0.2  # m: diameter of a run without a section, to look through the others


@dataclass(frozen=True, eq=False)
class DuctGraph:
    """A drawing as ducts and fittings, walked from the source.

    Parameters
    ----------
    topology
        The joined drawing.
    schedule
        What the drawing could not say.
    source
        Where the air comes from.
    ducts, bends, transitions, legs, terminals
        What was recognised, a row each.
    section_basis
        `Basis` code of each duct's section, shape (d,).
    notices
        Everything to be said of the drawing so far.
    meetings
        Legs that lead to where the air of a loop meets: each duct that ends at such a
        node. None in a tree.
    lone
        Legs of each meeting as if all its air came along one duct, which is `common`:
        once for each duct that leads there. For where the air of the others stands.
    loops
        The ways between joints where there are loops; None in a tree.
    """

    topology: Topology
    schedule: Schedule
    source: Source
    ducts: Ducts
    bends: Bends
    transitions: Transitions
    legs: Legs
    terminals: Terminals
    section_basis: IntArray
    notices: tuple[Notice, ...]
    meetings: Legs
    lone: Legs
    loops: Loops | None = None

    @property
    def drawing(self) -> Drawing:
        """The drawing that the graph was built from."""
        return self.topology.drawing

    @property
    def nodes(self) -> FloatArray:
        """Node positions, m, shape (k, 3)."""
        return self.topology.nodes

    @property
    def is_return(self) -> bool:
        """Whether the air flows from the terminals to the source, which is the fan."""
        return self.schedule.source.is_return

    @cached_property
    def nx(self) -> "Network":
        """The topology as a networkx graph, edges in the direction of the walk.

        Nodes carry `point` (m) and `kind`; edges carry `run`, `section` (in words),
        `length` (m) and `duct`, the row of `ducts` that has the rest. A bend that is
        drawn as an arc is one node, at its near end. Built at the first use.
        """
        return network(self)

    @cached_property
    def components(self) -> Components:
        """Where the components of the schedule stand; BadInput where one does not."""
        return components_of(self)

    @cached_property
    def bend_duct(self) -> IntArray:
        """Duct whose section each bend has, shape (b,): the one nearer to the source.

        In a return that is the duct behind the bend, as the air goes. At the far end of
        a drawn transition it is the other one.
        """
        drawn = self.transitions.length_basis == int(Basis.DRAWN)
        if not drawn.any():
            return self.bend_before
        far = np.isin(self.bends.duct, self.transitions.duct[drawn])
        return np.where(far, self.bends.duct, self.bend_before)

    @cached_property
    def bend_before(self) -> IntArray:
        """Duct that ends at each bend, on the side of the source, shape (b,)."""
        return self.ducts.parent.take(self.bends.duct)

    @cached_property
    def bend_of(self) -> IntArray:
        """Row of the bend at the start of each duct, shape (d,); -1 without one."""
        return _rows_by_duct(self.bends.duct, len(self.ducts.parent))

    @cached_property
    def leg_of(self) -> IntArray:
        """Row of the leg that each duct is of the junction before it, (d,); or -1."""
        return _rows_by_duct(self.legs.duct, len(self.ducts.parent))

    def section(self, duct: int) -> Section:
        """Section of a duct."""
        return self.ducts.section(duct)

    def place(self, duct: int) -> str:
        """Name the place of a duct for a message."""
        return self.drawing.place(int(self.ducts.run[duct]))


def _rows_by_duct(duct: IntArray, count: int) -> IntArray:
    rows = np.full(count, -1)
    rows[duct] = np.arange(len(duct))
    return rows


def _no_duct(drawing: Drawing, tolerance: float) -> BadInput:
    """Refusal of a drawing of which joining leaves nothing."""
    longest = max(drawing.runs, key=lambda run: run.length, default=None)
    if longest is None:
        return refusal(drawing.file, "there is no duct in it", "draw at least one run")
    alone = drawing.run_count == 1
    return refusal(
        f"{drawing.file}, run '{longest.name}'",
        f"{'it' if alone else 'the longest run'} is {length_words(longest.length)} "
        "long, and points no further apart than the tolerance of "
        f"{length_words(tolerance)} are one: no duct is left",
        "draw it longer, say --unit if it is drawn in another one, or give a smaller "
        "--tolerance",
    )


def build(
    drawing: Drawing,
    schedule: Schedule | None = None,
    *,
    tolerance: float = TOLERANCE,
    other_drawings: Sequence[Collection[str]] = (),
) -> DuctGraph:
    """Turn a drawing into a classified graph.

    Parameters
    ----------
    drawing
        The drawing.
    schedule
        What the drawing cannot say; an empty one if None.
    tolerance
        Largest distance of ends that are joined, m.
    other_drawings
        Of each other drawing that shares the schedule the names of its runs and
        terminals: it may say something of these runs, which is said of a run here
        whose name is the same but for its section, as of its end where it has no
        terminal by its own name; other terminals are refused with how to part the two.

    Returns
    -------
    graph
        The classified graph.

    Raises
    ------
    BadInput
        If the drawing and the schedule together do not give one; all faults that
        could be found at once.
    ValueError
        If the tolerance is not above zero and finite.
    """
    whole, faults, _ = attempted(drawing, schedule, tolerance, other_drawings)
    if faults or whole is None:
        raise BadInput(faults)
    return whole


def attempted(
    drawing: Drawing,
    schedule: Schedule | None = None,
    tolerance: float = TOLERANCE,
    other_drawings: Sequence[Collection[str]] = (),
) -> tuple[DuctGraph | None, list[Notice], BoolArray]:
    """Turn a drawing into a classified graph, as far as faults let it.

    One fault does not hide another: where a section or an airflow is wanting, the rest
    is looked through all the same.

    Parameters
    ----------
    drawing, schedule, tolerance, other_drawings
        As for `build`.

    Returns
    -------
    graph, faults, bare
        The graph, None where nothing could be walked; it is whole where there is no
        fault. Else runs without a section have any, and terminals without an airflow
        NaN. All faults, those of the schedule's file first, and whether each run has no
        section of its own, shape (r,).
    """
    schedule = schedule or _SILENT
    faults = list(schedule.faults)
    is_known = ("source", "") not in schedule.unread
    schedule, misnamed, said = with_drawn_names(schedule, drawing, other_drawings)
    if misnamed:
        faults += misnamed
        schedule = drawn_alone(schedule, drawing)
        is_known &= all(table_at(one.where) != "source" for one in misnamed)
    schedule, left_out = without_lent(schedule, drawing, other_drawings)
    if said or left_out:
        drawing = replace(drawing, notices=(*drawing.notices, *said, *left_out))
    other_runs = {name for names in other_drawings for name in names}
    drawing = with_run_words(drawing, schedule)
    bare = np.zeros(drawing.run_count, dtype=bool)
    graph = None
    try:
        topology = join(drawing, tolerance)
        if len(topology.ends) == 0:
            raise _no_duct(drawing, tolerance)
        if not is_known:
            raise BadInput(())  # that is said already
        sections = run_sections(drawing, schedule)
        source = find_source(topology, schedule)
        order, before = walk(topology, source.node)
        reached = np.zeros(len(topology.nodes), dtype=bool)
        reached[order] = True
        bare = _bare(topology, sections, reached)
        faults += _bare_faults(topology, schedule, bare)
        if topology.notices:  # else nothing was dropped
            faults += lost_faults(topology, shared_lines(topology, source.node))
        if bare.any():
            # Any will do: nothing is told that follows from it.
            shape, width, height = sections.shape, sections.width, sections.height
            sections = RunSections(
                np.where(bare, int(Shape.ROUND), shape),
                np.where(bare, _ANY, width),
                np.where(bare, _ANY, height),
                sections.basis,
            )
        if int(reached[topology.ends[:, 0]].sum()) >= len(order):
            ways = find_ways(topology, source.node)
            rings = ways.ends[ways.ends[:, 0] == ways.ends[:, 1], 0]
            if len(rings):
                raise BadInput(still_faults(topology, rings))
            flow = first_guess(topology, ways, source.node)
            graph = _with_loops(
                topology, schedule, source, sections, ways, flow, other_runs, faults
            )
        else:
            tree = tree_from(topology, order, before)
            graph = _classified(
                topology, schedule, source, sections, tree, reached, other_runs, faults
            )
    except BadInput as bad:
        faults += bad.faults
    return graph, faults, bare


def directed(graph: DuctGraph, flow: FloatArray) -> DuctGraph:
    """Build a graph with loops anew, with the air in other directions.

    Parameters
    ----------
    graph
        The graph; one without loops comes back as it is.
    flow
        Airflow along each of its ways, m³/s, below zero against the way, shape (w,).

    Returns
    -------
    graph
        The same layout. Where several ducts lead into a node the tree goes on from the
        strongest. Ducts and terminals may stand in another order.

    Raises
    ------
    BadInput
        If no air would leave a node at which it meets.
    """
    if graph.loops is None:
        return graph
    sections = run_sections(graph.drawing, graph.schedule)
    topology, source, ways = graph.topology, graph.source, graph.loops.ways
    faults: list[Notice] = []
    built = _with_loops(
        topology, graph.schedule, source, sections, ways, flow, (), faults
    )
    if faults:
        raise BadInput(faults)
    return built


def remade(graph: DuctGraph, schedule: Schedule) -> DuctGraph:
    """Build a graph anew by another schedule.

    It is made from that of the graph, so each name in it means one run.

    Raises
    ------
    BadInput
        As `build`.
    """
    return build(
        graph.drawing,
        replace(schedule, shared=schedule.shared or {}),
        tolerance=graph.topology.tolerance,
    )


def _with_loops(
    topology: Topology,
    schedule: Schedule,
    source: Source,
    sections: RunSections,
    ways: Ways,
    flow: FloatArray,
    other_runs: Collection[str],
    faults: list[Notice],
) -> DuctGraph:
    tree, way, forward = tree_along(topology, ways, source.node, flow)
    stuck = np.setdiff1d(tree.meeting, tree.start)
    if len(stuck):
        raise BadInput(still_faults(topology, stuck))
    reached = np.isin(np.arange(len(topology.nodes)), ways.ends)
    reached[tree.finish] = True
    return _classified(
        topology,
        schedule,
        source,
        sections,
        tree,
        reached,
        other_runs,
        faults,
        (ways, way, forward),
    )


def _classified(
    topology: Topology,
    schedule: Schedule,
    source: Source,
    sections: RunSections,
    tree: Tree,
    reached: BoolArray,
    other_runs: Collection[str],
    faults: list[Notice],
    around: tuple[Ways, IntArray, BoolArray] | None = None,
) -> DuctGraph:
    """Recognise the fittings; what is wrong with the terminals is added to `faults`.

    `around` holds the ways, that of each segment, and whether the air goes along each
    as listed.
    """
    drawing = topology.drawing
    found = classify(topology, tree, sections, schedule)
    lines = shared_lines(topology, source.node)
    ducts = found.ducts
    if lines:
        walked = (found.duct_of >= 0).nonzero()[0][::-1]
        first = np.full(len(ducts.run), NONE)  # none for a duct without length
        first[found.duct_of[walked]] = tree.segment[walked]
        drawn = drawn_flows(lines, ducts.run, first, ducts.drawn_flow)
        ducts = replace(ducts, drawn_flow=drawn)
    terminals, wrong = match_terminals(
        topology, ducts, schedule, tree.meeting, other_runs, lines
    )
    faults += wrong
    loops = None
    if around is not None:
        ways, way, forward = around
        of_duct = np.zeros(len(ducts.run), dtype=np.int64)
        real = found.duct_of >= 0
        of_duct[found.duct_of[real]] = way[real]
        loops = Loops(ways, forward, of_duct)
    graph = DuctGraph(
        topology,
        schedule,
        source,
        ducts,
        found.bends,
        found.transitions,
        found.legs,
        terminals,
        sections.basis[ducts.run],
        (),
        found.meetings,
        found.lone,
        loops,
    )
    at, side = topology.place(source.node), sections.larger_side
    notices = (
        *drawing.notices,
        *with_islands(topology, islands(topology, reached, sections)),
        note(drawing.file, f"the source is taken at {at}: {source.reason}"),
        *shared_notices(schedule),
        *found.notices,
        *end_flow_notices(drawing, lines),
        *length_notices(topology, tree.segment, tree.length, side),
        *fit_notices(graph),
        *lying_notices(topology, ducts, found.legs, terminals.duct),
        *unused_notices(graph),
        *total_notices(schedule, terminals),
        *side_notices(schedule, drawing),
    )
    if around is not None:
        notices += tuple(loop_notices(topology, tree.meeting, graph.is_return))
    return replace(graph, notices=notices)


def run_sections(drawing: Drawing, schedule: Schedule) -> RunSections:
    """Section of each run: the schedule's where it names the run, else the drawing's.

    Parameters
    ----------
    drawing, schedule
        What was drawn and what was declared.

    Returns
    -------
    sections
        Arrays of shape (r,).
    """
    shape = drawing.shape.copy()
    width, height = drawing.width.copy(), drawing.height.copy()
    basis = drawing.section_basis.copy()
    names = list(drawing.names) if schedule.sections else []
    place = dict(zip(reversed(names), reversed(range(len(names))), strict=True))
    for name, section in schedule.sections.items():
        if name in place:  # the first run of that name
            run = place[name]
            shape[run], width[run], height[run] = (
                section.shape,
                section.width,
                section.height,
            )
            basis[run] = int(Basis.DECLARED)
    return RunSections(shape, width, height, basis)


def network(graph: DuctGraph) -> "Network":
    """Build the networkx view of a graph's topology."""
    import networkx as nx

    ducts = graph.ducts
    names = graph.drawing.names
    out: Network = nx.DiGraph()
    collecting = gc.isenabled()
    gc.disable()  # a hundred thousand dictionaries would each be looked at again
    try:
        kinds = node_kinds(graph)
        points = graph.nodes.tolist()
        # Behind an arc a duct starts at another node of the drawing: one node here.
        before = ducts.finish.take(ducts.parent)
        starts = np.where(ducts.parent >= 0, before, ducts.start)
        used = np.unique(np.concatenate([starts, ducts.finish])).tolist()
        out.add_nodes_from(
            (node, {"point": tuple(points[node]), "kind": kinds[node]}) for node in used
        )
        rows = zip(
            starts.tolist(),
            ducts.finish.tolist(),
            ducts.run.tolist(),
            ducts.shape.tolist(),
            ducts.width.tolist(),
            ducts.height.tolist(),
            ducts.length.tolist(),
            strict=True,
        )
        out.add_edges_from(
            (
                start,
                finish,
                {
                    "duct": duct,
                    "run": names[run],
                    "section": words(shape, width, height),
                    "length": length,
                },
            )
            for duct, (start, finish, run, shape, width, height, length) in enumerate(
                rows
            )
        )
    finally:
        if collecting:
            gc.enable()
    return out


def node_kinds(graph: DuctGraph) -> dict[int, str]:
    """What stands at each node of a graph, in a word."""
    ducts = graph.ducts
    kinds = dict.fromkeys(ducts.start.tolist(), "joint")
    for rows, kind in (
        (ducts.start[graph.transitions.duct], "transition"),
        (ducts.start[graph.bends.duct], "bend"),
        (ducts.start[graph.legs.duct], "junction"),
        (ducts.finish[graph.meetings.duct], "junction"),
        (ducts.finish[graph.terminals.duct], "terminal"),
    ):
        kinds.update(dict.fromkeys(rows.tolist(), kind))
    # An arc's two ends are different nodes of the drawing; both belong to the bend.
    ahead = graph.bend_before
    kinds.update(dict.fromkeys(ducts.finish[ahead].tolist(), "bend"))
    kinds[graph.source.node] = "source"
    return kinds


def loop_notices(
    topology: Topology, meeting: IntArray | None = None, is_return: bool = False
) -> list[Notice]:
    """Say where there are loops, and where their air meets, or in a return parts.

    Parameters
    ----------
    topology
        The joined drawing.
    meeting
        Nodes at which air meets; None where that is not known.
    is_return
        Whether the air flows to the source, and so parts there.

    Returns
    -------
    notices
        One for each independent loop.
    """
    drawing, notices = topology.drawing, []
    met = np.empty(0, dtype=np.int64) if meeting is None else meeting
    for loop in loops(topology) if topology.cycle_count else []:
        corners = [topology.place(int(node)) for node in loop[:6]]
        shown = ", ".join(corners) + (", ..." if len(loop) > 6 else "")
        where = [topology.place(int(n)) for n in np.intersect1d(loop, met)]
        verb = "parts" if is_return else "meets"
        meets = f"; its air {verb} at {' and '.join(where)}" if where else ""
        around = topology.run[np.isin(topology.ends, loop).all(axis=1)]
        runs = [f"'{drawing.names[run]}'" for run in np.unique(around)[:5].tolist()]
        notices.append(
            warning(
                drawing.file,
                f"the ducts form a loop through {shown}, in {', '.join(runs)}{meets}",
                "if it is not meant, part the runs that should not meet",
                effect="the air is shared so that both ways round lose the same",
                place=topology.nodes[int(loop[0])],
            )
        )
    return notices


def _bare(topology: Topology, sections: RunSections, reached: BoolArray) -> BoolArray:
    """Which runs that are reached have no section and are no transition, shape (r,)."""
    unsaid = sections.shape == int(Shape.NONE)
    if not unsaid.any():
        return np.asarray(unsaid)
    used = np.zeros(len(unsaid), dtype=bool)
    used[topology.run[reached[topology.ends[:, 0]]]] = True
    for run, said in topology.drawing.attributes.items():
        used[run] &= not said.transition
    return np.asarray(used & unsaid)


def _bare_faults(
    topology: Topology, schedule: Schedule, bare: BoolArray
) -> list[Notice]:
    drawing = topology.drawing
    runs = bare.nonzero()[0].tolist()
    written = unread_sections(drawing, schedule)
    return [
        error(
            drawing.place(run),
            no_section(drawing.names[run]),
            without_section(
                drawing.names[run],
                f'{toml_key(drawing.names[run])} = "600x300 mm" under [sections] in '
                + schedule.called(drawing.file),
                drawing.file,
            ),
            effect="no result",
            place=drawing.first_middle(run),
        )
        for run in runs
        if run not in written
    ]


def unread_sections(drawing: Drawing, schedule: Schedule) -> set[int]:
    """Runs of which the schedule's file has a section without a value that it reads."""
    names = [name for table, name in schedule.unread if table == "sections"]
    if not names:
        return set()
    runs = range(drawing.run_count)
    known = goes_by(drawing, names, runs)
    return {run for run in runs if not known.isdisjoint(labels(drawing, run))}
