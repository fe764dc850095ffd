"""How drawn transitions carry the duct to one side, and the kinks that makes."""

from dataclasses import dataclass

import numpy as np

from .duct_frames import Frames
from .frames import rotate, turn_between
from .pieces import Pieces
from .sections import BoolArray, FloatArray, IntArray, Shape
from .topology import Topology
from .tree import Tree, heads

LARGEST_KINK = np.radians(20.0)  # of the centreline where a transition slants
_STEEP = np.radians(16.0)  # from here on a kink leads to the whole turn of its corner
SLIP_ASIDE = 2e-3  # m: of a drawing


@dataclass(frozen=True, eq=False)
class Offsets:
    """Drawn transitions, k of them, and how far they go aside.

    Parameters
    ----------
    row
        First segment behind each, shape (k,).
    first
        First segment of the transition itself, shape (k,).
    turn
        Turn of the duct over the transition that no counted elbow makes, rad; where
        elbows are counted in it, the largest turn of the stretches between them.
    aside, beyond
        How far it goes to one side, m, and how much further than a flat side explains;
        of its ends the one where that is more.
    kink, kink_share
        Shape (2, k), the end on the side of the source first: the angle by which the
        duct turns there, rad, 0 where nothing counts; and how much of that turn lies in
        the plane of the section's width, 0 to 1.
    """

    row: IntArray
    first: IntArray
    turn: FloatArray
    aside: FloatArray
    beyond: FloatArray
    kink: FloatArray
    kink_share: FloatArray


def find_offsets(
    topology: Topology,
    tree: Tree,
    pieces: Pieces,
    counted: BoolArray,
    duct_of: IntArray,
    frames: Frames,
) -> Offsets | None:
    """Measure what the drawn transitions do to one side.

    Parameters
    ----------
    topology, tree, pieces
        The joined drawing, the walk over it and its e segments.
    counted
        Whether an elbow is counted at the start of each segment, shape (e,).
    duct_of
        Duct of each segment, shape (e,) or more.
    frames
        How the section of each duct stands.

    Returns
    -------
    offsets
        None where no transition is drawn.

    Notes
    -----
    Our own rule, no published source. With a flat side the centreline moves by half of
    the change of that side, and its kinks are those of any transition. What goes
    further turns the duct at both ends by the angle whose tangent is the rest over the
    length, each seen from the duct there; of a skew offset the sides count one by one.
    Between two round sections any direction is a side. A rest up to the rounding of a
    drawing counts as none, and up to twice that in part. An end that is an elbow
    or a junction is no kink too; none counts where an elbow stands in the piece. As a
    corner of 20 degrees is an elbow, with a flat side or without, the kink goes from 16
    degrees on straight to the whole turn of its corner.
    """
    piece, before = pieces.is_transition, pieces.before
    if not piece.any():
        return None
    row = (piece[before] & ~piece).nonzero()[0]
    inside = piece & piece[before]
    head = heads(inside, tree.parent)
    first = head[before[row]]
    alone = pieces.alone[first]
    came = np.where(alone, before[first], first)  # a branch begins with its opening
    broken = np.zeros(len(piece), dtype=bool)
    broken[head[inside & counted]] = True
    here = np.array([came, row])
    there = here[::-1]
    ahead = tree.direction[here]
    along = topology.nodes[tree.start[row]] - topology.nodes[tree.start[first]]
    reach = np.einsum("ekx,kx->ek", ahead, along)
    aside = along - reach[..., None] * ahead
    own = np.stack(
        [frames.across[duct_of[here]], frames.upright[duct_of[here]]], axis=2
    )
    other = _carried(own[::-1], ahead[::-1], ahead)
    is_round = pieces.shape[here] == int(Shape.ROUND)
    axes = np.where((is_round & ~is_round[::-1])[..., None, None], other, own)
    sides = np.stack([pieces.width, pieces.height], axis=1)
    half = np.abs(_extent(axes, own, sides[here]) - _extent(axes, other, sides[there]))
    half /= 2.0
    far = np.linalg.norm(aside, axis=2)
    part = np.abs(np.einsum("ekax,ekx->eka", axes, aside))
    both = is_round.all(axis=0)
    part[:, both, 0], part[:, both, 1] = far[:, both], 0.0
    rest = np.maximum(part - half, 0.0)
    beyond = np.hypot(rest[..., 0], rest[..., 1])
    eased = np.clip(2.0 * (beyond - SLIP_ASIDE), 0.0, beyond)
    ends = np.array([alone & ~counted[first], ~counted[row]])
    counts = ends & pieces.alone[row] & ~broken[first]
    kink, corner = np.arctan2(eased, reach), pieces.turn[[first, row]]
    steep = ((corner - _STEEP) / (LARGEST_KINK - _STEEP)).clip(0.0, 1.0)
    kink += np.maximum(corner - kink, 0.0) * steep
    toward = rest + (part - rest) * steep[..., None]
    length = np.hypot(toward[..., 0], toward[..., 1])
    more = beyond.argmax(axis=0), np.arange(len(row))
    return Offsets(
        row,
        first,
        _turn(tree, pieces, counted, row, first, broken),
        far[more],
        beyond[more],
        np.where(counts, kink, 0.0),
        (toward[..., 0] / np.where(length > 0.0, length, 1.0)) ** 2,
    )


