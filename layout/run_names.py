"""Names by which a schedule calls runs, made those of the drawing."""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from .components import nearest_on_lines
from .drawing import NOTHING_SAID, Drawing
from .faults import Notice, error, listed, note, some, warning
from .names import any_may_be_copies, bare_name, numbered, without_number
from .nearest import folded, nearest
from .schedule import ComponentSpec, Schedule

T = TypeVar("T")
CLOSED_ENDS = "[[takeoffs.exception]] closed_end"
_LISTED = 8  # runs named where none goes by a name
_SHOWN = 4  # runs shown of those that go by one name
FIRST = " (1)"  # the number of that run of several alike which was given none


def labels(drawing: Drawing, run: int) -> tuple[str, ...]:
    """Names by which a schedule may call a run: as drawn, or without its section."""
    name = drawing.names[run]
    said = drawing.attributes.get(run, NOTHING_SAID).terminal
    bare = bare_name(name)
    return tuple(dict.fromkeys(label for label in (said, name, bare) if label))


def goes_by(
    drawing: Drawing, names: Collection[str], runs: Collection[int]
) -> set[str]:
    """Labels of runs at free ends that names of a schedule may mean.

    These names, and of each that no run has in full the one without its section: it may
    be of the drawing before its sizes were changed. Of one that no end has, that of the
    only end whose name is the same but for the number of a copy, or for that of the
    first.
    """
    drawn = set(drawing.names) if names else set()
    old = {bare_name(name) for name in names if name not in drawn}
    said = {*names, *old} - {""}
    if not said:
        return said
    own = {label for run in runs for label in labels(drawing, run)}
    of_none = said - own
    times = Counter(map(without_number, own))
    return said | {
        label
        for label in own
        if label + FIRST in of_none
        or ((plain := without_number(label)) in of_none and times[plain] == 1)
    }


