"""How ducts stand, where the drawing leaves it open or what it says is odd."""

from collections.abc import Collection, Iterable, Mapping

import numpy as np

from .basis import Basis
from .drawing import NOTHING_SAID, Drawing
from .faults import Notice, note, some, warning
from .fittings import Bends, Ducts, Legs, Transitions
from .frames import is_plumb
from .pieces import sides_before
from .quantity_words import angle_words, length_words, size_words
from .sections import BoolArray, FloatArray, IntArray, Shape
from .topology import Topology

_LEVEL = np.radians(1.0)  # less of a roll is the drawing's rounding
_LENGTHWISE = float(np.cos(np.radians(1.0)))
_LISTED = 5  # runs in one sentence
# Own choice: least number and share of ends that tell a layout which lies on its side.
_DROPS, _MOST = 3, 0.75
_APART, _STOREY = 0.5, 2.0  # m: three heights so far apart, within less than a storey
_ASIDE, _STEEP = float(np.cos(np.radians(5.0))), float(np.sin(np.radians(29.0)))
_SAME_ROLL = 1e-6  # rad
_SAME_SIZE = 1e-5  # m


def roll_notices(
    topology: Topology, ducts: Ducts, direction: FloatArray, legs: Legs, bends: Bends
) -> list[Notice]:
    """Say of which ducts with unequal sides the drawing leaves open how they stand.

    Those that carry on from such a duct as it stands are not mentioned again.

    Parameters
    ----------
    topology, ducts, legs, bends
        The joined drawing and what was recognised in it.
    direction
        Unit vector along the first segment of each duct, shape (d, 3).
    """
    drawing, roll, plumb = topology.drawing, ducts.roll, is_plumb(direction)
    rolled = roll.nonzero()[0]
    rolled = rolled[np.abs(np.sin(roll[rolled])) > np.sin(_LEVEL)]
    rolled = rolled[_has_sides(ducts, rolled)]
    tilted = rolled[~plumb[rolled]]
    before = ducts.parent[tilted]
    is_tilted = np.zeros(len(roll), dtype=bool)
    is_tilted[tilted] = True
    carried = (before >= 0) & is_tilted[before]
    carried &= np.abs(roll[tilted] - roll[before]) < _SAME_ROLL
    # How one that branches off, or follows a round duct, stands matters where it turns.
    turning = np.zeros(len(roll), dtype=bool)
    turning[ducts.stretch_of(ducts.parent[bends.duct])] = True
    begun = ducts.shape[ducts.parent] == int(Shape.ROUND)
    begun[legs.duct[legs.is_branch]] = True
    loose = (plumb & (begun & turning | (ducts.parent < 0))).nonzero()[0]
    loose = loose[_has_sides(ducts, loose)]
    key = _roll_key(drawing)
    notices = {}  # one for each run, at its first such duct
    is_open = np.zeros(len(roll), dtype=bool)
    is_open[loose] = is_open[tilted[~carried]] = True
    for duct in is_open.nonzero()[0].tolist():
        run = int(ducts.run[duct])
        said = drawing.attributes.get(run, NOTHING_SAID)
        if run in notices or said.roll is not None or said.up is not None:
            continue
        notices[run] = warning(
            drawing.place(run),
            _no_level_side(ducts, duct) if plumb[duct] else _arrives(ducts, duct),
            f"give the run {key} if it stands otherwise: what follows is carried on "
            "from it",
            effect="it decides which bends go the easy way and which the hard way",
            place=drawing.first_middle(run),
        )
    told = {
        run for run, a in drawing.attributes.items() if (a.roll, a.up) != (None, None)
    }
    notices |= _rolled_risers(topology, ducts, plumb)
    of = dict(zip(tilted.tolist(), np.where(carried, before, -1).tolist(), strict=True))
    return [*notices.values(), *_carried_on(topology, ducts, told, of)]


def _rolled_risers(
    topology: Topology, ducts: Ducts, plumb: BoolArray
) -> dict[int, Notice]:
    """Say of vertical runs with a roll what it counts from; by run."""
    drawing, parent = topology.drawing, ducts.parent
    rolled = {
        run: said.roll
        for run, said in drawing.attributes.items()
        if said.roll is not None
    }
    if not rolled:
        return {}
    enters = (parent < 0) | (ducts.run != ducts.run[parent])
    rows = (enters & plumb & np.isin(ducts.run, list(rolled))).nonzero()[0]
    notices: dict[int, Notice] = {}
    for duct in rows[_has_sides(ducts, rows)].tolist():
        run = int(ducts.run[duct])
        notices[run] = note(
            drawing.place(run),
            f"its roll of {angle_words(rolled[run])} counts from how this "
            "vertical run would stand without one, so its width was taken "
            f"{_heading(ducts, duct)}",
            "give 'up' in its place where a direction of the drawing is meant",
            effect="it decides which bends go the easy way and which the hard way",
            place=drawing.first_middle(run),
        )
    return notices


