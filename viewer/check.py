"""The audit of a drawing before any number."""

from typing import Any

from elbowroom.layout import (
    Notice,
    Shape,
    Topology,
    island_notices,
    loops,
    near_misses,
    warning,
)

from .tables import print_notices


def topology_problems(topology: Topology, shapes: Any) -> list[Notice]:
    """What can be said of a drawing without knowing its source.

    Parameters
    ----------
    topology
        The joined drawing.
    shapes
        Sections of its runs, as `run_sections` gives them.

    Returns
    -------
    problems
        Notices of the reader and of joining; runs without a section; loops; parts
        that hang together with nothing else.
    """
    drawing = topology.drawing
    problems = [*drawing.notices, *topology.notices, *near_misses(topology)]
    for run in range(drawing.run_count):
        said = drawing.attributes.get(run)
        if shapes.shape[run] == Shape.NONE and not (said and said.transition):
            problems.append(
                warning(
                    drawing.place(run),
                    "the run has no section",
                    "give it width_m and height_m or diameter_m in the extras, a name "
                    "such as 600x300 or D200, or a line under [sections] in the "
                    "schedule",
                )
            )
    for loop in loops(topology) if topology.cycle_count else []:
        corners = ", ".join(topology.place(int(node)) for node in loop[:6])
        problems.append(
            warning(
                drawing.file,
                f"the ducts form a loop through {corners}",
                "open it: airflows in a loop are not settled by the terminals",
            )
        )
    if topology.component_count > 1:
        sizes = [
            float(
                topology.length[topology.component[topology.ends[:, 0]] == part].sum()
            )
            for part in range(topology.component_count)
        ]
        largest = max(range(len(sizes)), key=sizes.__getitem__)
        shown = " and ".join(f"{size:.3g} m" for size in sizes[:6])
        problems.append(
            warning(
                drawing.file,
                f"{len(sizes)} separate parts: {shown}",
                "close the gaps between what belongs together",
            )
        )
        problems += island_notices(topology, topology.component == largest)
    return problems


def print_check(result: dict[str, Any], problems: list[Notice], console: Any) -> None:
    """Print what is in a drawing and what is odd about it."""
    from rich.box import SIMPLE_HEAD
    from rich.markup import escape
    from rich.table import Table

    table = Table(title="Runs", title_justify="left", box=SIMPLE_HEAD, pad_edge=False)
    table.add_column("run")
    table.add_column("section")
    table.add_column("length, m", justify="right")
    table.add_column("airflow, m3/s", justify="right")
    for run in result["runs"]:
        section, flow = run["section"], run["flow_m3_s"]
        table.add_row(
            escape(run["name"]),
            section["words"] if section else "none",
            f"{run['length_m']:.3f}",
            "" if flow is None else f"{flow:.4g}",
        )
    console.print(
        f"[bold]{escape(result['file'])}[/bold]  unit {result['unit']} "
        f"({result['unit_from']}), {result['up'].upper()} up ({result['up_from']})"
    )
    console.print(table)
    console.print(
        f"{result['total_length_m']:.3f} m in all; "
        f"{result['junction_count']} junctions, {result['free_end_count']} free ends, "
        f"{result['component_count']} part(s), {result['cycle_count']} loop(s)"
    )
    if problems:
        print_notices(problems, console, "What was found")
    else:
        console.print("Nothing odd was found.")
