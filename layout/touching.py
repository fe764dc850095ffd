"""Which of many upright boxes touch: a grid for each size of box."""

import numpy as np

from .sections import FloatArray, IntArray

_CELL_BITS = 20


def touching(low: FloatArray, high: FloatArray) -> tuple[IntArray, IntArray]:
    """Find the pairs of upright boxes that touch or overlap.

    Parameters
    ----------
    low, high
        Lowest and highest corner of each box, m, shape (3, n), contiguous.

    Returns
    -------
    first, second
        Boxes of each pair; a pair may come more than once, in either order.

    Notes
    -----
    A grid for each size of box, each twice as wide as the one before: a box is
    entered in the few cells of its own size that it covers, and asks every coarser
    grid too.
    """
    size = (high - low).max(axis=0)
    level = np.ceil(np.log2(size)).astype(np.int64)
    level -= level.min()
    per_cell = 2.0 ** -np.ceil(np.log2(size.min()))
    origin = low.min(axis=1)[:, None]
    first_cell = ((low - origin) * per_cell).astype(np.int64)
    # In the order of space, so that what is near in the building is near in memory.
    order = np.argsort(_key(first_cell >> np.int64(level.max())))
    low, high, level = low[:, order], high[:, order], level[order]
    first_cell = first_cell[:, order]
    last_cell = ((high - origin) * per_cell).astype(np.int64)
    found: list[tuple[IntArray, IntArray]] = []
    for shift in np.flatnonzero(np.bincount(level)).tolist():
        own = np.flatnonzero(level == shift)
        key, owner = _cells(
            first_cell[:, own] >> shift, last_cell[:, own] >> shift, own
        )
        sort = np.argsort(key, kind="stable")
        key, owner = key[sort], owner[sort]
        found.append(_same_cell(key, owner))
        guests = np.flatnonzero(level < shift)
        if len(guests):
            asked, guest = _cells(
                first_cell[:, guests] >> shift, last_cell[:, guests] >> shift, guests
            )
            found.append(_match(asked, guest, key, owner))
    first = np.concatenate([pair[0] for pair in found])
    second = np.concatenate([pair[1] for pair in found])
    for axis in range(3):
        near, far = low[axis], high[axis]
        touch = (near[first] <= far[second]) & (near[second] <= far[first])
        first, second = first[touch], second[touch]
    return order[first], order[second]


def _key(cell: IntArray) -> IntArray:
    """One number for each cell; cells far apart that share one cost a comparison."""
    return np.asarray(cell[0] + (cell[1] << _CELL_BITS) + (cell[2] << 2 * _CELL_BITS))


def _cells(
    first: IntArray, last: IntArray, owner: IntArray
) -> tuple[IntArray, IntArray]:
    """Key of every cell that each box covers, with the box's owner.

    A box is no larger than a cell, so it covers one or two cells along each axis.
    """
    key = _key(first)
    keys, owners = [key], [owner]
    span = last - first
    covers = span[0] + (span[1] << 1) + (span[2] << 2)
    for corner in range(1, 8):
        reach = np.flatnonzero((covers & corner) == corner)
        if len(reach):
            step = np.array([[corner & 1], [corner >> 1 & 1], [corner >> 2 & 1]])
            keys.append(key[reach] + _key(step))
            owners.append(owner[reach])
    return np.concatenate(keys), np.concatenate(owners)


def _same_cell(key: IntArray, owner: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs within runs of equal keys; the keys are sorted."""
    first: list[IntArray] = []
    second: list[IntArray] = []
    here = np.arange(len(key))
    for step in range(1, len(key)):
        here = here[: np.searchsorted(here, len(key) - step)]
        here = here[key[here] == key[here + step]]
        if len(here) == 0:
            break
        first.append(owner[here])
        second.append(owner[here + step])
    if not first:
        none = np.empty(0, dtype=np.int64)
        return none, none
    return np.concatenate(first), np.concatenate(second)


def _match(
    key: IntArray, guest: IntArray, own_key: IntArray, own_id: IntArray
) -> tuple[IntArray, IntArray]:
    """Pairs of guests and owners with the same key; the owners' keys are sorted."""
    begins = np.flatnonzero(np.append(True, own_key[1:] != own_key[:-1]))
    size = np.diff(np.append(begins, len(own_key)))
    cell = own_key[begins]
    place = np.minimum(np.searchsorted(cell, key), len(cell) - 1)
    met = np.flatnonzero(cell[place] == key)
    low, count = begins[place[met]], size[place[met]]
    inner = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(guest[met], count), own_id[np.repeat(low, count) + inner]
