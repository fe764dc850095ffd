"""Runs as a reader collects them, before they become a drawing."""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from .basis import Basis
from .drawing import NOTHING_SAID, Attributes, Drawing
from .extras import Said, read_extras
from .faults import BadInput, Notice, error, note, refusal, warning
from .frames import z_up
from .names import composed, other_section_in_name, section_in_name, unique
from .quantity_words import (
    airflow_words,
    angle_words,
    counted,
    length_words,
    section_words,
    words_apart,
)
from .sections import FloatArray, Section, Shape
from .units import UNITS

_FARTHEST = 1e12  # of any unit; no building is drawn so far away


def _vector(up: tuple[float, float, float], more: int) -> str:
    return f"({', '.join(f'{part:.{3 + more}g}' for part in up)})"


def _quoted(word: object, _: int) -> str:
    return f"'{word}'"


# What a run may say beside its source: in words of one, of two, and how it is told.
_SAID: tuple[tuple[str, str, str, Callable[[Any, int], str]], ...] = (
    ("terminal", "terminal", "terminals", _quoted),
    ("transition", "mark as a transition", "", _quoted),
    ("roughness", "roughness", "roughnesses", length_words),
    ("roll", "roll", "rolls", angle_words),
    ("up", "direction of height", "directions of height", _vector),
    ("bend_radius", "bend radius", "bend radii", length_words),
    ("role", "role", "", _quoted),  # counts for nothing by itself
    ("flexible", "mark as flexible", "", _quoted),
)
# What one run may not say both of, as two may neither.
_EITHER = (
    ("roll", "up", "a roll and a direction of its height"),
    ("roughness", "flexible", "a roughness and that it is flexible"),
)
_ROUNDING = 1e-6  # share by which one value may differ where it is written twice
_SMELLS = 500.0  # m: a route wider than this has another unit


@dataclass(frozen=True, slots=True)
class Collected:
    """One run as read: vertices in m with Z up, and what is said of it."""

    name: str
    points: FloatArray
    section: Section | None
    origin: str
    where: str
    flow: float = math.nan
    attributes: Attributes = NOTHING_SAID
    basis: Basis = Basis.DRAWN  # of the section


@dataclass
class Found:
    """Everything that a reader collects from one file."""

    file: str
    runs: list[Collected] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    faults: list[Notice] = field(default_factory=list)
    unread: Counter[tuple[str, str]] = field(default_factory=Counter)  # extras
    is_supply: bool = False  # whether the file says that the air flows from the source


def describe(
    found: Found,
    where: str,
    layers: Sequence[Mapping[str, object]],
    names: Sequence[str],
    fallback: str,
) -> tuple[str, Section | None, str, Said]:
    """Name and section of a run from its extras and from the names it goes by.

    Parameters
    ----------
    found
        What is being collected; faults and disagreements are added to it.
    where
        Place for messages.
    layers
        Extras, nearest first.
    names
        Names, nearest first; the first that holds a section gives it.
    fallback
        Name for a run that has none.

    Returns
    -------
    name, section, origin, said
        The name, the section or None, the words that say where it was read, and all
        that the extras say.
    """
    said = read_extras(layers, where, found.faults)
    if said.unread:
        found.unread.update(said.unread)
    section, origin = named_section(
        found, where, (said.section, "extras"), names, said.attributes.transition
    )
    name = said.name or next((word for word in names if word.strip()), fallback)
    return name.strip(), section, origin, said


def named_section(
    found: Found,
    where: str,
    written: tuple[Section | None, str],
    names: Sequence[str],
    is_transition: bool,
    by: str = "the extras",
) -> tuple[Section | None, str]:
    """Section of a run and where it was read: as written, else in one of its names.

    What its names say otherwise is added to `found`; `by` is what it is written in.
    """
    section, origin = written
    by_name = next(filter(None, map(section_in_name, dict.fromkeys(names))), None)
    if by_name is None:
        return section, origin if section else ""
    if section is None:
        section, origin = by_name
        other = next(filter(None, map(other_section_in_name, names)), None)
        if other is not None and not is_transition:
            found.notices.append(
                warning(
                    where,
                    f"its name holds two sections, {section_words(section)} and "
                    f"{other}",
                    "the one first named here was used; say the right one in the "
                    "schedule, or name one alone",
                )
            )
    elif not _same(section, by_name[0]):
        found.notices.append(
            warning(
                where,
                f"the name says {section_words(by_name[0])} and {by} say "
                f"{section_words(section)}",
                f"{by} were used; correct the one that is wrong",
            )
        )
    return section, origin


