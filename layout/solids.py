"""The true shape of a classified graph: ducts, bends, transitions as tubes."""

from dataclasses import dataclass

import numpy as np

from .basis import Basis
from .frames import rotate
from .graph import DuctGraph
from .sections import BoolArray, FloatArray, IntArray

_BEND_RINGS = 13  # along a bend: 7.5 degrees apart in a right angle
_COLLAR = 0.6  # of the longer side of its duct: room for a component's collar
_PROUD = 0.1  # by how much of the shorter side it stands out on each side
_MOST = 0.4  # of a duct's straight part or of an arc that one end may be drawn on


@dataclass(frozen=True, eq=False)
class Tubes:
    """Duct surfaces as rings: m rings along t tubes.

    A tube is a sequence of two or more rings; the piece between two rings that
    follow each other in one tube belongs to one element of the analysis.

    Parameters
    ----------
    centre
        Centre of each ring, m, shape (m, 3).
    across, upright
        Unit vectors along the width and along the height of each ring, (m, 3).
    width, height
        Sides of each ring, m, shape (m,).
    shape
        `Shape` code of each ring, shape (m,).
    offsets
        Where each tube begins among the rings, shape (t + 1,).
    element
        For each ring, the element that the piece which begins here belongs to,
        shape (m,); the value at the last ring of a tube is not used.
    """

    centre: FloatArray
    across: FloatArray
    upright: FloatArray
    width: FloatArray
    height: FloatArray
    shape: IntArray
    offsets: IntArray
    element: IntArray


@dataclass(frozen=True, eq=False)
class Solids:
    """Tubes of a graph, and the fitting or duct that each stands for.

    Parameters
    ----------
    tubes
        The surfaces; their `element` is the row in `kind` and `row`.
    kind
        What each piece stands for: 'duct', 'bend', 'transition', 'leg',
        'meeting', 'terminal', 'component'.
    row
        Row of the piece in the graph's table of that kind; of a component in the
        schedule.
    """

    tubes: Tubes
    kind: tuple[str, ...]
    row: IntArray


def solids(graph: DuctGraph, collars: bool = False) -> Solids:
    """Shape every duct and fitting of a graph.

    Parameters
    ----------
    graph
        The classified graph.
    collars
        Whether each component has a collar around its duct. That is for the eye alone:
        nobody says how large a coil or a damper is, so no distance is measured from it.

    Returns
    -------
    solids
        A tube for each duct, bend and transition, and for the ends of ducts at which
        junctions and terminals spend pressure. Mitred elbows and undrawn transitions
        take from the ducts beside them what they need to be seen, no more than 40 %
        of these, and so does an end from the arc beside it where there is no straight
        part; that is for the eye alone and no length rests on it.
    """
    ducts, legs = graph.ducts, graph.legs
    ends, meets = graph.terminals.duct, graph.meetings.duct
    cuts = _cuts(graph)
    shown, first, last = cuts.shown, cuts.first, cuts.last
    from_start, to_end, on_arcs = _on_arcs(graph, cuts)
    every, bend = np.arange(len(shown)), np.arange(len(from_start))
    parts = [
        _straight(graph, every[shown], first[shown], last[shown], "duct", every[shown]),
        _bends(graph, cuts.elbow_end, last, bend, from_start, to_end, "bend", bend),
        _transitions(graph, cuts.elbow_end, first, last),
        _straight(
            graph,
            legs.duct,
            ducts.begin[legs.duct],
            first[legs.duct],
            "leg",
            np.arange(len(legs.duct)),
            shown[legs.duct],
        ),
        _straight(
            graph,
            meets,
            last[meets],
            ducts.end[meets],
            "meeting",
            np.arange(len(meets)),
            shown[meets],
        ),
        _straight(
            graph,
            ends,
            last[ends],
            ducts.end[ends],
            "terminal",
            np.arange(len(ends)),
            shown[ends],
        ),
        *on_arcs,
    ]
    if collars and graph.schedule.components:
        parts.append(_collars(graph))
    return _together(parts)


@dataclass(frozen=True, eq=False)
class _Cuts:
    """What the fittings at its ends leave of each duct, for the eye.

    Parameters
    ----------
    shown
        Ducts that have a straight part, shape (d,).
    first, last
        Where the duct itself begins and ends, m, shape (d, 3).
    elbow_end
        Where the elbow ends that it begins with, m, shape (d, 3).
    leg, meeting, terminal
        Length that each row of the legs, the meetings and the terminals would take of
        its duct, m.
    """

    shown: BoolArray
    first: FloatArray
    last: FloatArray
    elbow_end: FloatArray
    leg: FloatArray
    meeting: FloatArray
    terminal: FloatArray


