"""Which of many upright boxes touch: grids of cells, most often a single one."""

from collections.abc import Iterator

import numpy as np

from .sections import FloatArray, IntArray

Pairs = tuple[IntArray, IntArray]

_MOST_CELLS = 16  # a box that covers more is entered in a coarser grid
_COARSER, _FINER = 2, 4  # powers of two from one grid to the next
_AT_ONCE = 1 << 20  # pairs handed out together


def touching(low: FloatArray, high: FloatArray) -> Pairs:
    """Find the pairs of upright boxes that touch or overlap.

    Parameters
    ----------
    low, high
        Lowest and highest corner of each box, m, shape (3, n), contiguous.

    Returns
    -------
    first, second
        Boxes of each pair; a pair may come more than once, in either order.
    """
    return joined([touch(low, high, *pairs) for pairs in neighbours(low, high)])


def neighbours(low: FloatArray, high: FloatArray) -> Iterator[Pairs]:
    """Pairs of upright boxes near each other: among them are all that touch.

    Parameters are those of `touching`.

    Yields
    ------
    first, second
        Boxes of some pairs, so that who leaves out most of them needs little room; a
        pair may come more than once, in either order.

    Notes
    -----
    The cells are as wide as the middle one of the boxes, and a box is entered in every
    cell that it covers. Much larger boxes have coarser grids of their own, much smaller
    ones finer grids; a box also asks every grid that is coarser than its own.
    """
    size = (high - low).max(axis=0, initial=0.0)
    middle = len(size) // 2
    width = float(np.partition(size, middle)[middle]) if len(size) else 0.0
    if width <= 0.0:
        width = float(size.max(initial=0.0)) or 1.0
    level = _finer(size / width)
    finest = int(level.min(initial=0))
    level -= finest
    per_cell = 2.0**-finest / width
    origin = low.min(axis=1, initial=np.inf)[:, None]
    first_cell = ((low - origin) * per_cell).astype(np.int64)
    last_cell = ((high - origin) * per_cell).astype(np.int64)
    _make_coarser(level, first_cell, last_cell)
    for shift in np.bincount(level).nonzero()[0].tolist():
        own = (level == shift).nonzero()[0]
        key, owner = _cells(first_cell, last_cell, own, shift)
        for here, there in _same_cell(key):
            yield owner.take(here), owner.take(there)
        guests = (level < shift).nonzero()[0]
        if len(guests):
            asked, guest = _cells(first_cell, last_cell, guests, shift)
            yield _match(asked, guest, key, owner)


def _finer(size: FloatArray) -> IntArray:
    """Grid of each box by its size in cells: 0, or less for the small ones."""
    level = np.zeros(len(size), dtype=np.int64)
    small = (size < 2.0**-_FINER).nonzero()[0]
    if len(small):
        steps = np.log2(size[small].clip(2.0**-32)) / _FINER
        level[small] = _FINER * np.ceil(steps).astype(np.int64)
    return level


def _make_coarser(level: IntArray, first: IntArray, last: IntArray) -> None:
    """Raise the grids of boxes until they cover few enough cells."""
    rows = (_covered(first, last, level) > _MOST_CELLS).nonzero()[0]
    while len(rows):
        level[rows] += _COARSER
        covered = _covered(first[:, rows], last[:, rows], level[rows])
        rows = rows[covered > _MOST_CELLS]


def _covered(first: IntArray, last: IntArray, level: IntArray) -> FloatArray:
    """How many cells of its grid each box covers."""
    x, y, z = (last >> level) - (first >> level) + 1.0
    return np.asarray(x * y * z)


def _cells(
    first: IntArray, last: IntArray, rows: IntArray, shift: int
) -> tuple[IntArray, IntArray]:
    """Key of each cell that some boxes cover, rising, and the box that covers it.

    Cells far apart that share a key cost a comparison.
    """
    # Key and box in one number, so that a plain sort puts both in order.
    box_bits = first.shape[1].bit_length()
    axis_bits = (63 - box_bits) // 3
    units = [1 << box_bits + axis_bits * axis for axis in range(3)]
    begin, end = first.take(rows, axis=1) >> shift, last.take(rows, axis=1) >> shift
    # Few cells each: short numbers are divided three times as fast.
    across, deep, high = (end - begin + 1).astype(np.int32)
    covered = across * deep * high
    owner = np.arange(len(rows)).repeat(covered)
    entry = begin[0] * units[0] + begin[1] * units[1] + begin[2] * units[2] + rows
    entry = entry.take(owner)
    # Number of each cell among those of its box: steps along the axes, in one.
    cell = np.arange(len(owner)) - (covered.cumsum() - covered).take(owner)
    cell, step = np.divmod(cell.astype(np.int32), across.take(owner))
    entry += np.multiply(step, units[0], dtype=np.int64)
    cell, step = np.divmod(cell, deep.take(owner))
    entry += np.multiply(step, units[1], dtype=np.int64)
    entry += np.multiply(cell, units[2], dtype=np.int64)
    entry.sort()
    return entry >> box_bits, entry & (1 << box_bits) - 1


def _same_cell(key: IntArray) -> Iterator[Pairs]:
    """Pairs among entries with the same key, which are in order."""
    pairs: list[Pairs] = []
    waiting, step = 0, 1
    here = (key[1:] == key[:-1]).nonzero()[0]
    while len(here):
        pairs.append((here, here + step))
        waiting += len(here)
        if waiting > _AT_ONCE:
            yield joined(pairs)
            pairs, waiting = [], 0
        step += 1
        here = here[: here.searchsorted(len(key) - step)]
        here = here[key.take(here) == key.take(here + step)]
    if pairs:
        yield joined(pairs)


def _match(
    key: IntArray, guest: IntArray, own_key: IntArray, own_id: IntArray
) -> tuple[IntArray, IntArray]:
    """Pairs of guests and owners with the same key; the owners' keys are sorted."""
    begins = np.append(True, own_key[1:] != own_key[:-1]).nonzero()[0]
    size = np.diff(np.append(begins, len(own_key)))
    cell = own_key[begins]
    place = np.minimum(np.searchsorted(cell, key), len(cell) - 1)
    met = (cell[place] == key).nonzero()[0]
    low, count = begins[place[met]], size[place[met]]
    inner = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(guest[met], count), own_id[np.repeat(low, count) + inner]


def touch(
    low: FloatArray, high: FloatArray, first: IntArray, second: IntArray
) -> Pairs:
    """Those pairs of boxes that touch."""
    for near, far in zip(low, high, strict=True):
        touch = near.take(first) <= far.take(second)
        touch &= near.take(second) <= far.take(first)
        first, second = first[touch], second[touch]
    return first, second


def joined(pairs: list[Pairs]) -> Pairs:
    """Several lists of pairs as one."""
    if not pairs:
        none = np.empty(0, dtype=np.int64)
        return none, none
    return (
        np.concatenate([first for first, _ in pairs]),
        np.concatenate([second for _, second in pairs]),
    )