def _carried_on(
    topology: Topology, ducts: Ducts, told: Collection[int], of: Mapping[int, int]
) -> Iterable[Notice]:
    """Say which runs stand turned because one before them says that it does.

    `of` has for each turned duct the one that it carries on from as that stands, or -1.
    """
    if not of:
        return
    drawing, run = topology.drawing, ducts.run.tolist()
    head: dict[int, int] = {}
    # Runs by the one that says it, and by how far: a run of a loop is entered twice.
    onward: dict[tuple[int, str], list[str]] = {}
    for duct, before in of.items():  # from the source on
        head[duct] = duct
        if before >= 0 and (run[duct] == run[before] or run[duct] not in told):
            head[duct] = head.get(before, before)
        if run[head[duct]] in told and run[duct] != run[head[duct]]:
            turned = angle_words(abs(ducts.roll[head[duct]]))
            key = run[head[duct]], turned
            onward.setdefault(key, []).append(f"'{drawing.names[run[duct]]}'")
    for (says, turned), those in onward.items():
        names = list(dict.fromkeys(those))
        runs = f"run{'s' * (len(names) > 1)} {some(names, _LISTED)}"
        yield note(
            drawing.place(says),
            f"it stands turned {turned} from level as it says, and {runs} "
            "with it, of which nothing of the kind is said",
            f"give {_roll_key(drawing)} to the next run too if that is not meant",
            effect="it decides which bends go the easy way and which the hard way",
            place=drawing.first_middle(says),
        )


def _no_level_side(ducts: Ducts, duct: int) -> str:
    at, parent = "that branches off", ducts.parent[duct]
    if parent < 0:
        at = "at the source"
    elif ducts.shape[parent] == Shape.ROUND:
        at = "behind a round duct"
    return (
        f"a vertical run {at} has no level side, so its width was taken "
        f"{_heading(ducts, duct)}"
    )


def _heading(ducts: Ducts, duct: int) -> str:
    """Which way the width of a vertical duct lies."""
    x, y, _ = ducts.across[duct].tolist()
    heading = round(float(np.degrees(np.arctan2(y, x)))) % 180
    return {0: "along X", 90: "along Y"}.get(heading, f"{heading} degrees from X")


def _arrives(ducts: Ducts, duct: int) -> str:
    size = size_words(ducts.shape[duct], ducts.width[duct], ducts.height[duct])
    return (
        f"carried round its bends the section of {size} arrives turned "
        f"{angle_words(abs(ducts.roll[duct]))} from level"
    )


def twist_notices(
    topology: Topology,
    ducts: Ducts,
    transitions: Transitions,
) -> list[Notice]:
    """Say which runs are said to stand otherwise than the duct before them arrives.

    Parameters
    ----------
    topology, ducts
        The joined drawing and its ducts.
    transitions
        The changes of section, of which a drawn one explains a quarter turn. There is
        none where both sides say the same section the other way round.
    """
    rows = ducts.twist.nonzero()[0]
    rows = rows[_has_sides(ducts, rows) & _has_sides(ducts, ducts.parent[rows])]
    if len(rows) == 0:
        return []
    crossed, before = ducts.crossed[rows], ducts.parent[rows]
    wide, high = sides_before(ducts.width, ducts.height, before, crossed)
    apart = np.maximum(
        np.abs(wide - ducts.width[rows]), np.abs(high - ducts.height[rows])
    )
    is_drawn = transitions.length_basis == int(Basis.DRAWN)
    pieced = np.isin(rows, transitions.duct[is_drawn])
    turned = np.abs(ducts.twist[rows])
    askew = np.abs(np.where(crossed, turned - np.pi / 2, turned))
    changes = crossed & (
        (apart > _SAME_SIZE) | (ducts.shape[rows] != ducts.shape[before])
    )
    degrees = np.degrees(np.where(changes, turned, askew))
    drawing, notices = topology.drawing, []
    for at in ((askew > _LEVEL) | changes & ~pieced).nonzero()[0].tolist():
        duct, came = int(rows[at]), int(before[at])
        effect = "nothing was counted for the twist"
        if changes[at]:
            size = size_words(ducts.shape[came], float(wide[at]), float(high[at]))
            own = size_words(ducts.shape[duct], ducts.width[duct], ducts.height[duct])
            effect = f"the section was taken to change there from {size} to {own}"
        missing = "" if pieced[at] else ", and no fitting is drawn for that"
        notices.append(
            warning(
                drawing.place(int(ducts.run[duct])),
                f"at {topology.place(int(ducts.start[duct]))} it stands turned by "
                f"{degrees[at]:.0f} degrees against the run before it{missing}",
                f"correct {_roll_key(drawing)} if it is a slip, or draw how the duct "
                "turns",
                effect=effect,
                place=topology.nodes[int(ducts.start[duct])],
            )
        )
    return notices


def is_lengthwise(
    up: FloatArray | tuple[float, float, float], direction: FloatArray
) -> bool:
    """Whether 'up' points along a duct and so does not say how it stands."""
    return bool(abs(direction @ np.asarray(up)) > _LENGTHWISE * np.linalg.norm(up))