class RunNames:
    """The runs that names of a schedule mean.

    Parameters
    ----------
    drawing
        The drawing.
    others
        Names of the runs in each other drawing that shares the schedule.
    each_alone
        Whether each name means one run, as in a schedule that a drawing was asked for.
    """

    def __init__(
        self,
        drawing: Drawing,
        others: Sequence[Collection[str]] = (),
        each_alone: bool = False,
    ) -> None:
        self._names = list(dict.fromkeys(drawing.names))
        self._drawn = set(self._names)
        self._by_label: dict[str, list[str]] = {}
        for run, name in enumerate(drawing.names):
            for label in labels(drawing, run):
                self._by_label.setdefault(label, []).append(name)
        self._others = [set(names) for names in others]
        self._elsewhere = {
            one
            for names in self._others
            for name in names
            for one in (name, bare_name(name))
        }
        self._each_alone = each_alone
        self._unnumbered: dict[str, list[str]] = {}
        self._plain = {name: self._without_number(name) for name in self._names}
        self._alike: dict[str, list[str]] = {}
        for name, plain in self._plain.items():
            self._alike.setdefault(plain, []).append(name)

    def __call__(self, name: str) -> list[str]:
        """Runs of a name as it is drawn, else of a name without its section.

        Last of all those whose section is another than in the name: it was changed
        since, or is another in a drawing that shares the schedule. A name that several
        runs were given means each of them; one with the number of a copy means that run
        alone, with 1 the one that has no number.
        """
        if name in self._drawn:
            return self._with_copies(name, [name])
        found = self._by_label.get(name, [])
        if found:
            return self._with_copies(name, found)
        runs = self.with_other_section(name)
        return self._not_beside(name, runs) if self.is_lent(name) else runs

    def with_other_section(self, name: str) -> list[str]:
        """Runs whose section is another than in a name that is not drawn."""
        bare, number = numbered(name)
        if number:
            return self._by_number.get((bare, number), []) if bare else []
        bare = bare or name
        found = self._by_label.get(bare, [])
        # Some are drawn with the number 1; else it is that of the first.
        if name.endswith(FIRST) and (
            name.removesuffix(FIRST) in self._drawn or not found
        ):
            return self._first(name.removesuffix(FIRST))
        if bare.endswith(FIRST) and not found:
            return self._first(bare.removesuffix(FIRST))
        return self._with_copies(bare, found) or self._alike.get(bare, [])

    def _not_beside(self, name: str, runs: list[str]) -> list[str]:
        """Those of some runs that no drawing has which has a run of that name too.

        There the two stand side by side, so that neither is the other of another size.
        """
        own = {name, name.removesuffix(FIRST)}
        with_both = (names for names in self._others if not own.isdisjoint(names))
        beside = {without_number(run) for names in with_both for run in names}
        return [run for run in runs if without_number(run) not in beside]

    @cached_property
    def _by_number(self) -> dict[tuple[str, str], list[str]]:
        """Runs by their name without its section, and the number of a copy."""
        out: dict[tuple[str, str], list[str]] = {}
        for run in self._names:
            out.setdefault(numbered(run), []).append(run)
        return out

    def alone(self, run: str) -> str:
        """Name that means one run and none that is alike; empty if there is none."""
        if self._by_label[run].count(run) > 1:
            return ""
        return next((name for name in (run, run + FIRST) if self(name) == [run]), "")

    def are_alike(self, name: str, runs: Collection[str]) -> bool:
        """Whether runs found for a name were given one name, so that it means each."""
        return self._is_plain(name) and len({self._plain[run] for run in runs}) == 1

    def is_lent(self, name: str) -> bool:
        """Whether a name is that of a run in another drawing, and of none here."""
        own = {name, name.removesuffix(FIRST)}
        return not any(
            one in self._drawn or one in self._by_label for one in own
        ) and any(not own.isdisjoint(names) for names in self._others)

    def is_elsewhere(self, name: str) -> bool:
        """Whether another drawing has it, by its name there or without a section."""
        return any(
            one in self._elsewhere or one.removesuffix(FIRST) in self._elsewhere
            for one in (name, bare_name(name))
            if one
        )

    def instead(self, name: str) -> str:
        """What may have been meant."""
        begins = {
            one for one in self._names if folded(one).startswith(folded(name) + " ")
        }
        # 'F3' means the one 'F3 dia 200', however much longer that is.
        begins |= {numbered(name)[0]} & self._by_label.keys()
        near = begins.pop() if len(begins) == 1 else nearest(name, self._by_label)
        if near:
            return f"did you mean '{near}'"
        return f"its runs are {listed(self._names, _LISTED)}"

    def _without_number(self, name: str) -> str:
        """Name that a run was given, which others may have been given too.

        A number in brackets is that of a copy where the name without it is there.
        """
        plain = without_number(name)
        if plain != name and plain in self._drawn:
            return plain
        bare, number = numbered(name)
        if not bare or not number:
            return name
        # Its section was changed or written behind the number.
        if bare not in self._unnumbered:  # once for all the copies of a name
            called = self._by_label.get(bare, [])
            self._unnumbered[bare] = [run for run in called if not numbered(run)[1]]
        found = self._unnumbered[bare]
        if len(found) == 1:
            return found[0]
        return name if found or number[-1] == ")" else bare

    def _is_plain(self, name: str) -> bool:
        """Whether a name has no number of a copy."""
        if name in self._plain:
            return self._plain[name] == name
        return not numbered(name)[1]

    def _first(self, name: str) -> list[str]:
        """That run of a name which has no number."""
        if name in self._drawn:
            return [name]
        bare = bare_name(name) or name
        called = self._by_label.get(bare, [])
        own = [run for run in called if numbered(run) == (bare, "")]
        return own if len(own) == 1 else []

    def _with_copies(self, name: str, runs: list[str]) -> list[str]:
        if self._each_alone or not self._is_plain(name):
            return list(dict.fromkeys(runs))
        found = []
        for run in runs:
            # A terminal's name is that of one end.
            is_its_own = name in (run, bare_name(run))
            found += self._alike[self._plain[run]] if is_its_own else [run]
        return list(dict.fromkeys(found))