def kink_words(kink: FloatArray, degree: str) -> str:
    """Words for the kinks at the two ends of a transition, rad; none where none count.

    Examples
    --------
    >>> kink_words(np.radians([10.3, 10.3]), "°")
    'two kinks of 10°'
    """
    turns = [f"{turn:.2g}{degree}" for turn in np.degrees(kink[kink > 0.0]).tolist()]
    if not turns:
        return ""
    if len(turns) == 1:
        return f"a kink of {turns[0]}"
    same = turns[0] == turns[1]
    return f"two kinks of {turns[0] if same else ' and '.join(turns)}"


def _turn(
    tree: Tree,
    pieces: Pieces,
    counted: BoolArray,
    row: IntArray,
    first: IntArray,
    broken: BoolArray,
) -> FloatArray:
    """By how much transitions turn the duct beside their corners, rad.

    How one leaves its main is no turn of the piece. `broken` are the first segments of
    those with a corner inside, shape (e,).
    """
    alone, after = pieces.alone[first], tree.direction[row]
    whole, _ = turn_between(tree.direction[pieces.before[first]], after)
    own, _ = turn_between(tree.direction[first], after)
    is_branch = ~alone & (pieces.turn[first] >= LARGEST_KINK)
    turn = np.where(alone, whole, np.where(is_branch, own, np.minimum(whole, own)))
    cornered = broken[first] | counted[first] | counted[row]
    for at in cornered.nonzero()[0].tolist():
        part, corners = int(row[at]), []
        while True:  # back from the segment behind to the first of its own
            if counted[part]:
                corners.append(part)
            if part == first[at]:
                break
            part = int(tree.parent[part])
        if corners:
            enters = int(pieces.before[part]) if alone[at] else part
            came = tree.direction[[enters, *corners[::-1]]]
            until = tree.direction[[*tree.parent[corners[::-1]].tolist(), row[at]]]
            turn[at] = turn_between(came, until)[0].max()
    return turn


def _carried(frame: FloatArray, out_of: FloatArray, into: FloatArray) -> FloatArray:
    """Frames, (2, k, 2, 3), turned the shortest way from one direction to another."""
    angle, axis = turn_between(out_of.reshape(-1, 3), into.reshape(-1, 3))
    turned = rotate(frame.reshape(-1, 3), np.repeat(axis, 2, axis=0), angle.repeat(2))
    return turned.reshape(frame.shape)


def _extent(axes: FloatArray, frame: FloatArray, sides: FloatArray) -> FloatArray:
    """How far sections reach along axes, m, shape (2, k, 2).

    Along a side that is the side; between two sides it goes as in an ellipse, so that
    a round section reaches as far in every direction.
    """
    cosines = np.einsum("ekax,ekfx->ekaf", axes, frame)
    return np.asarray(np.linalg.norm(cosines * sides[:, :, None, :], axis=3))
