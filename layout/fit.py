"""What does not fit where it is drawn, and what a corner leaves open."""

from typing import TYPE_CHECKING

import numpy as np

from .basis import Basis
from .constructions import ElbowConstruction
from .drawing import Drawing
from .faults import Notice, and_more, listed, note, warning
from .fittings import NONE, Bends, Ducts, Legs, Transitions
from .frames import cross
from .names import toml_key
from .near_misses import tolerance_for
from .quantity_words import length_words, size_words
from .run_words import flexible_runs, lacks_material
from .schedule import FLEXIBLE
from .sections import BoolArray, FloatArray, IntArray, Shape
from .within_mains import Way, ways_from_mains, within_mains

if TYPE_CHECKING:
    from .graph import DuctGraph

TAP_FROM = np.radians(60.0)  # a tap leaves its main by this turn or more
_MUCH_SMALLER = 0.7  # of the area: own choice, no published source
_HUGE = 5.0  # m: no duct is so wide; own choice, no published source
_SQUARE = float(np.cos(np.radians(20.0)))  # of a side to what it is measured along
_LEVEL = float(np.sin(np.radians(45.0)))  # what rises less is called level
_NAMED = 5  # runs in one sentence
_SAME_SIZE = 0.02  # what nominal sizes of one duct may differ by
_BACK = float(np.radians(1.0))  # nearer to a turn back, a second turn is one
# Of the side along which two bends shift a duct: so little that three quarters of its
# openings still face each other; own choice, no published source.
_JOG = 0.25
_SLIP = 0.01  # m: a tolerance of more may join what is meant apart; own choice
_AT_WALL = 0.01  # m: what ends this near to a wall opens in it; own choice
_ROUNDING = 1e-6
_FAR = 1e9  # m: no wall is so far
_JUNCTION_BEFORE = "the junction before it"
_RADIUSLESS = np.array([code.turn != "arc" for code in ElbowConstruction])


def fit_notices(graph: "DuctGraph") -> list[Notice]:
    """Say which fittings have no room where they are drawn, and what is left open."""
    return [
        *room_faults(graph),
        *_corners(graph),
        *_overruled(graph),
        *_flexible_of_what(graph),
        *_flexible_with_sides(graph),
        *_huge(graph),
        *_large_branches(graph),
    ]


def room_faults(graph: "DuctGraph") -> list[Notice]:
    """Say which bends, transitions and ends have no room, and which bends no radius."""
    return [
        *_short_bends(graph),
        *tight_bends(graph, graph.bends.lacks_radius > 0.0),
        *_short_transitions(graph),
        *_ends_within(graph),
    ]


def size_notice(drawing: Drawing, run: int, size: str, fault: str) -> Notice:
    """Say of a run that its section is 'large' or 'small'."""
    return warning(
        drawing.place(run),
        f"its section is {size}, {fault} for a duct",
        "check the unit of its size",
        effect="velocity and loss follow from it",
        place=drawing.first_middle(run),
    )


def _huge(graph: "DuctGraph") -> list[Notice]:
    """Runs with a side that no duct has: it is in another unit."""
    ducts = graph.ducts
    rows = (np.fmax(ducts.width, ducts.height) > _HUGE).nonzero()[0]
    if len(rows) == 0:
        return []
    runs, first = np.unique(ducts.run[rows], return_index=True)
    return [
        size_notice(graph.drawing, run, _size(ducts, duct), "large")
        for run, duct in zip(runs.tolist(), rows[first].tolist(), strict=True)
    ]


def branches_beyond(ducts: Ducts, legs: Legs) -> dict[int, float]:
    """Ducts of branches that do not fit in the side of the main that they leave.

    Returns
    -------
    beyond
        How far each reaches beyond that side, m, by its number.
    """
    higher, sizes, larger = _beyond(ducts, legs)
    found = dict(
        zip(legs.duct[higher].tolist(), (sizes[0] - sizes[1]).tolist(), strict=True)
    )
    longer = np.maximum(ducts.width, ducts.height)
    for row in larger.tolist():
        own, main = int(legs.duct[row]), int(legs.common[row])
        found[own] = float(longer[own] - longer[main])
    return found