def with_drawn_names(
    schedule: Schedule, drawing: Drawing, others: Sequence[Collection[str]] = ()
) -> tuple[Schedule, list[Notice], list[Notice]]:
    """Call every run that a schedule names outside its terminals as it is drawn.

    Parameters
    ----------
    schedule
        As it is written.
    drawing
        The drawing; one without a run of such a name in full may have one whose name
        is that with a section, as in 'B2 D280mm', or with another section. What is said
        by a name that several runs were given is said of each, but of those of which
        the same place says something by their names with a number.
    others
        Names of the runs in each other drawing that shares the schedule. What it says
        of these is said of that run here whose name is the same but for its section,
        where the schedule says nothing of it by its own name and no other drawing has
        both; else it is left out.

    Returns
    -------
    schedule, faults, notices
        The schedule, the same object where it needs no change; a fault for each
        name that no run goes by, or runs of different names, or several where one is
        wanted; that name is kept. That of the source is kept where several may be
        meant: their free ends tell. Last what is to be said of names of others.
    """
    named = list(schedule.named_runs)
    if schedule.source.run is not None:
        named.append(("[source]", schedule.source.run))
    drawn = set(drawing.names) if named else set()
    if all(name in drawn for _, name in named) and (
        schedule.shared is not None or not named or not any_may_be_copies(drawn)
    ):
        return schedule, [], []
    find = RunNames(drawing, others, schedule.shared is not None)
    known = {name for where, name in schedule.shared or {} if where == "[source]"}
    faults = []
    for where, name in dict.fromkeys(named):
        runs = find(name)
        if len(runs) > 1 and not find.are_alike(name, runs):
            what = f"{len(runs)} runs of the drawing go by '{name}': {_some(runs)}"
            remedy = "write the name in full"
            if find.is_lent(name):
                if where != "[source]":
                    continue  # left out, which is said
                remedy = f"give {drawing.file} a schedule of its own"
        elif not runs and (where == "[source]" or not find.is_elsewhere(name)):
            what, remedy = f"the drawing has no run '{name}'", find.instead(name)
        else:
            continue
        faults.append(error(f"{schedule.file}, {where}", what, remedy))
    shared: dict[tuple[str, str], list[str]] = {}
    meant: dict[str, list[str]] = {}  # runs that a name of another drawing is taken for
    left_out: list[Notice] = []

    def is_left_out(where: str, name: str, runs: list[str]) -> bool:
        """Whether a run of another drawing may be none here or several, noting it."""
        what, why = f"what {schedule.file} says of '{name}'", ""
        if len(runs) > 1 and not find.are_alike(name, runs):
            why = f"{len(runs)} runs have that name with other sections: {_some(runs)}"
        elif where == "[sections]":
            sized = [run for run in runs if _has_section(drawing, run)]
            what = f"the section that {schedule.file} says of '{name}'"
            why = f"here {_some(sized)} has one in the drawing" if sized else ""
        if not why:
            meant[name] = runs
            return False
        left_out.append(
            warning(
                drawing.file,
                f"{what}, a run of another drawing, is left out, as {why}",
                "say it by the name here too, or give this drawing a schedule of its "
                "own",
            )
        )
        return True

    def one_run(where: str, name: str, other: str, run: str) -> None:
        remedy = "delete one of the two"
        if find.is_lent(name):
            remedy = f"say it of '{run}' by that name"
        what = f"'{name}' is the same run as '{other}'"
        faults.append(error(f"{schedule.file}, {where}", what, remedy))

    def renamed(
        where: str, entries: Mapping[str, T], beside: Collection[str] = ()
    ) -> dict[str, T]:
        keyed = {(name, 0): value for name, value in entries.items()}
        others = [(name, 0) for name in beside]
        return {name: value for (name, _), value in bends(where, keyed, others).items()}

    def bends(
        where: str,
        entries: Mapping[tuple[str, int], T],
        beside: Collection[tuple[str, int]] = (),
    ) -> dict[tuple[str, int], T]:
        """Entries by runs; of those of one run the nearest name of it wins.

        A name of one run alone goes before one of several, here or beside them; of each
        a name that is drawn here before that of another drawing.
        """

        def rank(name: str) -> tuple[bool, bool]:
            return len(find(name)) > 1, find.is_lent(name)

        first: dict[tuple[str, int], tuple[bool, bool]] = {}
        for name, number in (*entries, *beside):
            for run in find(name):
                key = run, number
                first[key] = min(rank(name), first.get(key, (True, True)))
        out: dict[tuple[str, int], T] = {}
        by: dict[tuple[str, int], str] = {}
        for (name, number), value in entries.items():
            every = find(name)
            runs = [run for run in every if first[run, number] == rank(name)]
            if not every and find.is_elsewhere(name):
                continue
            if find.is_lent(name):
                if not runs or is_left_out(where, name, every):
                    continue
            elif not every or not (len(every) == 1 or find.are_alike(name, every)):
                out[name, number] = value
                continue
            if len(every) > 1:
                shared.setdefault((shared_place(where, number), name), []).extend(runs)
            for run in runs:
                key = run, number
                if key in out:
                    one_run(where, name, by[key], run)
                out[key], by[key] = value, name
        return out

    def components() -> Iterator[ComponentSpec]:
        by = {
            (run, spec.name): spec.run
            for spec in schedule.components
            if not find.is_lent(spec.run)
            for run in find(spec.run)
        }
        own = set(by)
        for spec in schedule.components:
            runs = find(spec.run)
            where = f"[[component]] '{spec.name}'"
            if runs and find.is_lent(spec.run):
                keys = [(run, spec.name) for run in runs]
                if not own.isdisjoint(keys) or is_left_out(where, spec.run, runs):
                    continue
                for key in keys:
                    if by.setdefault(key, spec.run) != spec.run:
                        one_run(where, spec.run, by[key], key[0])
            if len(runs) == 1:
                yield replace(spec, run=runs[0])
            elif runs and spec.at is not None:
                yield replace(spec, run=_nearest(drawing, runs, spec.at))
            elif runs or not find.is_elsewhere(spec.run):
                yield spec
            if len(runs) > 1 and spec.at is None and find.are_alike(spec.run, runs):
                faults.append(
                    error(
                        f"{schedule.file}, {where}",
                        f"it stands in one run, and {len(runs)} runs of the drawing "
                        f"were given the name '{spec.run}': {_some(runs)}",
                        f"write {told_apart(find, runs)}the place, at = [...]",
                    )
                )

    source = schedule.source
    wanted = source.run
    if wanted is not None and wanted not in known:
        runs = find(wanted)
        if runs and find.is_lent(wanted):
            meant[wanted] = runs
        if len(runs) == 1:
            source = replace(source, run=runs[0])
        elif find.are_alike(wanted, runs):
            shared["[source]", wanted] = runs
    walls = schedule.run_materials, schedule.run_roughness  # one rules out the other
    said = replace(
        schedule,
        source=source,
        components=tuple(components()),
        sections=renamed("[sections]", schedule.sections),
        limits=renamed("[limits]", schedule.limits),
        run_words=renamed("[runs]", schedule.run_words),
        run_materials=renamed("[duct.runs]", *walls),
        run_roughness=renamed("[duct.runs]", *walls[::-1]),
        run_compression=renamed("[duct.runs]", schedule.run_compression),
        elbow_exceptions=bends("[[elbows.exception]]", schedule.elbow_exceptions),
        takeoff_exceptions=renamed(
            "[[takeoffs.exception]]", schedule.takeoff_exceptions
        ),
        closed_ends=renamed(CLOSED_ENDS, schedule.closed_ends),
        transition_exceptions=renamed(
            "[[transitions.exception]]", schedule.transition_exceptions
        ),
        shared=_shared(schedule, shared, find),
    )
    notices = [*left_out, *_lent_notices(schedule, drawing, meant)]
    return said, list(dict.fromkeys(faults)), list(dict.fromkeys(notices))