def collected_drawing(
    found: Found,
    *,
    unit: str,
    unit_origin: str,
    up: str,
    up_origin: str,
    flow_key: str = "",
    stated: tuple[str | None, str | None] = (None, None),
) -> Drawing:
    """Make the drawing from what a reader collected, tidied.

    Runs of no length are left out, as are copies; names are made unique. Each of
    these is said.

    Parameters
    ----------
    found
        What was collected; no faults among it.
    unit, unit_origin, up, up_origin
        Unit and axis of the file, and who said so.
    flow_key
        How an airflow is written at a run of such a file, in words; empty if it cannot.
    stated
        Unit and axis that the file or its format states; None where it states none.

    Returns
    -------
    drawing
        The drawing.
    """
    runs, dots = _without_dots(found)
    runs, copies = _without_copies(found, runs)
    tidied = (*dots, *copies)
    notices = _overruled(found.file, "unit", stated[0], unit)
    notices += _overruled(found.file, "up", stated[1], up)
    if unit != "mm":  # where it is, the bare numbers are what the file or user says
        notices += _bare_numbers(found.file, runs)
    notices += [
        warning(
            found.file,
            f"the extra {what} of {counted(count, 'run')} is not read",
            remedy,
        )
        for (what, remedy), count in found.unread.items()
    ]
    names = unique([composed(run.name) for run in runs])
    sections = [run.section for run in runs]
    return Drawing(
        file=found.file,
        points=np.concatenate([run.points for run in runs])
        if runs
        else np.zeros((0, 3)),
        offsets=np.cumsum([0, *(len(run.points) for run in runs)]),
        names=names,
        where=[run.where for run in runs],
        shape=np.array([s.shape if s else Shape.NONE for s in sections], np.int64),
        width=np.array([s.width if s else np.nan for s in sections], np.float64),
        height=np.array([s.height if s else np.nan for s in sections], np.float64),
        flow=np.array([run.flow for run in runs], np.float64),
        is_supply=found.is_supply,
        section_basis=np.array([run.basis for run in runs], np.int64),
        attributes={
            index: run.attributes.composed
            for index, run in enumerate(runs)
            if run.attributes is not NOTHING_SAID and run.attributes != NOTHING_SAID
        },
        section_origin={i: run.origin for i, run in enumerate(runs) if run.origin},
        unit=unit,
        unit_origin=unit_origin,
        up=up,
        up_origin=up_origin,
        flow_key=flow_key,
        notices=(*found.notices, *tidied, *notices),
        tidied=tidied,
    )


def _overruled(file: str, option: str, stated: str | None, taken: str) -> list[Notice]:
    """Say that an option was taken in place of what a file states."""
    if stated in (None, taken):
        return []
    is_axis = option == "up"
    says = f"that {str(stated).upper()} is up" if is_axis else stated
    known = not is_axis and stated in UNITS and taken in UNITS
    scale = UNITS[taken].factor / UNITS[str(stated)].factor if known else 1.0
    return [
        note(
            file,
            f"the file says {says}; {taken.upper() if is_axis else taken} was taken "
            f"from --{option}" + f", which makes all lengths {scale:g} times" * known,
            f"leave --{option} away if the file is right",
        )
    ]


def _bare_numbers(file: str, runs: list[Collected]) -> list[Notice]:
    """Say which sizes were taken as millimetres, in names and in keys of a route."""
    bare = [run.origin for run in runs if "millimetres" in run.origin]
    names = sum("in the name" in origin for origin in bare)
    keys = len(bare) - names
    said = []
    if names:
        what = f"the sizes in {names} name{'s' * (names > 1)} have"
        said.append((what, 'write a unit, as in "24x12in", if they are not'))
    if keys:
        what = f"the section keys of {keys} runs have"
        if keys == 1:
            what = "the section key of 1 run has"
        remedy = 'write a unit, as in section = "24x12 in", if they are not'
        said.append((what, remedy))
    return [
        note(
            file,
            f"{what} no unit and {'was' if what.endswith('has') else 'were'} taken as "
            "millimetres",
            remedy,
        )
        for what, remedy in said
    ]


def _same(one: Section, two: Section) -> bool:
    return one.shape == two.shape and bool(
        np.allclose((one.width, one.height), (two.width, two.height), atol=5e-4)
    )