def _beyond(
    ducts: Ducts, legs: Legs
) -> tuple[IntArray, tuple[FloatArray, FloatArray], IntArray]:
    """Legs longer than the side that they leave, both sizes, and those larger all over.

    What is measured lies across both ducts' ways.
    """
    own, main = legs.duct, legs.common
    wide, high = ducts.width, ducts.height
    long, short = np.maximum(wide, high), np.minimum(wide, high)
    most = 1.0 + _SAME_SIZE
    larger = legs.is_branch & ~legs.is_symmetrical & (own != main)
    larger &= long[own] > most * short[main]
    higher = larger.nonzero()[0]
    if len(higher) == 0:
        return higher, (np.zeros(0), np.zeros(0)), higher
    larger &= (long[own] > most * long[main]) & (short[own] > most * short[main])
    higher = higher[~larger[higher]]
    across = _across(ducts, own[higher], main[higher])
    own_size, main_size = (_extent(ducts, d[higher], across) for d in (own, main))
    kept = own_size > most * main_size
    return (
        higher[kept],
        (own_size[kept], main_size[kept]),
        larger.nonzero()[0],
    )


def _across(ducts: Ducts, own: IntArray, main: IntArray) -> FloatArray:
    """Unit vectors across the ways of two ducts each, shape (n, 3)."""
    across = cross(*(ducts.end[d] - ducts.begin[d] for d in (own, main)))
    length = np.sqrt(np.einsum("ij,ij->i", across, across))
    return np.asarray(across / np.where(length > 0.0, length, np.inf)[:, None])


def _large_branches(graph: "DuctGraph") -> list[Notice]:
    """Branches that do not fit in the side of the main that they leave."""
    higher, sizes, larger = _beyond(graph.ducts, graph.legs)
    own, main = graph.legs.duct, graph.legs.common
    return [
        *_long_branches(graph, own[higher], main[higher], *sizes),
        *_huge_branches(graph, own[larger], main[larger]),
    ]


def _long_branches(
    graph: "DuctGraph",
    own: IntArray,
    main: IntArray,
    own_size: FloatArray,
    main_size: FloatArray,
) -> list[Notice]:
    """Branches wider or higher than the side that they leave."""
    if len(own) == 0:
        return []
    ducts = graph.ducts
    is_level = np.abs(_across(ducts, own, main)[:, 2]) < _LEVEL
    return [
        note(
            _branch_words(graph, int(own[row])),
            f"the branch of {_size(ducts, int(own[row]))} is "
            f"{length_words(float(own_size[row]))} {'wide' if level else 'high'} where "
            f"the side of its main is {length_words(float(main_size[row]))}",
            f"{'make it narrower' if level else 'flatten it'} there, or turn it to "
            "another side",
            effect="such a takeoff needs a piece that changes shape, which is counted "
            "nowhere",
            place=graph.nodes[int(ducts.start[own[row]])],
        )
        for row, level in enumerate(is_level.tolist())
    ]


def _branch_words(graph: "DuctGraph", duct: int) -> str:
    """Where a branch leaves its main, for a message."""
    ducts = graph.ducts
    return graph.topology.place_in(int(ducts.run[duct]), int(ducts.start[duct]))


def _extent(ducts: Ducts, duct: IntArray, way: FloatArray) -> FloatArray:
    """How far sections reach along some unit vectors, m: by the side that lies so."""
    shares = np.abs(
        [np.einsum("ij,ij->i", a[duct], way) for a in (ducts.across, ducts.upright)]
    )
    wide, high = ducts.width[duct], ducts.height[duct]
    found = np.where(shares[0] > shares[1], wide, high)
    # Askew both count with their smaller side, so that nothing is said wrongly.
    return np.where(shares.max(axis=0) > _SQUARE, found, np.minimum(wide, high))