def _cuts(graph: DuctGraph) -> _Cuts:
    """Give mitres, undrawn transitions and ends a part of the ducts beside them."""
    ducts, bends, legs, met = graph.ducts, graph.bends, graph.legs, graph.meetings
    side = np.maximum(ducts.width, ducts.height)
    along = ducts.end - ducts.begin
    reach = np.linalg.norm(along, axis=1)
    shown = (ducts.straight > 0) & (reach > 1e-9)
    along = along / np.where(shown, reach, 1.0)[:, None]
    most = _MOST * np.where(shown, reach, 0.0)
    at_start, at_end = np.zeros(len(reach)), np.zeros(len(reach))

    before = graph.bend_before
    mitre = np.where(
        bends.radius <= 0.0,
        bends.in_plane / 2 * np.tan(np.minimum(bends.angle, 2.6) / 2),
        0.0,
    )
    at_start[bends.duct] = np.minimum(mitre, most[bends.duct])
    at_end[before] = np.minimum(mitre, most[before])
    changed = graph.transitions.duct
    undrawn = graph.transitions.length_basis != Basis.DRAWN
    length = np.where(undrawn, graph.transitions.length, 0.0)
    # At a corner the elbow has the section before it, and the change follows it.
    turned = np.isin(changed, bends.duct)
    behind_elbow = at_start.copy()
    share = np.where(turned, length, length / 2)
    at_start[changed] = np.minimum(behind_elbow[changed] + share, most[changed])
    straight_on = ducts.parent[changed[~turned]]
    at_end[straight_on] = np.minimum(length[~turned] / 2, most[straight_on])
    branching = side[legs.common] / 2 * np.sin(legs.angle) + side[legs.duct]
    at_start[legs.duct] = np.minimum(branching, most[legs.duct])
    ends, meets = graph.terminals.duct, met.duct
    opening = side[ends] / 2
    at_end[ends] = np.minimum(opening, most[ends])
    meeting = side[met.common] / 2 * np.sin(met.angle) + side[meets]
    at_end[meets] = np.minimum(meeting, most[meets])
    return _Cuts(
        shown=shown,
        first=ducts.begin + at_start[:, None] * along,
        last=ducts.end - at_end[:, None] * along,
        elbow_end=ducts.begin + behind_elbow[:, None] * along,
        leg=branching,
        meeting=meeting,
        terminal=opening,
    )


def _on_arcs(
    graph: DuctGraph, cuts: _Cuts
) -> tuple[FloatArray, FloatArray, list["_Part"]]:
    """Ends of ducts without a straight part, on the arcs of the bends beside them.

    Returns
    -------
    from_start, to_end
        Shares of its turn between which each bend is left to itself, shape (b,).
    parts
        The tubes of legs, meetings and terminals on arcs.
    """
    bends, legs, meets = graph.bends, graph.legs.duct, graph.meetings.duct
    count = len(cuts.shown)
    arc = np.where(bends.radius <= 0.0, 0.0, bends.radius * bends.angle)
    from_start, to_end = np.zeros(len(arc)), np.ones(len(arc))
    behind, ahead = (np.full(count, -1) for _ in range(2))
    curved = np.flatnonzero(arc > 0.0)
    behind[graph.bend_before[curved]], ahead[bends.duct[curved]] = curved, curved
    behind[cuts.shown], ahead[cuts.shown] = -1, -1
    parts = []
    for kind, duct, wanted, beside in (
        ("leg", legs, cuts.leg, behind),
        ("meeting", meets, cuts.meeting, ahead),
        ("terminal", graph.terminals.duct, cuts.terminal, ahead),
    ):
        row = np.flatnonzero(beside[duct] >= 0)
        bend = beside[duct[row]]
        share = np.minimum(wanted[row] / arc[bend], _MOST)
        if kind == "leg":
            from_start[bend], span = share, (np.zeros(len(row)), share)
        else:
            to_end[bend], span = 1.0 - share, (1.0 - share, np.ones(len(row)))
        parts.append(_bends(graph, cuts.elbow_end, cuts.last, bend, *span, kind, row))
    return from_start, to_end, parts