def _without_dots(found: Found) -> tuple[list[Collected], list[Notice]]:
    """Leave out vertices that repeat the one before, and runs that have no length."""
    if not found.runs:
        return [], []
    points = np.concatenate([run.points for run in found.runs])
    offsets = np.cumsum([0, *(len(run.points) for run in found.runs)])
    moves = np.ones(len(points), dtype=bool)
    moves[1:] = (np.diff(points, axis=0) != 0.0).any(axis=1)
    moves[offsets[:-1]] = True  # the first vertex of each run
    if moves.all() and (np.diff(offsets) >= 2).all():
        return found.runs, []
    kept, notices = [], []
    for run, begin, end in zip(found.runs, offsets[:-1], offsets[1:], strict=True):
        mine = moves[begin:end]
        if mine.sum() >= 2:
            kept.append(run if mine.all() else replace(run, points=run.points[mine]))
        elif lost := _lost_with(run):
            notices.append(
                warning(
                    f"{found.file}, {run.where}",
                    "this run has no length and was left out, and with it "
                    f"{' and '.join(lost)}",
                    "draw it to where it ends, or write that at another run",
                )
            )
    dropped = int((~moves).sum())
    if dropped:
        what = f"{counted(dropped, 'edge')} of no length left out"
        notices.append(warning(found.file, what, "delete doubled vertices"))
    return kept, notices


def _lost_with(run: Collected) -> list[str]:
    """What a run that is left out says of the air, in words."""
    said = run.attributes
    lost = [] if math.isnan(run.flow) else [f"its airflow of {airflow_words(run.flow)}"]
    lost += ["its mark as the source"] * said.source
    lost += [f"its terminal '{said.terminal}'"] * (said.terminal is not None)
    return lost + ["its mark as a transition"] * said.transition


def _without_copies(
    found: Found, runs: list[Collected]
) -> tuple[list[Collected], list[Notice]]:
    """Leave out runs drawn twice, in either direction."""
    if not runs:
        return [], []
    # Only runs with the same two ends can be the same line.
    ends = np.array([(run.points[0], run.points[-1]) for run in runs]) + 0.0
    swap = np.lexsort(ends.transpose(2, 0, 1)[::-1], axis=1)[:, 0] == 1
    ends[swap] = ends[swap][:, ::-1]
    order = np.lexsort(ends.reshape(len(runs), 6).T)
    same = (np.diff(ends[order].reshape(len(runs), 6), axis=0) == 0.0).all(axis=1)
    suspect = set(order[1:][same].tolist()) | set(order[:-1][same].tolist())
    seen: dict[bytes, tuple[int, bool, list[Collected]]] = {}
    kept: list[Collected] = []
    notices = []
    for number, run in enumerate(runs):
        if number in suspect:
            points = run.points[::-1] if swap[number] else run.points
            key = np.ascontiguousarray(points + 0.0).tobytes()
            if key in seen:
                place, first_swap, before = seen[key]
                first = kept[place]
                kept[place], taken = _together(
                    found.file, first, run, before, bool(swap[number]) != first_swap
                )
                before.append(run)
                what = f"this run is the same line as {first.where} and was left out"
                what += (
                    f", but for {' and '.join(taken)}, which counts" if taken else ""
                )
                remedy = "delete the copy"
                if taken:
                    remedy = f"write that at {first.where}, and delete the copy"
                notices.append(
                    warning(
                        f"{found.file}, {run.where}",
                        what,
                        remedy,
                    )
                )
                continue
            # Its place among those kept, its direction, and all that are on its line.
            seen[key] = len(kept), bool(swap[number]), [run]
        kept.append(run)
    return kept, notices


