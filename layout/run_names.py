"""Names by which a schedule calls runs, made those of the drawing."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from typing import TypeVar

from .drawing import NOTHING_SAID, Drawing
from .faults import Notice, and_more, error
from .names import bare_name
from .nearest import folded, nearest
from .schedule import ComponentSpec, Schedule

T = TypeVar("T")
_LISTED = 8  # runs named where none goes by a name


def labels(drawing: Drawing, run: int) -> tuple[str, ...]:
    """Names by which a schedule may call a run: as drawn, or without its section."""
    name = drawing.names[run]
    said = drawing.attributes.get(run, NOTHING_SAID).terminal
    bare = bare_name(name)
    return tuple(dict.fromkeys(label for label in (said, name, bare) if label))


def goes_by(drawing: Drawing, names: Collection[str]) -> set[str]:
    """Labels of the runs that names of a schedule may mean.

    These names, and of each that no run has in full the one without its section: it may
    be of the drawing before its sizes were changed.
    """
    drawn = set(drawing.names) if names else set()
    old = {bare_name(name) for name in names if name not in drawn}
    return {*names, *old} - {""}


def with_drawn_names(
    schedule: Schedule, drawing: Drawing, other_runs: Collection[str] = ()
) -> tuple[Schedule, list[Notice]]:
    """Call every run that a schedule names outside its terminals as it is drawn.

    Parameters
    ----------
    schedule
        As it is written.
    drawing
        The drawing; one without a run of such a name in full may have one whose name
        is that with a section, as in 'B2 D280mm', or with another section.
    other_runs
        Names of runs in other drawings that share the schedule; what it says of these
        is left out.

    Returns
    -------
    schedule, faults
        The schedule, the same object where it needs no change, and a fault for each
        name that no run, or more than one, goes by; that name is kept.
    """
    named = list(schedule.named_runs)
    if schedule.source.run is not None:
        named.append(("[source]", schedule.source.run))
    drawn = set(drawing.names) if named else set()
    if all(name in drawn for _, name in named):
        return schedule, []
    find = _Names(drawing, drawn, other_runs)
    faults = []
    for where, name in dict.fromkeys(named):
        runs = find(name)
        if len(runs) > 1:
            shown = " and ".join(f"'{run}'" for run in runs[:4])
            what = f"{len(runs)} runs of the drawing go by '{name}': {shown}"
            remedy = "write the name in full"
        elif not runs and (where == "[source]" or not find.is_elsewhere(name)):
            what, remedy = f"the drawing has no run '{name}'", find.instead(name)
        else:
            continue
        faults.append(error(f"{schedule.file}, {where}", what, remedy))

    def renamed(where: str, entries: Mapping[str, T]) -> dict[str, T]:
        keyed = {(name, 0): value for name, value in entries.items()}
        return {name: value for (name, _), value in bends(where, keyed).items()}

    def bends(
        where: str, entries: Mapping[tuple[str, int], T]
    ) -> dict[tuple[str, int], T]:
        out: dict[tuple[str, int], T] = {}
        by: dict[tuple[str, int], str] = {}
        for (name, number), value in entries.items():
            runs = find(name)
            if not runs and find.is_elsewhere(name):
                continue
            key = (runs[0] if len(runs) == 1 else name), number
            if key in out:
                what = f"'{name}' is the same run as '{by[key]}'"
                place = f"{schedule.file}, {where}"
                faults.append(error(place, what, "delete one of the two"))
            out[key], by[key] = value, name
        return out

    def components() -> Iterator[ComponentSpec]:
        for spec in schedule.components:
            runs = find(spec.run)
            if runs or not find.is_elsewhere(spec.run):
                yield replace(spec, run=runs[0] if len(runs) == 1 else spec.run)

    source = schedule.source
    if source.run is not None and len(find(source.run)) == 1:
        source = replace(source, run=find(source.run)[0])
    return replace(
        schedule,
        source=source,
        components=tuple(components()),
        sections=renamed("[sections]", schedule.sections),
        limits=renamed("[limits]", schedule.limits),
        run_words=renamed("[runs]", schedule.run_words),
        run_materials=renamed("[duct.runs]", schedule.run_materials),
        run_roughness=renamed("[duct.runs]", schedule.run_roughness),
        run_compression=renamed("[duct.runs]", schedule.run_compression),
        elbow_exceptions=bends("[[elbows.exception]]", schedule.elbow_exceptions),
        takeoff_exceptions=renamed(
            "[[takeoffs.exception]]", schedule.takeoff_exceptions
        ),
        closed_ends=renamed("[[takeoffs.exception]]", schedule.closed_ends),
        transition_exceptions=renamed(
            "[[transitions.exception]]", schedule.transition_exceptions
        ),
    ), list(dict.fromkeys(faults))


class _Names:
    """The runs that go by a name."""

    def __init__(
        self, drawing: Drawing, drawn: Collection[str], other_runs: Collection[str]
    ) -> None:
        self._drawn = drawn
        self._names = drawing.names
        self._by_label: dict[str, list[str]] = {}
        for run, name in enumerate(drawing.names):
            for label in labels(drawing, run):
                self._by_label.setdefault(label, []).append(name)
        self._elsewhere = {*other_runs, *map(bare_name, other_runs)}

    def __call__(self, name: str) -> list[str]:
        """Runs of a name as it is drawn, else of a name without its section.

        Last of all one whose section is another than in the name: it was changed since.
        """
        if name in self._drawn:
            return [name]
        found = self._by_label.get(name, [])
        if found or name in self._elsewhere:
            return found
        return self._by_label.get(bare_name(name) or name, [])

    def is_elsewhere(self, name: str) -> bool:
        """Whether another drawing has it."""
        return name in self._elsewhere

    def instead(self, name: str) -> str:
        """What may have been meant."""
        begins = {
            one for one in self._names if folded(one).startswith(folded(name) + " ")
        }
        # 'F3' means the one 'F3 dia 200', however much longer that is.
        near = begins.pop() if len(begins) == 1 else nearest(name, self._by_label)
        if near:
            return f"did you mean '{near}'"
        names = list(dict.fromkeys(self._names))
        shown = ", ".join(f"'{run}'" for run in names[:_LISTED])
        return f"its runs are {shown}{and_more(len(names) - _LISTED)}"