@dataclass(frozen=True, eq=False)
class _Part:
    """Tubes of one kind: t tubes of r rings each."""

    kind: str
    row: IntArray
    centre: FloatArray  # (t, r, 3)
    across: FloatArray
    upright: FloatArray
    width: FloatArray  # (t, r)
    height: FloatArray
    shape: IntArray


def _straight(
    graph: DuctGraph,
    duct: IntArray,
    begin: FloatArray,
    end: FloatArray,
    kind: str,
    row: IntArray,
    keep: BoolArray | None = None,
) -> _Part:
    if keep is not None:
        duct, begin, end, row = duct[keep], begin[keep], end[keep], row[keep]
    ducts = graph.ducts
    twice = np.repeat(duct[:, None], 2, axis=1)
    return _Part(
        kind,
        row,
        np.stack([begin, end], axis=1),
        ducts.across[twice],
        ducts.upright[twice],
        ducts.width[twice],
        ducts.height[twice],
        ducts.shape[twice],
    )


def _bends(
    graph: DuctGraph,
    elbow_end: FloatArray,
    last: FloatArray,
    bend: IntArray,
    begin: FloatArray,
    end: FloatArray,
    kind: str,
    row: IntArray,
) -> _Part:
    """Sweep some bends from one share of their turn to another, shape (t,) each.

    From `last` of the duct before to `elbow_end` of the one that begins with the bend.
    """
    ducts, bends = graph.ducts, graph.bends
    before, own = graph.bend_before[bend], graph.bend_duct[bend]
    turn, radius, about = bends.angle[bend], bends.radius[bend], bends.axis[bend]
    count, rings = len(bend), _BEND_RINGS
    share = begin[:, None] + np.linspace(0.0, 1.0, rings) * (end - begin)[:, None]
    angle = (turn[:, None] * share).ravel()
    axis = np.repeat(about, rings, axis=0)
    into = np.cross(ducts.across[before], ducts.upright[before])
    start = last[before]
    curved = radius > 0.0
    # About the centre of curvature; a mitred elbow turns in its corner.
    centre = start + radius[:, None] * np.cross(about, into)
    arm = np.repeat(start - centre, rings, axis=0)
    on_arc = rotate(arm, axis, angle).reshape(count, rings, 3) + centre[:, None]
    corner = bends.corner[bend][:, None]
    near = (
        start[:, None] + (corner - start[:, None]) * np.minimum(2 * share, 1)[..., None]
    )
    finish = elbow_end[bends.duct[bend]][:, None]
    on_mitre = np.where(
        (share <= 0.5)[..., None],
        near,
        corner + (finish - corner) * np.maximum(2 * share - 1, 0)[..., None],
    )
    turned = np.where(
        curved[:, None],
        turn[:, None] * share,
        turn[:, None] * np.select([share < 0.5, share > 0.5], [0.0, 1.0], 0.5),
    ).ravel()
    across = np.repeat(ducts.across[before], rings, axis=0)
    upright = np.repeat(ducts.upright[before], rings, axis=0)
    # The cut of a mitre is longer than the section by 1 / cos(angle / 2).
    cut = np.where(
        ~curved[:, None] & (share == 0.5),
        1.0 / np.cos(np.minimum(turn, 2.6) / 2)[:, None],
        1.0,
    )
    # The frame of the duct behind may be a quarter turn away from that before.
    aside = (own != before) & ducts.crossed[own]
    sides = ducts.width[own], ducts.height[own]
    width, height = (
        np.repeat(np.where(aside, other, side)[:, None], rings, axis=1)
        for side, other in (sides, sides[::-1])
    )
    lying = np.abs(np.einsum("ij,ij->i", about, ducts.across[before]))
    about_width = (lying > np.sqrt(0.5))[:, None]
    return _Part(
        kind,
        row,
        np.where(curved[:, None, None], on_arc, on_mitre),
        rotate(across, axis, turned).reshape(count, rings, 3),
        rotate(upright, axis, turned).reshape(count, rings, 3),
        np.where(about_width, width, width * cut),
        np.where(about_width, height * cut, height),
        np.repeat(ducts.shape[own][:, None], rings, axis=1),
    )