def drawn_alone(schedule: Schedule, drawing: Drawing) -> Schedule:
    """A schedule without what it says of runs that the drawing does not have."""
    drawn = set(drawing.names)

    def kept(entries: Mapping[str, T]) -> dict[str, T]:
        return {run: value for run, value in entries.items() if run in drawn}

    return replace(
        schedule,
        components=tuple(one for one in schedule.components if one.run in drawn),
        sections=kept(schedule.sections),
        limits=kept(schedule.limits),
        run_words=kept(schedule.run_words),
        run_materials=kept(schedule.run_materials),
        run_roughness=kept(schedule.run_roughness),
        run_compression=kept(schedule.run_compression),
        elbow_exceptions={
            at: rule for at, rule in schedule.elbow_exceptions.items() if at[0] in drawn
        },
        takeoff_exceptions=kept(schedule.takeoff_exceptions),
        closed_ends=kept(schedule.closed_ends),
        transition_exceptions=kept(schedule.transition_exceptions),
    )


def shared_place(where: str, bend: int = 0) -> str:
    """Place in a schedule of what it says of a run, or of one bend of it."""
    return f"{where} bend {bend}" if bend else where


def told_apart(find: RunNames, runs: Collection[str]) -> str:
    """Names that each mean one of some runs alike, and an 'or'; nothing without one."""
    names = [f"'{name}'" for name in map(find.alone, runs) if name]
    if not names:
        return ""
    more = " and so on" * (len(names) > _SHOWN)
    return f"its name with the number, {', '.join(names[:_SHOWN])}{more}, or "


