"""A drawing with other sections."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from .basis import Basis
from .drawing import NOTHING_SAID, Drawing
from .faults import Notice, listed, warning
from .names import unique, unsized
from .run_names import with_drawn_names
from .schedule import Schedule
from .sections import Section


def with_sections(drawing: Drawing, sections: Mapping[str, Section]) -> Drawing:
    """Give runs of a drawing other sections.

    Parameters
    ----------
    drawing
        The drawing; it is not changed.
    sections
        By run; runs that are not named keep theirs.

    Returns
    -------
    drawing
        A copy. Sizes written in a name are taken out of it, so that it says nothing
        else than the section does; not where another has that name without them, but
        that transitions then get a number.
    """
    shape, width = drawing.shape.copy(), drawing.width.copy()
    height, basis = drawing.height.copy(), drawing.section_basis.copy()
    names = list(drawing.names)
    for run, name in enumerate(drawing.names):
        section = sections.get(name)
        if section is not None:
            shape[run], width[run], height[run] = (
                section.shape,
                section.width,
                section.height,
            )
            basis[run] = int(Basis.DECLARED)
            names[run] = unsized(name) or name
    times = Counter(names)
    for run, name in enumerate(drawing.names):
        said = drawing.attributes.get(run, NOTHING_SAID)
        if times[names[run]] > 1 and not said.transition:
            names[run] = name
    names = unique(names)
    return replace(
        drawing,
        names=names,
        shape=shape,
        width=width,
        height=height,
        section_basis=basis,
        section_origin={},
    )


def overruling_notices(
    drawing: Drawing, schedule: Schedule, sections: Mapping[str, Section]
) -> list[Notice]:
    """Say which new sections a schedule would take back when it is read with them.

    Parameters
    ----------
    drawing
        The drawing before it got them.
    schedule
        What the schedule says; its own [sections] go before those drawn.
    sections
        The new ones by run.
    """
    named, *_ = with_drawn_names(schedule, drawing)
    runs = [
        run
        for run, section in named.sections.items()
        if run in sections and section != sections[run]
    ]
    if not runs:
        return []
    return [
        warning(
            f"{schedule.file}, [sections]",
            f"what it says of {listed(runs)} goes before the sizes that were written",
            "delete it there before you read the new file with this schedule",
        )
    ]
