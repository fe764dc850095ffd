"""What the losses are worked out under: air, roughness, fan, declared losses."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from elbowroom.layout import (
    FLEXIBLE,
    BadInput,
    Basis,
    BoolArray,
    DuctGraph,
    FloatArray,
    IntArray,
    Notice,
    Schedule,
    flexible_runs,
    lacks_material,
    length_words,
    made_of,
    refusal,
    some,
    toml_key,
)

from .air import Air, air_of
from .coefficient import AS_DECLARED, IN_DRAWING, Credit, LookupRefused
from .components import component_coefficients
from .friction import GALVANISED, STEEL, material_credit, material_roughness
from .site_air import fan_at_site, loss_ratio

_LISTED = 5  # places of one material that is not known


@dataclass(frozen=True, eq=False)
class Conditions:
    """Conditions of an analysis.

    Parameters
    ----------
    air
        The air in the ducts.
    roughness
        Of each duct, m, shape (d,).
    roughness_basis
        `Basis` code of each.
    roughness_credit
        Row of each in `roughness_credits`, shape (d,).
    roughness_credits
        What the roughnesses are credited to: sources with their classes.
    compression
        How much shorter flexible ducts are than fully stretched, as a share, shape
        (d,); NaN for rigid ones.
    compression_basis
        `Basis` code of each; drawn for rigid ones.
    fan_static
        External static pressure of the fan in this air, Pa, or None.
    fan_total
        Total pressure of the fan in this air, Pa, or None.
    declared_losses
        Losses outside the drawn ducts in this air, Pa, by name.
    inlet_velocity_pressure, outlet_velocity_pressure
        At the fan's inlet and outlet, Pa: an external static pressure lacks the one
        and has the other on top. As declared, or of a drawn return; None where the
        drawing alone says it (see `system_of`).
    outlet_of
        Option of a comparison that says the velocity pressure at the fan for this one
        too (see `with_one_outlet`); empty where it says its own.
    loss_ratio
        What a declared loss is multiplied by for one in this air.
    components
        Coefficient of each component of the schedule, shape (c,).
    reynolds_factor
        Whether the factor on rectangular and mitred elbows counts.
    corrected_pairs
        Whether elbows that stand close together count as a pair, where a table covers
        it, and not by their plain sum.
    """

    air: Air
    roughness: FloatArray
    roughness_basis: IntArray
    roughness_credit: IntArray
    roughness_credits: tuple[Credit, ...]
    compression: FloatArray
    compression_basis: IntArray
    fan_static: float | None = None
    fan_total: float | None = None
    declared_losses: Mapping[str, float] = field(default_factory=dict)
    inlet_velocity_pressure: float | None = None
    outlet_velocity_pressure: float | None = None
    outlet_of: str = ""
    loss_ratio: float = 1.0
    components: FloatArray = field(default_factory=lambda: np.empty(0))
    reynolds_factor: bool = True
    corrected_pairs: bool = False

    @property
    def is_flexible(self) -> BoolArray:
        """Whether each duct is flexible, shape (d,)."""
        return ~np.isnan(self.compression)


def conditions_of(graph: DuctGraph) -> Conditions:
    """Conditions that a graph's schedule declares, with defaults where it is silent.

    Parameters
    ----------
    graph
        The classified graph.

    Returns
    -------
    conditions
        Air at 20 °C and sea level and galvanised steel unless something else is said.

    Raises
    ------
    BadInput
        If a material is not known, or a rigid run is said to be compressed.
    """
    schedule, drawing = graph.schedule, graph.drawing
    default, basis = (GALVANISED, material_credit(STEEL)), Basis.ASSUMED
    if schedule.roughness is not None:
        default, basis = (schedule.roughness, AS_DECLARED), Basis.DECLARED
    of_materials = _of_materials(schedule)
    if schedule.roughness is None and schedule.material is not None:
        default, basis = of_materials[schedule.material], Basis.DECLARED
    special = {
        run: (said.roughness, IN_DRAWING)
        for run, said in drawing.attributes.items()
        if said.roughness is not None
    }
    by_name = {
        name: (value, AS_DECLARED) for name, value in schedule.run_roughness.items()
    }
    for name, material in schedule.run_materials.items():
        by_name[name] = of_materials[material]
    if by_name:
        place = {name: run for run, name in enumerate(drawing.names)}
        special |= {
            place[name]: said for name, said in by_name.items() if name in place
        }
    assumed = [r for r in drawing.attributes if lacks_material(drawing, schedule, r)]
    if assumed:
        flexible = material_roughness(FLEXIBLE), material_credit(FLEXIBLE)
        special |= dict.fromkeys(assumed, flexible)
    by_run = np.full(drawing.run_count, default[0])
    bases = np.full(drawing.run_count, int(basis))
    known, credited = {default[1]: 0}, np.zeros(drawing.run_count, dtype=np.int64)
    for run, (value, credit) in special.items():
        by_run[run], bases[run] = value, int(Basis.DECLARED)
        credited[run] = known.setdefault(credit, len(known))
    bases[assumed] = int(Basis.ASSUMED)
    of_duct = graph.ducts.run
    pressed, pressed_basis = _compression(graph)
    air = air_of(schedule)
    fan = fan_at_site(schedule.fan, air)
    ratio = loss_ratio(schedule.air, air)
    return Conditions(
        air=air,
        roughness=by_run[of_duct],
        roughness_basis=bases[of_duct],
        roughness_credit=credited[of_duct],
        roughness_credits=tuple(known),
        compression=pressed[of_duct],
        compression_basis=pressed_basis[of_duct],
        fan_static=fan.external_static_pressure,
        fan_total=fan.total_pressure,
        declared_losses={n: loss * ratio for n, loss in schedule.losses.items()},
        inlet_velocity_pressure=fan.inlet_velocity_pressure,
        outlet_velocity_pressure=fan.outlet_velocity_pressure,
        loss_ratio=ratio,
        components=component_coefficients(graph, air, ratio),
        corrected_pairs=schedule.corrected_pairs,
    )


def material_of(graph: DuctGraph, run: int) -> str:
    """What a run is made of, in words: as declared, else as assumed."""
    material, rough = made_of(graph.drawing, graph.schedule, run)
    if material is not None:
        is_assumed = lacks_material(graph.drawing, graph.schedule, run)
        return material + " (assumed)" * is_assumed
    if rough is None:
        return "galvanised steel (assumed)"
    return f"roughness {length_words(rough)}"


def _compression(graph: DuctGraph) -> tuple[FloatArray, IntArray]:
    """Compression of each run and its basis; NaN and drawn where the run is rigid."""
    schedule, names = graph.schedule, graph.drawing.names
    out = np.full(len(names), np.nan)
    basis = np.full(len(names), int(Basis.DRAWN))
    for run in flexible_runs(graph.drawing, schedule):
        pressed = schedule.run_compression.get(names[run], schedule.compression)
        out[run] = 0.0 if pressed is None else pressed
        basis[run] = int(Basis.ASSUMED if pressed is None else Basis.DECLARED)
    for run, name in enumerate(names) if schedule.run_compression else ():
        if name in schedule.run_compression and np.isnan(out[run]):
            raise refusal(
                f"{schedule.file}, [duct.runs] {name}",
                "its compression is declared, but the run is of "
                f"{material_of(graph, run)}",
                "write a flexible material there, or delete the compression",
            )
    return out, basis


def _of_materials(schedule: Schedule) -> dict[str, tuple[float, Credit]]:
    """Roughness of each material that a schedule names, m, and its credit.

    Raises
    ------
    BadInput
        With every one that is not known, and the runs that are said to be of it.
    """
    written = {
        run: name
        for (where, name), runs in (schedule.shared or {}).items()
        if where == "[duct.runs]"
        for run in runs
    }
    of: dict[str, dict[str, None]] = {}
    if schedule.material is not None:
        of[schedule.material] = {"[duct] material": None}
    for run, material in schedule.run_materials.items():
        place = f"[duct.runs.{toml_key(written.get(run, run))}] material"
        of.setdefault(material, {})[place] = None
    found: dict[str, tuple[float, Credit]] = {}
    faults: list[Notice] = []
    for material, places in of.items():
        try:
            found[material] = material_roughness(material), material_credit(material)
        except LookupRefused as problem:
            shown = some(list(places), _LISTED)
            bad = problem.at(f"{schedule.file}, {shown}", "name another")
            faults += bad.faults
    if faults:
        raise BadInput(faults)
    return found