def shared_notices(schedule: Schedule) -> list[Notice]:
    """Say which names of a schedule were taken for several runs."""
    meant: dict[str, dict[str, None]] = {}
    for (where, name), runs in (schedule.shared or {}).items():
        if where != "[source]" and len(runs) > 1:
            meant.setdefault(name, {}).update(dict.fromkeys(runs))
    if not meant:
        return []
    words = [f"'{name}' means {len(runs)} runs" for name, runs in meant.items()]
    every = [run for runs in meant.values() for run in runs]
    one = next((run for run in every if numbered(run)[1]), f"{every[0]}{FIRST}")
    return [
        note(
            schedule.file,
            f"{some(words, _LISTED)}, which the drawing gives one name",
            f"write one with its number, as '{one}', where it is made otherwise",
        )
    ]


def _lent_notices(
    schedule: Schedule, drawing: Drawing, meant: Mapping[str, list[str]]
) -> list[Notice]:
    """Say which runs a schedule's names of runs in other drawings were taken for."""
    if not meant:
        return []
    words = [f"'{name}' means {_some(runs)}" for name, runs in meant.items()]
    return [
        note(
            drawing.file,
            f"names that {schedule.file} has from another drawing are taken without "
            f"their section: {some(words, _LISTED)}",
            "where a run is made otherwise, say so by its own name too",
        )
    ]


def _shared(
    schedule: Schedule, found: Mapping[tuple[str, str], list[str]], find: RunNames
) -> dict[tuple[str, str], tuple[str, ...]]:
    """Runs of shared names; those found before by the names that they have now."""
    out = {key: tuple(dict.fromkeys(runs)) for key, runs in found.items()}
    for key, runs in (schedule.shared or {}).items():
        now = [find(run) for run in runs]
        out[key] = tuple(dict.fromkeys(run for runs in now for run in runs))
    return out


def _has_section(drawing: Drawing, run: str) -> bool:
    """Whether the drawing says the section of a run."""
    return not np.isnan(drawing.width[drawing.names.index(run)])


def _some(runs: list[str]) -> str:
    """The first few of some runs."""
    return some([f"'{run}'" for run in runs], _SHOWN, " and ")


def _nearest(
    drawing: Drawing, names: Collection[str], at: tuple[float, float, float]
) -> str:
    """That of some runs which comes nearest to a place, m."""
    wanted, point = set(names), np.array(at)
    apart = {
        run.name: float(
            nearest_on_lines(run.points[:-1], run.points[1:], point)[0].min()
        )
        for run in drawing.runs
        if run.name in wanted
    }
    return min(apart, key=apart.__getitem__)