def _transitions(
    graph: DuctGraph, elbow_end: FloatArray, first: FloatArray, last: FloatArray
) -> _Part:
    ducts, bends = graph.ducts, graph.bends
    after = graph.transitions.duct
    before = ducts.parent[after]
    drawn = graph.transitions.length_basis == Basis.DRAWN
    begin = np.where(drawn[:, None], ducts.begin[before], last[before])
    across, upright = ducts.across[before], ducts.upright[before]
    # Behind an elbow the change begins at its end, in the frame that it turns out of.
    turned = np.flatnonzero((graph.bend_of[after] >= 0) & ~drawn)
    bend = graph.bend_of[after[turned]]
    begin[turned] = elbow_end[after[turned]]
    for frame in (across, upright):
        frame[turned] = rotate(frame[turned], bends.axis[bend], bends.angle[bend])
    both = np.stack([before, after], axis=1)
    width, height = ducts.width[both], ducts.height[both]
    # The frame of the duct after may be a quarter turn away, its other side then lying
    # along the width before, or a half turn; the shape is the same.
    wide, tall = ducts.across[after], ducts.upright[after]
    rows = ducts.crossed[after].nonzero()[0]
    if len(rows):
        wide[rows], tall[rows] = tall[rows], -wide[rows]
        width[rows, 1], height[rows, 1] = height[rows, 1], width[rows, 1]
    flip = np.sign(np.einsum("ij,ij->i", across, wide))
    flip = np.where(flip == 0, 1.0, flip)[:, None]
    return _Part(
        "transition",
        np.arange(len(after)),
        np.stack([begin, first[after]], axis=1),
        np.stack([across, wide * flip], axis=1),
        np.stack([upright, tall * flip], axis=1),
        width,
        height,
        ducts.shape[both],
    )


def _collars(graph: DuctGraph) -> _Part:
    """A short piece that stands out around its duct at the place of each component.

    Those that would overlap stand behind one another, and all within their duct.
    """
    ducts, stands = graph.ducts, graph.components
    row = stands.order
    duct = stands.duct[row]
    width, height = ducts.width[duct], ducts.height[duct]
    reach = np.linalg.norm(ducts.end - ducts.begin, axis=1)[duct]
    count = np.bincount(duct, minlength=len(ducts.width))[duct]
    rank = np.arange(len(duct)) - duct.searchsorted(duct)
    room = _COLLAR * np.maximum(width, height)
    # On an arc there is no straight part to keep within.
    room = np.where(reach > 1e-9, np.minimum(room, reach / count), room)
    begin = np.maximum(stands.share[row] * reach - (rank + 0.5) * room, 0.0)
    # Each behind the room of the last: a running maximum, started anew at each duct.
    apart = (reach.max() + 1.0) * duct
    begin = np.maximum.accumulate(begin + apart) - apart
    begin = np.minimum(begin, np.maximum(reach - count * room, 0.0)) + rank * room
    along = np.cross(ducts.across[duct], ducts.upright[duct])
    ends = begin[:, None] + room[:, None] * np.array([0.1, 0.1, 0.9, 0.9])
    out = 2 * _PROUD * np.minimum(width, height)[:, None] * np.array([0, 1, 1, 0])
    rings = np.repeat(duct[:, None], 4, axis=1)
    return _Part(
        "component",
        row,
        ducts.begin[rings] + ends[..., None] * along[:, None],
        ducts.across[rings],
        ducts.upright[rings],
        ducts.width[rings] + out,
        ducts.height[rings] + out,
        ducts.shape[rings],
    )


def _together(parts: list[_Part]) -> Solids:
    size = [part.width.shape for part in parts]
    count = np.concatenate([np.full(tubes, rings) for tubes, rings in size])
    offsets = np.concatenate([[0], np.cumsum(count)])
    kind = tuple(part.kind for part in parts for _ in range(len(part.row)))
    return Solids(
        Tubes(
            np.concatenate([part.centre.reshape(-1, 3) for part in parts]),
            np.concatenate([part.across.reshape(-1, 3) for part in parts]),
            np.concatenate([part.upright.reshape(-1, 3) for part in parts]),
            np.concatenate([part.width.ravel() for part in parts]),
            np.concatenate([part.height.ravel() for part in parts]),
            np.concatenate([part.shape.ravel() for part in parts]),
            offsets.astype(np.int64),
            np.repeat(np.arange(len(count)), count),
        ),
        kind,
        np.concatenate([part.row for part in parts]),
    )
