"""What `check` prints and draws: the runs of a drawing, and what is odd about it."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from elbowroom.layout import (
    Audit,
    FloatArray,
    IntArray,
    Notice,
    Severity,
    Shape,
    Tubes,
    counted,
    level_frame,
    units,
)

from .alike import alike, others
from .colours import Scale
from .display import Display
from .labels import cut
from .outlet import plain
from .results import section_of
from .scene import Label, Panel, picture
from .terminal import TerminalTable, right

_FAR = 1e4  # m, further than ducts of one run lie apart
_ASKEW = 1e-3  # a direction that is nearly along the duct says nothing of its stand
_THIN = 0.05  # m: how wide a run without a section is drawn
_ROUNDING = 0.05  # m: ends that were moved together
_LISTED = 150  # letters of a finding, in the list beside the picture


def print_check(
    result: dict[str, Any], problems: Sequence[Notice], display: Display, console: Any
) -> None:
    """Print what is in a drawing and what is odd about it."""
    numbers = f"length, {display.length}", f"airflow, {display.flow}"
    table = TerminalTable("Runs", "run", "section", *map(right, numbers))
    for run in result["runs"]:
        section, flow = run["section"], run["flow_m3_s"]
        table.add_row(
            plain(run["name"]),
            display.size(section_of(section)) if section else "none",
            display.lengths(run["length_m"], 3),
            "" if flow is None else f"{units.to_unit(flow, display.flow):.4g}",
        )
    console.print(
        f"[bold]{plain(result['file'])}[/bold]  unit {result['unit']} "
        f"({result['unit_from']}), {result['up'].upper()} up ({result['up_from']})"
    )
    console.print(table)
    drawn = sum(run["length_m"] for run in result["runs"])
    is_doubled = drawn > result["total_length_m"] + _ROUNDING
    console.print(
        f"{display.lengths(result['total_length_m'], 3)} {display.length} in all"
        f"{', what is drawn twice counted once' if is_doubled else ''}; "
        f"{counted(result['junction_count'], 'junction')}, "
        f"{counted(result['free_end_count'], 'free end')}, "
        f"{counted(result['component_count'], 'part')}, "
        f"{counted(result['cycle_count'], 'loop')}"
    )
    if not problems:
        console.print("Nothing odd was found.")
        return
    console.print("\n[bold]What was found[/bold]")
    for number, group in enumerate(alike(problems), 1):
        said = group[0]
        console.print(f"{number:3} {said.severity}: {plain(said.sentence)}")
        if said.effect:
            console.print(f"    effect: {plain(said.effect)}")
        if len(group) > 1:
            places = plain(others(group, result["file"]))
            console.print(f"    {len(group) - 1} more like it: {places}")


def audit_picture(found: Audit, path: Path, display: Display) -> str:
    """Draw a drawing as it stands, with the number of each finding at its place.

    Parameters
    ----------
    found
        What was found.
    path
        PNG to write.
    display
        Whose lengths the ruler has.

    Returns
    -------
    unwritable
        As `scene.picture` says it.

    Notes
    -----
    The ducts are drawn run by run as they were read, without bends of a radius, so
    that it works where nothing can be analysed. Only findings that have a place are
    marked; their numbers are those of the list beside it.
    """
    groups = alike(found.findings)
    placed = [
        (number, said)
        for number, group in enumerate(groups, 1)
        for said in group
        if said.place is not None
    ]
    faulty = sum(said.severity != Severity.NOTE for said in found.findings)
    # The gravest first, as they are ranked: it keeps its place where there is little.
    labels = [Label(np.array(said.place), str(number)) for number, said in placed]
    tubes = _as_drawn(found)
    panel = Panel(
        f"{found.topology.drawing.file}: {counted(len(found.findings), 'finding')}",
        caption(len(found.findings), faulty, len(placed)),
        tubes,
        np.full(len(tubes.offsets) - 1, np.nan),
        labels,
    )
    own = f"{found.topology.drawing.file}, "
    listed = [
        f"{number:2}  {cut(_short(group).removeprefix(own), _LISTED)}"
        for number, group in enumerate(groups, 1)
    ]
    nothing = Scale((0.0, 1.0), ("#ffffff",))
    unit = display.length
    return picture([panel], nothing, "", path, beside=listed, length_unit=unit)


def _short(group: Sequence[Notice]) -> str:
    """A finding, or several of one kind, for the list beside the picture."""
    more = f" ({len(group) - 1} more like it)" if len(group) > 1 else ""
    return f"{group[0].where}: {group[0].what}{more}"


def caption(count: int, faulty: int, placed: int) -> str:
    """What stands under the title of a picture of findings.

    Examples
    --------
    >>> caption(4, 3, 2)
    '3 errors or warnings; 2 have a place, and their number there'
    >>> caption(1, 0, 0)
    'no error or warning; none has a place in the drawing'
    """
    if not count:
        return "nothing odd was found"
    said = "no error or warning"
    if faulty:
        said = f"{faulty} {'error or warning' if faulty == 1 else 'errors or warnings'}"
    if not placed:
        return f"{said}; none has a place in the drawing"
    if placed == 1:
        return f"{said}; 1 has a place, and its number there"
    return f"{said}; {placed} have a place, and their number there"


def _as_drawn(found: Audit) -> Tubes:
    """A tube for each segment of a drawing."""
    topology, sections = found.topology, found.sections
    begin, end = (
        topology.nodes[topology.ends[:, 0]],
        topology.nodes[topology.ends[:, 1]],
    )
    along = (end - begin) / topology.length[:, None]
    across, upright = _stand(found, (begin + end) / 2, along)
    count = len(begin)
    shape = sections.shape[topology.run]
    bare = shape == Shape.NONE
    width = np.where(bare, _THIN, sections.width[topology.run])
    height = np.where(bare, _THIN, sections.height[topology.run])

    def twice(of_segment: Any) -> Any:
        return np.repeat(of_segment, 2, axis=0)

    return Tubes(
        np.stack([begin, end], axis=1).reshape(-1, 3),
        twice(across),
        twice(upright),
        twice(width),
        twice(height),
        twice(np.where(bare, int(Shape.ROUND), shape)),
        np.arange(0, 2 * count + 1, 2),
        twice(np.arange(count)),
    )


def _stand(
    found: Audit, middle: FloatArray, along: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Unit vectors along width and height of each segment.

    As the ducts of the graph stand, where there is one; else as the run says of
    itself, with the air taken to flow as it is drawn; else level.
    """
    topology, graph = found.topology, found.graph
    across, upright = level_frame(along)
    for run, said in topology.drawing.attributes.items():
        mine = np.flatnonzero(topology.run == run)
        if said.roll is not None:
            turned = (
                np.cos(said.roll) * across[mine] + np.sin(said.roll) * upright[mine]
            )
            _turn(across, upright, along, mine, turned)
        elif said.up is not None:
            _turn(across, upright, along, mine, np.cross(said.up, along[mine]))
    if graph is not None:
        ducts = graph.ducts
        ways = np.cross(ducts.across, ducts.upright)
        own = _marks((ducts.begin + ducts.end) / 2, ways, ducts.run)
        _, near = cKDTree(own).query(_marks(middle, along, topology.run))
        duct = np.asarray(near)
        mine = np.flatnonzero(ducts.run[duct] == topology.run)
        _turn(across, upright, along, mine, ducts.across[duct[mine]])
    return across, upright


def _marks(middle: FloatArray, along: FloatArray, run: IntArray) -> FloatArray:
    """Points that are near where the run is one, else by direction, else by place."""
    first, second = np.triu_indices(3)
    lines = along[:, first] * along[:, second]  # the same both ways
    return np.column_stack([middle, _FAR * lines, _FAR**2 * run])


def _turn(
    across: FloatArray,
    upright: FloatArray,
    along: FloatArray,
    rows: IntArray,
    wanted: FloatArray,
) -> None:
    """Let segments stand with their width as near as can be to a direction."""
    wanted = wanted - np.einsum("ij,ij->i", wanted, along[rows])[:, None] * along[rows]
    length = np.linalg.norm(wanted, axis=1)
    clear = length > _ASKEW
    rows = rows[clear]
    across[rows] = wanted[clear] / length[clear, None]
    upright[rows] = np.cross(along[rows], across[rows])
