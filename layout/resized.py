"""A drawing with other sections."""

from collections.abc import Mapping
from dataclasses import replace

from .basis import Basis
from .drawing import Drawing
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
        else than the section does.
    """
    from .names import bare_name

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
            names[run] = bare_name(name) or name
    if len(set(names)) < len(names):
        names = list(drawing.names)
    return replace(
        drawing,
        names=names,
        shape=shape,
        width=width,
        height=height,
        section_basis=basis,
        section_origin={},
    )