def _huge_branches(graph: "DuctGraph", own: IntArray, main: IntArray) -> list[Notice]:
    """Branches that are wider and higher than the main that they leave."""
    ducts = graph.ducts
    return [
        warning(
            _branch_words(graph, int(own[row])),
            f"the branch of {_size(ducts, int(own[row]))} is larger in every direction "
            f"than its main of {_size(ducts, int(main[row]))}",
            "correct one of the two sizes, or draw the main as large up to there",
            effect="no such opening fits in the main's side; the loss is that of the "
            "tables all the same",
            place=graph.nodes[int(ducts.start[own[row]])],
        )
        for row in range(len(own))
    ]


def _size(ducts: Ducts, duct: int) -> str:
    return size_words(ducts.shape[duct], ducts.width[duct], ducts.height[duct])


def _short_bends(graph: "DuctGraph") -> list[Notice]:
    ducts, bends, changes = graph.ducts, graph.bends, graph.transitions
    rows = (bends.short_by > 0).nonzero()[0].tolist()
    if not rows:
        return []
    before = ducts.parent
    # What ends each duct, and what begins it: the nearest to its straight part last.
    ends: dict[int, str] = {}
    begins: dict[int, str] = {}
    for ended, begun, what in (
        (
            np.concatenate([graph.legs.common, graph.meetings.duct]),
            graph.legs.duct,
            "junction",
        ),
        (before[changes.duct], changes.duct, "change of section"),
        (before[bends.duct], bends.duct, "bend"),
    ):
        ends.update(dict.fromkeys(ducts.stretch[ended].tolist(), f"the next {what}"))
        begins.update(dict.fromkeys(begun.tolist(), f"the {what} before it"))
    notices = []
    for first, second, shift in _jogs(ducts, bends, rows):
        rows = [row for row in rows if row not in (first, second)]
        place = graph.nodes[int(ducts.start[bends.duct[first]])]
        apart = float(np.linalg.norm(bends.corner[second] - bends.corner[first]))
        joining = f", or say --tolerance '{tolerance_for(apart)}',"
        joining *= apart <= _SLIP
        notices.append(
            warning(
                bend_places(graph, np.array([first, second])),
                f"two bends {length_words(apart)} apart shift the duct by no more than "
                f"{length_words(shift)}",
                f"draw it straight{joining} if that is a slip, else slope it",
                effect="two elbows are counted that cannot be built as drawn",
                place=place,
            )
        )
    for row in rows:
        duct = int(bends.duct[row])
        short, came = float(bends.short_by[row]), int(before[duct])
        if row in bends.mains:
            other = "the next junction" if bends.mains[row] else _JUNCTION_BEFORE
        elif -ducts.straight[duct] >= short - _ROUNDING:
            other = ends.get(duct, "the end of the duct")
        else:
            other = begins.get(int(ducts.stretch[came]), "the start of the duct")
        radius = float(bends.radius[row])
        # A mitred elbow has no tangents: it stands where nothing else may.
        what, remedy = (
            (
                f"with its radius of {length_words(radius)} the tangents lack",
                "take a smaller radius, another construction, or more room",
            )
            if radius > 0.0
            else ("its corner lacks", "draw it that much further away")
        )
        notices.append(
            warning(
                _bend_at(graph, row),
                f"the bend does not fit: {what} {length_words(short)} to {other}",
                remedy,
                effect="its loss is counted in full, but it cannot be built as drawn",
                place=graph.nodes[int(ducts.start[duct])],
            )
        )
    return notices


def _bend_at(graph: "DuctGraph", row: int) -> str:
    """Name a bend for a message, and where it is."""
    duct = int(graph.bends.duct[row])
    at = graph.topology.place(int(graph.ducts.start[duct]))
    return f"{graph.place(duct)}, bend {graph.bends.number[row]} at {at}"


