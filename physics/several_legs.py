"""Junctions at which three legs or more meet a common duct: what no table has.

All rules are our own, no published source. They are for branches that divide the air
and for those that join it alike: what several branches do counts as far as they carry
air, so that no order of drawing decides and a leg that has none changes nothing.
"""

from collections.abc import Iterator
from dataclasses import fields

import numpy as np

from elbowroom.layout import (
    BoolArray,
    Ducts,
    FloatArray,
    IntArray,
    Legs,
    is_first,
)

from .coefficient import Gathered
from .junction_terms import JunctionLegs

WEAK = 0.1  # of the air at a joint: what counts in part as if it rested
_NO_AIR = 1e-9  # of the common airflow: the least that a leg is weighted with


def without_idle(
    common: IntArray, share: FloatArray
) -> Iterator[tuple[IntArray, FloatArray]]:
    """Legs of junctions without the idle ones, and how much that reading counts.

    A leg counts by its airflow over a tenth of the common one, or over the second
    largest where that is less; for the rest its junction is read as if it were not
    there. Where several are idle the weakest is left out first, and each counts as far
    as the mean of the readings that have it.

    Parameters
    ----------
    common
        Duct that each leg has in common with those beside it, shape (l,).
    share
        Its airflow over that of the common duct, shape (l,).

    Yields
    ------
    rows, part
        Legs that are left, two of a junction at least, and how much this reading of
        them counts against all before it, above 0 to 1, shape (n,) each.
    """
    group = is_first(common).cumsum() - 1
    count = np.bincount(group)
    begin = count.cumsum() - count
    air = np.maximum(share, _NO_AIR)
    order = np.lexsort((air, group))
    second = air[order[begin + count - 2]]
    counts = np.minimum(air / np.minimum(WEAK, second)[group], 1.0)
    if (counts == 1.0).all():  # as at most junctions
        return
    rank = np.empty(len(air), dtype=np.int64)
    rank[order] = np.arange(len(air)) - begin[group]
    for dropped in range(1, int(count.max()) - 1):
        at = (count > dropped + 1).nonzero()[0]
        weakest, weaker = (order[begin[at] + dropped - less] for less in (0, 1))
        part = np.zeros(len(count))
        part[at] = 1.0 - counts[weaker] / counts[weakest]
        rows = ((rank >= dropped) & (part[group] > 0.0)).nonzero()[0]
        if len(rows):
            yield rows, part[group[rows]]


def keep_energy(common: IntArray, share: FloatArray, found: Gathered) -> None:
    """Let no junction give energy to the air.

    Where the losses, weighted by airflow, sum up to less than nothing, each leg loses
    so much more that they come to nothing. Parameters are those of `without_idle`.
    """
    group = is_first(common).cumsum() - 1
    lost = np.bincount(group, share * found.value) / np.bincount(group, share)
    found.value += np.maximum(-lost, 0.0)[group]


def pairs(legs: Legs, rows: IntArray) -> tuple[IntArray, IntArray]:
    """Each of some rows once for every other leg at its junction, and that leg's."""
    every = np.arange(len(legs.duct))
    begin = np.maximum.accumulate(np.where(is_first(legs.common), every, 0))[rows]
    count = legs.leg_count[rows] - 1
    row, place = rows.repeat(count), np.arange(count.sum())
    other = place + (begin - (count.cumsum() - count)).repeat(count)
    return row[other != row], other[other != row]


def past_each(
    junction: JunctionLegs, legs: Legs, ducts: Ducts, of: IntArray, other: IntArray
) -> JunctionLegs:
    """Legs, by the rows `of`, the last of them mains that pass the branches `other`."""
    names = [part.name for part in fields(junction) if part.name != "shared_wall"]
    every = JunctionLegs(*(getattr(junction, name)[of] for name in names))
    every.angle[-len(other) :] = legs.angle[other]
    every.entry[-len(other) :] = legs.entry[other]
    every.branch_shape[-len(other) :] = ducts.shape[legs.duct[other]]
    return every


def mean_past(found: Gathered, row: IntArray, share: FloatArray) -> Gathered:
    """Means over what a main past several branches has past each, by their airflows.

    All air that leaves there, or joins, counts with each branch's angle, shape and
    entry, and these as far as they carry it. `row` are the mains of the last of
    `found`, and `share` the airflows of the branches that these pass.
    """
    first = len(found.value) - len(row)
    out = found.part(np.arange(first))
    weight = np.maximum(share, _NO_AIR)
    place = np.arange(len(row))
    place -= np.maximum.accumulate(np.where(is_first(row), place, 0))
    whole = np.zeros(first)
    for number in range(int(place.max()) + 1):
        mine = (place == number).nonzero()[0]
        rows, past = row[mine], found.part(first + mine)
        whole[rows] += weight[mine]
        if number == 0:
            out.take_over(rows, past)
        else:
            part = weight[mine] / whole[rows]
            out.put_between(rows, out.part(rows), past, part)
    return out


def momentum_lacking(
    legs: Legs, share: FloatArray, size: FloatArray, some: BoolArray, beside: FloatArray
) -> FloatArray:
    """What branches beside others lose more as those turn too, on common velocity.

    The tables have the air beside a branch come straight along the common duct, and it
    gives back 2 (1 - q)² / s, s the area of the other legs over the common one. What it
    gives back is the sum of their 2 q² cos / f, q and f their own.

    Parameters
    ----------
    legs, share
        All legs of the junctions, and their airflows over the common one, shape (l,).
    size
        Area of each duct, m², shape (d,).
    some, beside
        Which of the legs are asked for, and the s of each, shape (l,) each.

    Returns
    -------
    added
        One for each of `some`.
    """
    common = legs.common
    wide = size[legs.duct] / size[common]
    along = 2.0 * share**2 / wide * np.cos(np.minimum(legs.angle, np.pi / 2))
    others = np.bincount(common, along, len(size))[common] - along
    straight = 2.0 * (1.0 - share[some]) ** 2 / beside[some]
    return np.asarray(straight - others[some])