def idle_up_notices(
    topology: Topology, ducts: Ducts, direction: FloatArray
) -> list[Notice]:
    """Say of which runs 'up' points along the duct by which the air enters them.

    Parameters are those of `roll_notices`.
    """
    drawing, parent = topology.drawing, ducts.parent
    told = {
        run: said.up
        for run, said in drawing.attributes.items()
        if said.up is not None and said.roll is None
    }
    if not told:
        return []
    enters = (parent < 0) | (ducts.run != ducts.run[parent])
    rows = (enters & np.isin(ducts.run, list(told))).nonzero()[0]
    found = {}
    for duct, run in zip(rows.tolist(), ducts.run[rows].tolist(), strict=True):
        if is_lengthwise(told[run], direction[duct]) and not _stands_so(
            ducts, direction, run, told[run]
        ):
            found[run] = warning(
                drawing.place(run),
                "its 'up' points along the duct and has no effect: it does not say how "
                "the section stands",
                "let it point across the duct, to the side of the section that is up",
                effect="the run stands as if nothing were said",
                place=drawing.first_middle(run),
            )
    return list(found.values())


def _stands_so(
    ducts: Ducts,
    direction: FloatArray,
    run: int,
    up: tuple[float, float, float],
) -> bool:
    """Whether those ducts of a run that do not go along an 'up' stand as it says."""
    rows = (ducts.run == run).nonzero()[0]
    rows = rows[[not is_lengthwise(up, way) for way in direction[rows]]]
    lean = np.abs(ducts.across[rows] @ np.array(up)) / np.linalg.norm(up)
    return bool(len(rows) and (lean < np.sin(_LEVEL)).all())


def lying_notices(
    topology: Topology, ducts: Ducts, legs: Legs, ends: IntArray
) -> list[Notice]:
    """Say where a file of a format with Y up looks as if it was written with Z up.

    Then what hangs down runs level, all to one side, and the level branches to both
    sides of a main leave it upward and downward. Stacks in a wall all go one way, but
    end where a storey has its grilles, not each at a height of its own.

    Parameters
    ----------
    topology, ducts, legs
        The joined drawing, its ducts and how they leave their mains.
    ends
        Ducts that end at a terminal, shape (t,).
    """
    drawing, nodes = topology.drawing, topology.nodes
    if (drawing.up, drawing.up_origin) != ("y", "the format") or len(ends) < _DROPS:
        return []
    tips = ducts.finish[ends]
    last = topology.ends[topology.segment_at(tips)]
    along = _unit(2.0 * nodes[tips] - nodes[last].sum(axis=1))  # of the last segments
    if is_plumb(along).any():
        return []
    aside = max((side * along[:, 1] > _ASIDE for side in (1.0, -1.0)), key=np.sum)
    count = int(aside.sum())
    if count < max(_DROPS, _MOST * len(ends)):
        return []
    branch = legs.duct[legs.is_branch]
    leaves = _unit(nodes[ducts.finish[branch]] - nodes[ducts.start[branch]])[:, 2]
    rising, falling = int((leaves > _STEEP).sum()), int((leaves < -_STEEP).sum())
    ways = " and ".join(["upward"] * (rising > 0) + ["downward"] * (falling > 0))
    if not (rising and falling):
        if rising + falling < _DROPS or not _has_three_heights(nodes[tips[aside], 2]):
            return []
        ways += f" to ends at three heights within {length_words(_STOREY)}"
    return [
        note(
            drawing.file,
            f"with Y up, as the format has it, {count} ends run level to one side and "
            f"{rising + falling} branches leave {ways}, as where a layout lies on its "
            "side",
            "if it was written with Z up, say --up z, or --return-up z of a return",
            effect="which bends go the easy way and which the hard way, and how high "
            "ducts hang",
        )
    ]


def _has_three_heights(height: FloatArray) -> bool:
    """Whether three of some heights, m, are well apart within less than a storey."""
    known = np.append(np.sort(height), np.inf)
    second = known[known.searchsorted(height + _APART)]
    third = known[known.searchsorted(second + _APART)]
    return bool((third - height <= _STOREY).any())


def _unit(vectors: FloatArray) -> FloatArray:
    """Unit vectors, shape (n, 3)."""
    return np.asarray(vectors / np.linalg.norm(vectors, axis=1, keepdims=True))


def _roll_key(drawing: Drawing) -> str:
    """How a run is told to stand, in the drawing or where it cannot say so."""
    file = drawing.file.lower()
    if file.endswith(".obj"):
        return "'roll' or 'up' under [runs.NAME] in the schedule"
    return "'roll' or 'up'" if file.endswith(".toml") else "'roll_deg' or 'up'"


def _has_sides(ducts: Ducts, rows: IntArray) -> BoolArray:
    """Whether it matters how each of some ducts stands."""
    unequal = np.abs(ducts.width[rows] - ducts.height[rows]) > _SAME_SIZE
    return np.asarray(unequal & (ducts.shape[rows] != int(Shape.ROUND)))