def tight_bends(graph: "DuctGraph", is_tight: BoolArray) -> list[Notice]:
    """Say of bends that their throat would lie on the far side of their centre."""
    ducts, bends, notices = graph.ducts, graph.bends, []
    for row in is_tight.nonzero()[0].tolist():
        duct, side = int(bends.duct[row]), float(bends.in_plane[row])
        notices.append(
            warning(
                _bend_at(graph, row),
                "the bend is too tight: its centreline radius of "
                f"{length_words(float(bends.side_radius[0, row]))} is less than half "
                f"of the {length_words(side)} that the duct measures in its plane",
                f"give it a radius of {length_words(side / 2)} or more, or another "
                "construction",
                # What its loss is taken from depends on its table, which says it.
                effect="it cannot be built as drawn, and no table has one so tight",
                place=graph.nodes[int(ducts.start[duct])],
            )
        )
    return notices


def transition_parts(
    bends: Bends, transitions: Transitions, parent: IntArray
) -> tuple[FloatArray, FloatArray]:
    """What transitions that are not drawn take at both ends of each duct, m, (d,).

    Half of a piece lies on either side of its vertex, and behind an elbow all of it.
    """
    rows = transitions.length_basis != int(Basis.DRAWN)
    after, length = transitions.duct[rows], transitions.length[rows]
    turns = np.zeros(len(parent), dtype=bool)
    turns[bends.duct] = True
    behind = np.where(turns[after], length, length / 2)
    count = len(parent)
    at_start = np.bincount(after, behind, count)
    at_end = np.bincount(parent[after], length - behind, count)
    return np.asarray(at_start, np.float64), np.asarray(at_end, np.float64)


def lacking_for_transitions(
    ducts: Ducts, bends: Bends, transitions: Transitions, legs: Legs, meetings: Legs
) -> FloatArray:
    """What each duct lacks for the transitions at its ends that are not drawn, m.

    Of each they take `transition_parts`; a branch has room from its main's wall on. Of
    a straight stretch in several runs each duct has the room of all of it.

    Returns
    -------
    lacking
        Below zero where there is room to spare, shape (d,).
    """
    needed = np.sum(transition_parts(bends, transitions, ducts.parent), axis=0)
    every = ducts.stretch_of(np.arange(len(needed)))
    needed = np.bincount(every, needed, len(needed))[every]
    lacking = needed - ducts.reach
    if needed.any():
        room = np.where(needed > 0.0, -lacking, _FAR)
        within = within_mains(ducts, legs, meetings, room)
        np.add.at(lacking, every[within.duct], within.length)
    return np.asarray(lacking[every])


def _jogs(ducts: Ducts, bends: Bends, short: list[int]) -> list[tuple[int, int, float]]:
    """Pairs of bends without room that shift a duct by little, and the shift, m."""
    before = ducts.stretch[ducts.parent[bends.duct]].tolist()
    at = dict(zip(before, range(len(bends.duct)), strict=True))
    found: list[tuple[int, int, float]] = []
    taken: set[int] = set()
    for first in sorted(short):
        duct = int(bends.duct[first])
        second = at.get(duct)
        if second is None or second not in short or first in taken:
            continue
        back = abs(bends.angle[second] - bends.angle[first]) <= _BACK
        back &= bends.axis[first] @ bends.axis[second] < -np.cos(_BACK)
        apart = np.linalg.norm(bends.corner[second] - bends.corner[first])
        shift = float(apart * np.sin(bends.angle[first]))
        side = min(bends.in_plane[first], bends.in_plane[second])
        if back and shift <= _JOG * side:
            found.append((first, second, shift))
            taken.add(second)
    return found


