"""The drawing: centreline runs as they were drawn, in metres, Z up."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from os import PathLike

import numpy as np
import numpy.typing as npt

from .allowed import (
    AIRFLOW,
    ATTRIBUTES,
    check_fields,
    check_value,
    direction,
    path_text,
    several,
)
from .basis import Basis
from .drawing_arrays import checked_arrays
from .faults import Notice
from .names import composed
from .nearest import nearest
from .sections import FloatArray, IntArray, Section, Shape


@dataclass(frozen=True, slots=True)
class Attributes:
    """What a drawing says of one run beyond its points and section.

    Every field is None (or False) where the drawing is silent. Lengths in m, angles
    in rad, `up` a vector of any length along the height. `roll` counts from level, of a
    vertical run from how that would stand without a roll.

    Raises
    ------
    ValueError
        If a field has a value that it cannot have (`allowed`).
    """

    source: bool = False
    source_at_end: bool | None = None  # None: whichever end is free
    terminal: str | None = None
    transition: bool = False
    roughness: float | None = None
    roll: float | None = None
    up: tuple[float, float, float] | None = None
    bend_radius: float | None = None
    role: str | None = None
    flexible: bool = False

    def __post_init__(self) -> None:
        """Refuse a value that its field cannot have."""
        check_fields(
            self,
            ATTRIBUTES,
            source=bool,
            source_at_end=bool,
            terminal=str,
            transition=bool,
            role=str,
            flexible=bool,
        )
        if self.up is not None:
            object.__setattr__(self, "up", direction("Attributes: up", self.up))

    @property
    def composed(self) -> "Attributes":
        """The same with the accents of its terminal as names are compared."""
        if self.terminal is None:
            return self
        return replace(self, terminal=composed(self.terminal))


@dataclass(frozen=True, slots=True)
class Run:
    """One polyline of a drawing, as a view for reading.

    Parameters
    ----------
    index
        Place in the drawing, from 0.
    name
        Name that the drawing gives it.
    points
        Vertices, m, shape (n, 3), Z up.
    section
        Cross section, or None.
    where
        Where it was drawn: object, primitive or line of the file.
    flow
        Airflow written in the drawing, m³/s; NaN where there is none.
    attributes
        What else the drawing says of it.
    """

    index: int
    name: str
    points: FloatArray
    section: Section | None
    where: str
    flow: float
    attributes: Attributes

    @property
    def length(self) -> float:
        """Length along the vertices, m."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())


@dataclass(frozen=True, eq=False)
class Drawing:
    """Every run of a drawing, in arrays: r runs with n vertices in all.

    Parameters
    ----------
    file
        Name of the file, for messages.
    points
        Vertices of all runs one after the other, m, shape (n, 3), Z up.
    offsets
        Where each run begins in `points`, shape (r + 1,).
    names, where
        Name of each run, and where it was drawn.
    shape, width, height
        Section of each run, shape (r,); `Shape.NONE` and NaN where there is none.
    flow
        Airflow written in the drawing, m³/s, shape (r,); NaN where there is none.
    section_basis
        `Basis` of each section, shape (r,).
    attributes
        Sparse: run index to what else the drawing says of that run.
    section_origin
        Sparse: run index to the words that say where its section was read.
    unit, unit_origin
        Length unit of the file and who said so: the format, the file, an option.
    up, up_origin
        Axis that is up in the file and who said so.
    flow_key
        How an airflow is written at a run of such a file, in words; empty if it cannot.
    notices
        What the reader has to say of the file.
    is_supply
        Whether the file itself says that the air flows from the source.
    tidied
        Those of the notices that tell of what was drawn twice, or without a length, and
        is not among the runs.

    Raises
    ------
    ValueError
        If the arrays do not go together, a vertex is not at a finite place, or a
        section or an airflow is none.
    """

    file: str
    points: FloatArray
    offsets: IntArray
    names: Sequence[str]
    where: Sequence[str]
    shape: IntArray
    width: FloatArray
    height: FloatArray
    flow: FloatArray
    section_basis: IntArray
    attributes: Mapping[int, Attributes] = field(default_factory=dict)
    section_origin: Mapping[int, str] = field(default_factory=dict)
    unit: str = "m"
    unit_origin: str = "made in memory"
    up: str = "z"
    up_origin: str = "made in memory"
    flow_key: str = ""
    notices: tuple[Notice, ...] = ()
    is_supply: bool = False
    tidied: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        """Take lists and other numbers as arrays; refuse what is no drawing."""
        object.__setattr__(self, "file", path_text(self.file))
        for name in ("names", "where"):
            if isinstance(getattr(self, name), np.ndarray):
                object.__setattr__(self, name, getattr(self, name).tolist())
        for name in ("notices", "tidied"):
            said = several(f"Drawing: {name}", getattr(self, name), Notice)
            object.__setattr__(self, name, said)
        check_fields(
            self,
            {},
            file=str,
            names=Sequence,
            where=Sequence,
            attributes=Mapping,
            section_origin=Mapping,
            unit=str,
            up=("y", "z"),
            is_supply=bool,
        )
        for run, of_run in self.attributes.items():
            if not isinstance(of_run, Attributes):
                check_value(f"Drawing: attributes[{run!r}]", of_run, Attributes)
        arrays = checked_arrays(
            self.file,
            self.names,
            self.where,
            self.attributes,
            points=self.points,
            offsets=self.offsets,
            shape=self.shape,
            width=self.width,
            height=self.height,
            flow=self.flow,
            section_basis=self.section_basis,
        )
        for name, array in arrays.items():
            object.__setattr__(self, name, array)

    @property
    def run_count(self) -> int:
        """How many runs there are."""
        return len(self.offsets) - 1

    @property
    def runs(self) -> Iterator[Run]:
        """Each run as a view, for reading; loops that must be fast use the arrays."""
        for index in range(self.run_count):
            yield self.run(index)

    def run(self, index: int) -> Run:
        """Show one run."""
        begin, end = self.offsets[index], self.offsets[index + 1]
        section = None
        if self.shape[index] != Shape.NONE:
            section = Section(
                Shape(self.shape[index]),
                float(self.width[index]),
                float(self.height[index]),
            )
        return Run(
            index,
            self.names[index],
            self.points[begin:end],
            section,
            self.where[index],
            float(self.flow[index]),
            self.attributes.get(index, NOTHING_SAID),
        )

    def first_middle(self, index: int) -> FloatArray:
        """Middle of the first segment of a run, m, shape (3,): where to look for it."""
        begin, end = self.offsets[index], self.offsets[index + 1]
        second = min(begin + 1, end - 1)
        return np.asarray((self.points[begin] + self.points[second]) / 2)

    @property
    def is_unit_assumed(self) -> bool:
        """Whether neither the file nor an option states the unit."""
        return self.unit_origin.startswith("assumed")

    @property
    def is_up_assumed(self) -> bool:
        """Whether neither the file nor an option states the axis that is up."""
        return self.up_origin.startswith("assumed")

    def place(self, index: int) -> str:
        """Name the place of a run for a message: file, run."""
        return f"{self.file}, run '{self.names[index]}'"


