"""What the classifier finds: ducts and fittings, a row each, in arrays."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from .sections import (
    BoolArray,
    FloatArray,
    IntArray,
    Section,
    Shape,
    area,
    perimeter,
)
from .tree import heads, tails

NONE = -1  # no such duct
_ROUNDING = 1e-3  # m: of a radius that is measured in a drawing


@dataclass(frozen=True, kw_only=True, eq=False)
class Ducts:
    """Straight ducts between fittings, in walking order from the source: d of them.

    Parameters
    ----------
    parent
        The duct before each, nearer to the source; `NONE` at the source. Shape (d,).
    continues
        Whether each only continues that one, as a run of its own: nothing turns,
        changes, divides or meets between them.
    start, finish
        Node at its near and its far end.
    run
        Run of the drawing that it belongs to.
    shape, width, height
        Its section; `Shape` codes and m.
    crossed
        Whether its width lies along the height of the duct before it, as that arrives,
        carried round what lies between; never for a branch.
    twist
        How far it is said to stand from how that one arrives, as in `Frames`, rad.
    length
        Straight length plus its half of the arcs of the bends at its ends, m.
    straight
        Straight length between the tangent points of its bends, m; below zero where
        the bends do not fit.
    begin, end
        Ends of the straight part, m, shape (d, 3).
    across, upright
        Unit vectors along the width and the height of its section, shape (d, 3).
    roll
        How far the section is turned from level, rad.
    drawn_flow
        Airflow written in the drawing, m³/s; NaN where there is none.
    """

    parent: IntArray
    continues: BoolArray
    start: IntArray
    finish: IntArray
    run: IntArray
    shape: IntArray
    width: FloatArray
    height: FloatArray
    crossed: BoolArray
    twist: FloatArray
    length: FloatArray
    straight: FloatArray
    begin: FloatArray
    end: FloatArray
    across: FloatArray
    upright: FloatArray
    roll: FloatArray
    drawn_flow: FloatArray

    @cached_property
    def area(self) -> FloatArray:
        """Inside area of each, m², shape (d,)."""
        return area(self.shape, self.width, self.height)

    @cached_property
    def diameter(self) -> FloatArray:
        """Hydraulic diameter of each, m, shape (d,)."""
        around = perimeter(self.shape, self.width, self.height)
        return np.asarray(4.0 * self.area / around)

    @cached_property
    def stretch(self) -> IntArray:
        """First duct of the straight stretch that each is part of, shape (d,)."""
        return heads(self.continues, self.parent)

    def stretch_of(self, rows: IntArray) -> IntArray:
        """First duct of the straight stretch that each of some ducts is part of."""
        return self.stretch[rows] if self._is_cut else rows

    @cached_property
    def _is_cut(self) -> bool:
        """Whether any straight stretch is of several ducts, as in few drawings."""
        return bool(self.continues.any())

    @cached_property
    def stretch_end(self) -> IntArray:
        """Last duct of the straight stretch that each is part of, shape (d,)."""
        return tails(self.stretch, self.continues)

    @cached_property
    def reach(self) -> FloatArray:
        """Straight length of the whole stretch that each is part of, m, shape (d,).

        0 where the bends at its ends do not fit.
        """
        straight = np.maximum(self.straight, 0.0)
        if not self._is_cut:
            return straight
        whole = np.bincount(self.stretch, straight, len(straight)).astype(np.float64)
        return whole[self.stretch]

    def section(self, duct: int) -> Section:
        """Section of a duct."""
        sides = float(self.width[duct]), float(self.height[duct])
        return Section(Shape(self.shape[duct]), *sides)

    def arriving(self, duct: int) -> Section:
        """Section of the duct before one, its sides named as that one stands."""
        came = self.section(int(self.parent[duct]))
        if self.crossed[duct]:
            return Section(came.shape, came.height, came.width)
        return came


@dataclass(frozen=True, kw_only=True, eq=False)
class Bends:
    """Changes of direction within a duct: b of them, each at the start of a duct.

    Parameters
    ----------
    duct
        Duct after the bend, away from the source, shape (b,).
    number
        Which bend of its run it is, from 1, counted from the end nearer to the source.
    angle
        Turn, rad.
    radius
        Radius of the centreline, m; 0 for a mitred elbow.
    side_radius
        What it would be with the side `in_plane` in the plane of the bend, and with the
        side `along_axis`, shape (2, b); askew, `radius` lies between them.
    in_plane, along_axis
        Side of the section in the plane of the bend, and along its axis, m.
    skew
        How far the plane of the bend lies from the nearer side of the section, rad,
        0 to pi/4; 0 for an elbow turned the easy or the hard way.
    construction
        `ElbowConstruction` codes.
    pieces, splitters
        Pieces of a segmented elbow, splitter vanes; of others they say nothing.
    vane_spacing
        Distance of turning vanes, m; NaN where nobody says it.
    radius_basis, construction_basis, parts_basis
        `Basis` codes; the last one of pieces, splitters or vanes, where it has these.
    setback
        Length that the bend takes of each of its tangents, m.
    short_by
        Length that the tangents lack for it, m; 0 where it fits.
    misfit
        Relative misfit of the radius fitted to a drawn arc; 0 for a sharp vertex.
    axis
        Unit vector about which the duct turns, shape (b, 3).
    corner
        Where the tangents meet, or the middle of an arc that turns far, m, (b, 3).
    mains
        Sparse: row to whether the main whose wall it lacks room to is behind it, and
        not before it.
    """

    duct: IntArray
    number: IntArray
    angle: FloatArray
    radius: FloatArray
    side_radius: FloatArray
    in_plane: FloatArray
    along_axis: FloatArray
    skew: FloatArray
    construction: IntArray
    pieces: IntArray
    splitters: IntArray
    vane_spacing: FloatArray
    radius_basis: IntArray
    construction_basis: IntArray
    parts_basis: IntArray
    setback: FloatArray
    short_by: FloatArray
    misfit: FloatArray
    axis: FloatArray
    corner: FloatArray
    mains: Mapping[int, bool] = field(default_factory=dict)

    @cached_property
    def lacks_radius(self) -> FloatArray:
        """What the centreline radius lacks to half of the side in the plane, m.

        0 where the throat's radius is nothing or more, or there is none to be made;
        shape (b,). Askew the nearer side counts.
        """
        radius = self.side_radius[0]
        below = self.in_plane / 2 - radius
        return np.where((radius > 0.0) & (below > _ROUNDING), below, 0.0)


@dataclass(frozen=True, eq=False)
class Transitions:
    """Changes of section along a duct: t of them, each at the start of a duct.

    A drawn piece that only carries the duct to one side is one too.

    Parameters
    ----------
    duct
        Duct after the change, away from the source, shape (t,).
    length
        Length of the piece, m; of a drawn one that of its line, with its turns.
    length_basis
        `Basis` codes: drawn as a run of its own, declared, or assumed.
    short_by
        Length that the ducts beside it lack for it, m; of a drawn one that lies within
        a main, what its end lacks to the wall of that. 0 where it fits.
    kink, kink_share
        Shape (2, t), the end on the side of the source first: the angle by which the
        duct turns there, rad, as a drawn one goes further to one side than a flat side
        explains; and how much of it lies in the plane of the section's width, 0 to 1.
    """

    duct: IntArray
    length: FloatArray
    length_basis: IntArray
    short_by: FloatArray
    kink: FloatArray
    kink_share: FloatArray


@dataclass(frozen=True, eq=False)
class Legs:
    """Legs of junctions: l of them.

    Those that lead away from the source; in `DuctGraph.meetings` those that lead to
    where the air of a loop meets.

    Parameters
    ----------
    duct
        Duct that is the leg, shape (l,).
    common
        Duct that all legs of the junction share: the one before them, or behind a
        meeting. The leg itself where several ducts lead in and several out.
    straight
        Main that goes on from the same junction: the duct that turns least, of those
        that turn as much the largest; the common one where two tie for it, or two of
        several turn away as a pair.
    is_branch
        Whether the leg is a branch, and not that main; also where that is the main in
        part only.
    away
        Unit vector along the leg, away from the junction, shape (l, 3).
    angle
        Deflection of the leg from the common duct, rad; 0 is straight on.
    straight_angle
        Deflection of that main, rad; 0 where there is none.
    likeness
        How much the leg counts as one of two without a main, 0 to 1: both turn away, by
        about the same angle, to opposite sides.
    evenness
        How much the junction counts, as far as its legs do not so, as one of branches
        alone, 0 to 1: its legs turn away by about the same angle and are about as
        large, or two of several are a pair.
    pairing
        The largest `likeness` of a junction of more than two legs; 0 where only two
        leave.
    branch
        The leg itself, or for a main the branch, of several one that turns away most.
    leg_count
        How many legs meet there, the common one among them; 2 for a tap at the closed
        end of a duct, which is declared.
    entry
        `TakeoffEntry` codes: how the leg begins if it is a branch.
    entry_basis
        `Basis` codes.
    """

    duct: IntArray
    common: IntArray
    straight: IntArray
    is_branch: BoolArray
    away: FloatArray
    angle: FloatArray
    straight_angle: FloatArray
    likeness: FloatArray
    evenness: FloatArray
    pairing: FloatArray
    branch: IntArray
    leg_count: IntArray
    entry: IntArray
    entry_basis: IntArray

    @cached_property
    def sine(self) -> FloatArray:
        """Sine of `angle`, shape (l,)."""
        return np.sin(self.angle)

    @cached_property
    def is_symmetrical(self) -> BoolArray:
        """Whether the leg is called one of two without a main."""
        return np.asarray(self.likeness > 0.5)

    @cached_property
    def is_between(self) -> BoolArray:
        """Whether the junction is in part one with a main, in part one of branches."""
        even = self.evenness
        if not even.any():  # as nearly everywhere
            return np.zeros(len(even), dtype=bool)
        return np.asarray((even > 0.0) & (even < 1.0) & (self.likeness < 1.0))


@dataclass(frozen=True, eq=False)
class Terminals:
    """Free ends away from the source: t of them.

    Parameters
    ----------
    duct
        Duct that ends there, shape (t,).
    name
        Name of each terminal.
    flow
        Airflow, m³/s.
    loss
        Declared loss of total pressure with the discharge into the room, Pa; NaN
        where none is declared.
    closed
        Ducts that end shut, without a terminal, shape (c,).
    coefficient
        Sparse: row to the declared coefficient of total pressure on the velocity in
        its duct, with the discharge into the room; in place of a loss.
    """

    duct: IntArray
    name: tuple[str, ...]
    flow: FloatArray
    loss: FloatArray
    closed: IntArray
    coefficient: Mapping[int, float] = field(default_factory=dict)

    @cached_property
    def bare(self) -> IntArray:
        """Rows of those of which nothing is declared."""
        rows = np.isnan(self.loss).nonzero()[0]
        if not self.coefficient:
            return rows
        return rows[~np.isin(rows, list(self.coefficient))]


@dataclass(frozen=True)
class Source:
    """Where the air comes from.

    Parameters
    ----------
    node
        Node of the topology.
    kind
        'fan' (the duct begins at its outlet) or 'plenum' (the air enters from rest).
    kind_is_assumed
        Whether nobody said which of the two it is.
    reason
        Why this end was taken.
    """

    node: int
    kind: str
    kind_is_assumed: bool
    reason: str