def _short_transitions(graph: "DuctGraph") -> list[Notice]:
    """Transitions that are not drawn, longer than the ducts at their vertex allow."""
    ducts, bends, transitions = graph.ducts, graph.bends, graph.transitions
    rows = (transitions.short_by > 0).nonzero()[0].tolist()
    if not rows:
        return []
    lacking = lacking_for_transitions(
        ducts, bends, transitions, graph.legs, graph.meetings
    )
    sharp = transitions.duct[transitions.length_basis != int(Basis.DRAWN)]
    taking = np.bincount(
        np.concatenate([sharp, ducts.stretch[ducts.parent[sharp]]]),
        minlength=len(ducts.run),
    )[ducts.stretch]
    cornered = np.isin(transitions.duct, bends.duct)
    names, notices = graph.drawing.names, []
    for row in rows:
        after = int(transitions.duct[row])
        if transitions.length_basis[row] == int(Basis.DRAWN):
            notices.append(_within_main(graph, row))
            continue
        duct = max(after, int(ducts.parent[after]), key=lacking.__getitem__)
        node = int(ducts.start[after])
        lies = "behind the elbow" if cornered[row] else "half on either side"
        others = " for it and for the one at its other end"
        others *= int(taking[duct] > 1)
        notices.append(
            warning(
                f"{graph.place(after)}, transition at {graph.topology.place(node)}",
                "the transition does not fit: its piece of "
                f"{length_words(float(transitions.length[row]))} lies {lies}, and the "
                f"straight of run '{names[int(ducts.run[duct])]}' lacks "
                f"{length_words(float(transitions.short_by[row]))}{others}",
                "write a shorter length or a larger included_angle under "
                "[transitions], draw the piece as a run, or give it more room",
                effect="its loss is counted in full, but it cannot be built as drawn",
                place=graph.nodes[node],
            )
        )
    return notices


def _within_main(graph: "DuctGraph", row: int) -> Notice:
    """Say that a drawn transition lies within a main."""
    transitions = graph.transitions
    after = int(transitions.duct[row])
    node = int(graph.ducts.start[after])
    return warning(
        f"{graph.place(after)}, transition at {graph.topology.place(node)}",
        "the transition does not fit: it lies within a main, and lacks "
        f"{length_words(float(transitions.short_by[row]))} to reach its wall",
        "draw it that much longer, or let it begin further away",
        effect="its loss is counted in full, but it cannot be built as drawn",
        place=graph.nodes[node],
    )


def ends_within_mains(graph: "DuctGraph") -> list[tuple[Way, int, float]]:
    """Terminals of branches that end before they are out of their mains.

    Returns
    -------
    found
        The way from the main on, the row of the terminal, and how far from the main's
        axis it ends, m. What ends at the wall opens in it, and is none.
    """
    ducts, duct = graph.ducts, graph.terminals.duct
    row_of = dict(zip(duct.tolist(), range(len(duct)), strict=True))
    least = max(_AT_WALL, graph.topology.tolerance)
    found = []
    for way in ways_from_mains(ducts, graph.bends, graph.legs, graph.meetings):
        first, last = way.ducts[0], way.ducts[-1]
        if way.is_behind or way.bend != NONE or last not in row_of:
            continue
        line = graph.nodes[ducts.finish[last]] - graph.nodes[ducts.start[first]]
        drawn = float(np.linalg.norm(line))
        if way.within - drawn > least:
            found.append((way, row_of[last], drawn))
    return found


def _ends_within(graph: "DuctGraph") -> list[Notice]:
    """Say which terminals end within their mains."""
    ducts, terminals, notices = graph.ducts, graph.terminals, []
    for way, row, drawn in ends_within_mains(graph):
        last = way.ducts[-1]
        main = graph.drawing.names[int(ducts.run[ducts.parent[way.ducts[0]]])]
        node = int(ducts.finish[last])
        notices.append(
            warning(
                graph.topology.place_in(int(ducts.run[last]), node),
                f"it ends within its main, run '{main}', {length_words(drawn)} from "
                f"the centreline, where the wall is at {length_words(way.within)}",
                "draw it on to the wall or beyond, to where it opens, or give "
                "closed = true in place of an airflow under "
                f"[terminals.{toml_key(terminals.name[row])}]",
                effect="its losses and its damper are counted in full, but it cannot "
                "be built as drawn",
                place=graph.nodes[node],
            )
        )
    return notices


