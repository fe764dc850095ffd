"""Mend what can be mended in a drawing without guessing what was meant."""

from dataclasses import replace

import numpy as np

from .drawing import Drawing
from .near_misses import gaps
from .places import place_words
from .quantity_words import length_words
from .sections import FloatArray
from .snap import snap
from .topology import Topology, join

_LEAST = 1e-6  # m: what is moved by less is moved by rounding


def mended(
    topology: Topology, width: FloatArray | None = None
) -> tuple[Drawing, list[str]]:
    """Mend a drawing: a copy with its slips put right, and what was changed.

    Parameters
    ----------
    topology
        The joined drawing; it is not changed.
    width
        Larger side of each run's section, m, shape (r,); as drawn if None.

    Returns
    -------
    drawing, changes
        The mended drawing, and a sentence for each change in it: ends that nearly
        meet are moved together, free ends to the duct that they stop short of or
        just pass, or at whose side they begin; vertices at one place become one, runs
        that lie on others are left out. Loops, crossings, missing sections and
        airflows are left as they are: only their designer knows what was meant.
    """
    drawing = topology.drawing
    nodes, node, _ = snap(drawing.points, topology.tolerance)
    points, changes = nodes[node].copy(), []
    moved = np.linalg.norm(points - drawing.points, axis=1)
    for place in np.unique(node[moved > 0.0]).tolist():
        farthest = float(moved[node == place].max())
        changes.append(
            f"the ends that meet at {place_words(nodes[place], drawing.unit)} were "
            f"moved together, by up to {length_words(max(farthest, _LEAST))}"
        )
    found = gaps(topology, width)
    for gap in found:
        short = np.linalg.norm(points - topology.nodes[gap.node], axis=1) < 1e-12
        points[short] = gap.target
        way = "cut back" if gap.past else "drawn on"
        changes.append(
            f"run '{drawing.names[gap.run]}' was {way} by {length_words(gap.width)} "
            f"to run '{drawing.names[gap.other]}' at "
            + place_words(gap.target, drawing.unit)
        )
    again = replace(drawing, points=points, notices=())
    covered = _covered(join(again, topology.tolerance))
    keep_runs, parts = [], []
    for run in range(drawing.run_count):
        mine = points[drawing.offsets[run] : drawing.offsets[run + 1]]
        real = np.append(True, (np.diff(mine, axis=0) != 0.0).any(axis=1))
        if run in covered:
            changes.append(
                f"run '{drawing.names[run]}' was left out: other runs lie along all "
                "of it"
            )
        elif real.sum() < 2:
            changes.append(
                f"run '{drawing.names[run]}' was left out: it is shorter than the "
                "joining tolerance"
            )
        else:
            dropped = int((~real).sum())
            if dropped:
                changes.append(
                    f"{dropped} vert{'ices' if dropped > 1 else 'ex'} of run "
                    f"'{drawing.names[run]}' at the place of the one before "
                    f"{'were' if dropped > 1 else 'was'} left out"
                )
            keep_runs.append(run)
            parts.append(mine[real])
    return _with_runs(drawing, keep_runs, parts), changes


def _covered(topology: Topology) -> set[int]:
    """Runs of which nothing is left once what is drawn twice is counted once."""
    every = set(range(topology.drawing.run_count))
    return every - set(np.unique(topology.run).tolist())


def _with_runs(drawing: Drawing, runs: list[int], parts: list[FloatArray]) -> Drawing:
    kept = np.array(runs, dtype=np.int64)
    new = {run: row for row, run in enumerate(runs)}
    return replace(
        drawing,
        points=np.concatenate(parts) if parts else np.zeros((0, 3)),
        offsets=np.cumsum([0, *map(len, parts)]),
        names=[drawing.names[run] for run in runs],
        where=[drawing.where[run] for run in runs],
        shape=drawing.shape[kept],
        width=drawing.width[kept],
        height=drawing.height[kept],
        flow=drawing.flow[kept],
        section_basis=drawing.section_basis[kept],
        attributes={new[r]: a for r, a in drawing.attributes.items() if r in new},
        section_origin={
            new[r]: o for r, o in drawing.section_origin.items() if r in new
        },
        notices=(),
    )