NOTHING_SAID = Attributes()


def drawing_from_runs(
    runs: Sequence[tuple[str, npt.ArrayLike, Section | None]],
    *,
    file: str | PathLike[str] = "drawing in memory",
    flows: Mapping[str, float] | None = None,
    attributes: Mapping[str, Attributes] | None = None,
) -> Drawing:
    """Make a drawing in memory.

    Parameters
    ----------
    runs
        Name, vertices in m of shape (n, 3) with Z up, and section of each run.
    file
        Name to use in messages.
    flows
        Airflow written at a run, m³/s, by run name.
    attributes
        What else is said of a run, by run name.

    Returns
    -------
    drawing
        The drawing; sections count as drawn.

    Raises
    ------
    ValueError
        If vertices are not of shape (n, 3), something is said of a run that is not
        there, an airflow is written at several runs of one name, or is not above zero.
    """
    arrays = [np.asarray(points, dtype=np.float64) for _, points, _ in runs]
    for (name, _, _), array in zip(runs, arrays, strict=True):
        if array.ndim != 2 or array.shape[1] != 3:
            raise ValueError(f"run '{name}': vertices must have the shape (n, 3)")
    names = [composed(name) for name, _, _ in runs]
    flows = {composed(name): flow for name, flow in (flows or {}).items()}
    attributes = {composed(name): said for name, said in (attributes or {}).items()}
    count = Counter(names)
    _check_said("flows", flows, count)
    _check_said("attributes", attributes, count)
    for name, flow in flows.items():
        if count[name] > 1:
            raise ValueError(f"flows[{name!r}] is of several runs; name each otherwise")
        if flow == flow:  # NaN says nothing
            check_value(f"flows[{name!r}]", flow, AIRFLOW)
    sections = [section for _, _, section in runs]
    nan = float("nan")
    return Drawing(
        file=path_text(file),
        points=np.concatenate(arrays) if arrays else np.zeros((0, 3)),
        offsets=np.cumsum([0, *map(len, arrays)]),
        names=names,
        where=[f"run {index + 1}" for index in range(len(names))],
        shape=np.array([s.shape if s else Shape.NONE for s in sections], np.int64),
        width=np.array([s.width if s else nan for s in sections]),
        height=np.array([s.height if s else nan for s in sections]),
        flow=np.array([flows.get(name, nan) for name in names]),
        section_basis=np.full(len(names), Basis.DRAWN, dtype=np.int64),
        attributes={
            index: said.composed
            for index, name in enumerate(names)
            if (said := attributes.get(name)) is not None
        },
    )


def _check_said(
    what: str, said: Mapping[str, object], names: Mapping[str, int]
) -> None:
    """Refuse what is said of a run that is not there."""
    for name in said:
        if name not in names:
            near = nearest(name, names)
            hint = f"did you mean {near!r}" if near else "it must name one of the runs"
            raise ValueError(f"{what}: there is no run {name!r}; {hint}")