def _changing_corners(ducts: Ducts, bends: Bends, changed: IntArray) -> IntArray:
    """Rows of the bends at which the section changes too, of some changed ducts."""
    changes = np.zeros(len(ducts.run), dtype=bool)
    changes[changed] = True
    return np.asarray(changes[bends.duct].nonzero()[0])


def bend_places(graph: "DuctGraph", rows: IntArray) -> str:
    """Name bends for a message: the first six, and how many more there are."""
    ducts, bends, topology = graph.ducts, graph.bends, graph.topology
    names, duct = graph.drawing.names, bends.duct[rows[:6]]
    shown = ", ".join(
        f"run '{names[run]}', bend {number} at {topology.place(node)}"
        for run, number, node in zip(
            ducts.run[duct].tolist(),
            bends.number[rows[:6]].tolist(),
            ducts.start[duct].tolist(),
            strict=True,
        )
    )
    return f"{topology.drawing.file}, {shown}{and_more(len(rows) - 6)}"


def _corners(graph: "DuctGraph") -> list[Notice]:
    """Say in which section an elbow is taken at whose corner the section changes.

    Where it may be a tap at the closed end of a duct, who looks at the losses says so.
    """
    ducts, bends = graph.ducts, graph.bends
    rows = _changing_corners(ducts, bends, graph.transitions.duct)
    if len(rows) and not graph.is_return:
        quiet = np.ones(len(bends.duct), dtype=bool)
        quiet[end_taps(graph)] = False
        rows = rows[quiet[rows]]
    if len(rows) == 0:
        return []
    duct = int(bends.duct[rows[0]])
    came = ducts.arriving(duct)
    one, other = size_words(came.shape, came.width, came.height), _size(ducts, duct)
    sizes = f": {one} and {other}" if len(rows) == 1 else ""
    mitred = (bends.construction[rows] == int(ElbowConstruction.MITRED)).any()
    both = (
        "; where a mitred one of a rectangle keeps its height, what is published of "
        "both together counts"
    )
    tap = (
        ""
        if graph.is_return
        else "; closed_end = true under [[takeoffs.exception]] makes it a tap at the "
        "closed end of the duct"
    )
    smooth = bends.construction[rows] == int(ElbowConstruction.SMOOTH)
    before = ducts.parent[bends.duct[rows]]
    other_shape = ducts.shape[bends.duct[rows]] != ducts.shape[before]
    boot = (
        '; a boot is nearer to construction = "mitred" under [[elbows.exception]] '
        "(elbowroom reference boot)"
    )
    return [
        note(
            bend_places(graph, rows),
            "the section changes at the corner: the elbow is taken in the section on "
            f"the side of the source, and a transition behind it{sizes}"
            + both
            * bool(mitred),
            "draw the change before or after the corner if it is made otherwise"
            + boot * bool((smooth & other_shape).any())
            + tap,
            place=graph.nodes[int(ducts.start[duct])],
        )
    ]