def _together(
    file: str,
    first: Collected,
    copy: Collected,
    before: Sequence[Collected],
    is_reversed: bool,
) -> tuple[Collected, list[str]]:
    """A run with what its copy alone says, and that in words.

    Parameters
    ----------
    file
        Its name, for what is said.
    first
        The run, with what the copies before this one say.
    copy
        The same line once more.
    before
        The run and those copies, as each was read.
    is_reversed
        Whether the copy was drawn the other way round. Its roll is the same all the
        same, as that counts along the air.

    Raises
    ------
    BadInput
        If not both can be true.
    """
    taken = []
    mine, other = first.attributes, copy.attributes
    new: dict[str, Any] = {}

    def refused(key: str, what: str) -> BadInput:
        """Refusal of the copy, with the run of those before it that says the other."""
        those = (run for run in before if _says(run, key))
        return refusal(
            f"{file}, {copy.where}",
            f"this run is the same line as {next(those, first).where}, and the two say "
            + what,
            "delete one of the two",
        )

    for key, word, words, told in _SAID:
        said, has = getattr(other, key), getattr(mine, key)
        if said is None or said is False:
            continue
        if has is None or has is False:
            new[key] = said
            taken.append(f"its {word}")
        elif words and not _agree(has, said):
            one, two = words_apart(told, has, said)
            raise refused(key, f"the {words} {one} and {two}")
    at_end = other.source_at_end
    if at_end is not None and is_reversed:
        at_end = not at_end
    if (
        other.source
        and mine.source_at_end is None
        and (at_end, mine.source) != (None, True)
    ):
        new |= {"source": True, "source_at_end": at_end}
        taken.append("its mark as the source")
    elif other.source and at_end not in (None, mine.source_at_end):
        raise refused("source_at_end", "the source at both of its ends")
    both = replace(mine, **new) if new else mine
    for one, two, what in _EITHER if new else ():
        if getattr(both, one) is not None and getattr(both, two) not in (None, False):
            raise refused(two if one in new else one, what)
    run = replace(first, attributes=both)
    flow, copied = first.flow, copy.flow
    if math.isnan(flow):
        run = replace(run, flow=copied)
        if not math.isnan(copied):
            taken.append(f"its airflow, {airflow_words(copied)}")
    elif not math.isnan(copied) and not _agree(flow, copied):
        here, there = words_apart(airflow_words, flow, copied)
        raise refused("airflow", f"the airflows {here} and {there}")
    size, other_size = first.section, copy.section
    if size is None:
        run = replace(run, section=other_size, origin=copy.origin, basis=copy.basis)
        if other_size is not None:
            taken.append(f"its section, {section_words(other_size)}")
    elif other_size is not None and not _agree(size, other_size):
        here, there = words_apart(section_words, size, other_size)
        raise refused("section", f"the sections {here} and {there}")
    return run, taken


def _agree(one: Any, other: Any) -> bool:
    """Whether two say the same, but for the rounding of another unit."""
    if isinstance(one, str):
        return bool(one == other)
    if isinstance(one, Section):
        sides = (one.width, other.width), (one.height, other.height)
        return one.shape == other.shape and all(
            math.isclose(*pair, rel_tol=_ROUNDING) for pair in sides
        )
    if isinstance(one, tuple):  # directions, whatever their lengths
        ways = [np.array(way) / np.linalg.norm(way) for way in (one, other)]
        return bool(np.linalg.norm(ways[0] - ways[1]) < _ROUNDING)
    return math.isclose(one, other, rel_tol=_ROUNDING, abs_tol=1e-9)


def _says(run: Collected, key: str) -> bool:
    """Whether a run says something itself."""
    if key == "airflow":
        return not math.isnan(run.flow)
    if key == "section":
        return run.section is not None
    value = getattr(run.attributes, key)
    return value is not None and (value is not False or key == "source_at_end")


def upright(said: Attributes, up: str | None) -> Attributes:
    """Attributes whose `up` is in the axes of a file, 'y' or 'z', with Z up."""
    if up != "y" or said.up is None:
        return said
    return replace(said, up=tuple(z_up(np.array([said.up]))[0]))


def check_finite(
    points: FloatArray, where: str, faults: list[Notice], reach: float = _FARTHEST
) -> bool:
    """Add a fault for the first vertex that is nowhere; whether none is."""
    near = (np.abs(points) < reach).all(axis=1)  # false for NaN too
    if near.all():
        return True
    row = int(np.argmin(near))
    finite = bool(np.isfinite(points[row]).all())
    what = "lies out of all reach" if finite else "is not a finite number"
    faults.append(error(where, f"vertex {row + 1} {what}", "correct or delete it"))
    return False


def say_what_was_taken(
    found: Found, words: str, unit: str | None, up: str | None
) -> None:
    """Say the unit and the axis that a format does not state, and a smell of the unit.

    Parameters
    ----------
    found
        What was collected; notices are added to it.
    words
        The format, beginning a sentence, as in 'OBJ states'.
    unit, up
        What the user or the file said; None where nobody did.
    """
    if unit is None:
        found.notices.append(
            note(
                found.file,
                f"{words} no unit; the coordinates were taken as metres",
                "say --unit if they are not",
            )
        )
    if up is None:
        found.notices.append(
            note(
                found.file,
                f"{words} no axis that is up; Z was taken",
                "say --up y if it is Y",
            )
        )
    if not found.runs:
        return
    points = np.concatenate([run.points for run in found.runs])
    extent = float((points.max(axis=0) - points.min(axis=0)).max())
    if extent > _SMELLS:
        found.notices.append(
            warning(
                found.file,
                f"the route is {length_words(extent)} wide",
                "say --unit mm or --unit in if the numbers are millimetres or inches",
            )
        )
