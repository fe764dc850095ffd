"""What a schedule says of runs where the format of a drawing cannot."""

from dataclasses import replace

from .drawing import NOTHING_SAID, Drawing
from .schedule import FLEXIBLE, Schedule, is_flexible


def with_run_words(drawing: Drawing, schedule: Schedule) -> Drawing:
    """Say of each run of a drawing what the schedule says of it.

    Parameters
    ----------
    drawing
        The drawing; it is not changed.
    schedule
        With names as they are drawn; what it says goes before the drawing's own words.

    Returns
    -------
    drawing
        A copy; the same object where nothing is said.
    """
    if not schedule.run_words:
        return drawing
    attributes = dict(drawing.attributes)
    for run, name in enumerate(drawing.names):
        words = schedule.run_words.get(name)
        if words is None:
            continue
        said = attributes.get(run, NOTHING_SAID)
        if words.transition is not None:
            said = replace(said, transition=words.transition)
        if words.roll is not None or words.up is not None:
            said = replace(said, roll=words.roll, up=words.up)
        attributes[run] = said
    return replace(drawing, attributes=attributes)


def made_of(
    drawing: Drawing, schedule: Schedule, run: int
) -> tuple[str | None, float | None]:
    """Material that is declared of a run, or its roughness, m, or neither.

    What is said of the run goes before what is said of all, and that it is drawn
    flexible before a rigid material of all.
    """
    name = drawing.names[run]
    if name in schedule.run_materials:
        return schedule.run_materials[name], None
    said = drawing.attributes.get(run)
    rough = schedule.run_roughness.get(name)
    if rough is None and said is not None:
        rough = said.roughness
    if rough is not None:
        return None, rough
    if said is not None and said.flexible and not is_flexible(schedule.material):
        return FLEXIBLE, None
    return schedule.material, schedule.roughness


def flexible_runs(drawing: Drawing, schedule: Schedule) -> list[int]:
    """Numbers of the runs whose material is that of flexible duct."""
    declared = map(is_flexible, (schedule.material, *schedule.run_materials.values()))
    if not any(declared) and not any(a.flexible for a in drawing.attributes.values()):
        return []
    return [
        run
        for run in range(drawing.run_count)
        if is_flexible(made_of(drawing, schedule, run)[0])
    ]


def lacks_material(drawing: Drawing, schedule: Schedule, run: int) -> bool:
    """Whether a run is drawn flexible and nobody says of what; FLEXIBLE is taken."""
    said = drawing.attributes.get(run)
    return (
        said is not None
        and said.flexible
        and not is_flexible(schedule.material)
        and drawing.names[run] not in schedule.run_materials
        and made_of(drawing, schedule, run)[0] == FLEXIBLE
    )