def _overruled(graph: "DuctGraph") -> list[Notice]:
    """Say where a drawn bend and a declared construction leave one of them unused."""
    drawing, bends, notices = graph.drawing, graph.bends, []
    run = graph.ducts.run[bends.duct]
    smooth = (bends.construction_basis == int(Basis.DRAWN)).nonzero()[0]
    if len(smooth):
        row = int(smooth[0])
        more = and_more(len(smooth) - 1)
        notices.append(
            note(
                f"{drawing.place(int(run[row]))}, bend {bends.number[row]}{more}",
                "it is drawn as an arc, so it is taken for smooth and not as it is "
                "declared",
                "draw a sharp corner for an elbow of the declared construction",
                place=bends.corner[row],
            )
        )
    given = [i for i, said in drawing.attributes.items() if said.bend_radius]
    if given:
        unused = _RADIUSLESS[bends.construction] & np.isin(run, given)
        for row in unused.nonzero()[0].tolist():
            radius = drawing.attributes[int(run[row])].bend_radius or 0.0
            made = ElbowConstruction(bends.construction[row]).words
            notices.append(
                warning(
                    f"{drawing.place(int(run[row]))}, bend {bends.number[row]}",
                    "the drawing gives the run a bend radius of "
                    f"{length_words(radius)}, which its elbow has not as it is "
                    f"declared, {made}",
                    "declare another construction for it under [[elbows.exception]], "
                    "or delete the radius",
                    place=bends.corner[row],
                )
            )
    return notices


def _flexible_of_what(graph: "DuctGraph") -> list[Notice]:
    """Say which runs are drawn flexible, where the schedule does not say of what."""
    drawing, schedule = graph.drawing, graph.schedule
    runs = [r for r in drawing.attributes if lacks_material(drawing, schedule, r)]
    if not runs:
        return []
    names = listed([drawing.names[run] for run in runs], _NAMED)
    many = len(runs) > 1
    return [
        warning(
            drawing.file,
            f"{names} {'are' if many else 'is'} drawn as "
            f"flexible duct, of which the schedule does not say the material: taken as "
            f"{FLEXIBLE}",
            "write material and compression under [duct.runs."
            f"{toml_key(drawing.names[runs[0]])}]{', and so of each' * many}",
            place=drawing.first_middle(runs[0]),
        )
    ]


def _flexible_with_sides(graph: "DuctGraph") -> list[Notice]:
    """Say which runs of flexible duct have a section that such duct is not made in."""
    ducts, soft = graph.ducts, flexible_runs(graph.drawing, graph.schedule)
    if not soft:
        return []
    rows = np.isin(ducts.run, soft) & (ducts.shape != int(Shape.ROUND))
    if not rows.any():
        return []
    runs, first = np.unique(ducts.run[rows]), int(rows.argmax())
    return [
        warning(
            f"{graph.place(first)}{and_more(len(runs) - 1)}",
            "flexible duct is round (common practice, no published source), and this "
            "has a rectangular or an oval section",
            "give it a round section, or a rigid material under [duct.runs.NAME]",
            effect="its losses are those of a duct with such walls and sides, which "
            "nobody has measured",
            place=graph.nodes[int(ducts.start[first])],
        )
    ]


def end_tap_corners(graph: "DuctGraph") -> IntArray:
    """Bends that may be taps at the closed end of a duct.

    Returns
    -------
    rows
        Of `bends`: where a duct goes on alone at 60 degrees or more in another shape,
        or in much less area, at a sharp corner.
    """
    ducts, bends, transitions = graph.ducts, graph.bends, graph.transitions
    sharp = transitions.length_basis != int(Basis.DRAWN)
    rows = _changing_corners(ducts, bends, transitions.duct[sharp])
    duct = bends.duct[rows]
    before = ducts.parent[duct]
    ratio = ducts.area[duct] / ducts.area[before]
    other = (ducts.shape[duct] != ducts.shape[before]) & (ratio <= 1.0)
    turned = bends.angle[rows] >= TAP_FROM - _ROUNDING
    return np.asarray(rows[turned & (other | (ratio < _MUCH_SMALLER))])


def end_taps(graph: "DuctGraph") -> IntArray:
    """Those of `end_tap_corners` of which the schedule does not say what they are."""
    rows, declared = end_tap_corners(graph), graph.schedule.closed_ends
    if declared:
        names, run = graph.drawing.names, graph.ducts.run[graph.bends.duct[rows]]
        said = [names[one] in declared for one in run.tolist()]
        rows = rows[~np.array(said, dtype=bool)]
    return np.asarray(rows)
