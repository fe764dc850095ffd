"""Results as plain data for JSON, in SI units, as the schemas beside this file say."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from elbowroom.layout import (
    Audit,
    Basis,
    FloatArray,
    Notice,
    sections,
    units,
)
from elbowroom.physics import (
    WINDOW,
    Analysis,
    Budget,
    Check,
    Comparison,
    FanPower,
    Kind,
    Note,
    Option,
    balance,
    critical_band,
    damper_words,
    duct_schedule,
    element_bands,
    path_bands,
    power_of,
    quantities,
    straight_after,
    terminal_static,
)

from .gaps import Gap

Plain = dict[str, Any]
Side = tuple[Option, Sequence[Gap]]  # a supply or a return, and the room around it


def analysis_result(
    sides: Sequence[Side], inputs: Mapping[str, Any], budget: Budget | None = None
) -> Plain:
    """Result of `analyse` as plain data.

    Parameters
    ----------
    sides
        The layout, and any returns behind it.
    inputs
        What went in: files and options.
    budget
        That of all sides; None of a layout without returns.

    Returns
    -------
    result
        As `result.schema.json` says.
    """
    (supply, room), *returns = sides
    analysis = supply.analysis
    graph = analysis.graph
    drawing = graph.drawing
    return {
        "schema": "elbowroom.result/1",
        "inputs": {
            **inputs,
            "unit": drawing.unit,
            "unit_from": drawing.unit_origin,
            "up": drawing.up,
            "up_from": drawing.up_origin,
            "tolerance_m": graph.topology.tolerance,
        },
        "system": system_row(analysis),
        **_tables(supply, room),
        "returns": [
            {
                "file": side.analysis.graph.drawing.file,
                "system": system_row(side.analysis),
                **_tables(side, around),
            }
            for side, around in returns
        ],
        "budget": None if budget is None else budget_row(budget),
        "fan_power": power_row(power_of(analysis)),
    }


def assumption_rows(analysis: Analysis) -> list[Plain]:
    """What was assumed, with its effect."""
    return [
        {
            "what": effect.assumption.what,
            "remedy": effect.assumption.remedy,
            "elements": effect.assumption.elements,
            "instead": effect.assumption.instead,
            "acts_on": effect.assumption.acts_on,
            "effect_pa": effect.loss,
            "refused": effect.refused,
        }
        for effect in analysis.effects
    ]


def room_rows(room: Sequence[Gap]) -> list[Plain]:
    """Gaps between the ducts and what is next to them."""
    return [
        {
            "duct": gap.duct,
            "beside": gap.beside,
            "distance_m": gap.distance,
            "required_m": gap.required,
            "is_kept": gap.is_kept,
            "place_m": list(gap.place),
        }
        for gap in room
    ]


def _tables(side: Option, room: Sequence[Gap]) -> Plain:
    """Tables of a supply or a return."""
    analysis = side.analysis
    return {
        "elements": elements(analysis),
        "ducts": ducts(analysis),
        "paths": paths(analysis),
        "pairs": pairs(analysis),
        "balance": balancing(analysis),
        "room": room_rows(room),
        "checks": check_rows(analysis.checks),
        "assumptions": assumption_rows(analysis),
        "flags": [notice(flag) for flag in side.flags],
    }


def budget_row(found: Budget) -> dict[str, Any]:
    """Budget of supply and returns as plain data."""
    return {
        "fan_pressure_pa": found.fan_pressure,
        "fan_pressure_kind": found.fan_kind,
        "outlet_velocity_pressure_pa": found.outlet_velocity_pressure,
        "inlet_velocity_pressure_pa": found.inlet_velocity_pressure,
        "declared_losses_pa": found.declared_losses,
        "terminal_losses_pa": found.terminal_losses,
        "available_pa": found.available,
        "required_pa": found.required,
        "length_m": found.length,
        "effective_length_m": found.effective_length,
        "effective_length_supply_m": found.effective_lengths[0],
        "effective_length_return_m": found.effective_lengths[1],
        "effective_length_at_pa_m": found.rate,
        "friction_rate_available_pa_m": found.friction_rate_available,
        "missing": list(found.missing),
        "flags": [notice(said) for said in found.notices],
    }


def elements(analysis: Analysis) -> list[Plain]:
    """Everything that spends pressure, in walking order."""
    e = analysis.elements
    low, high = WINDOW
    bands, straight = element_bands(analysis), straight_after(analysis)
    out = []
    for i, identifier in enumerate(analysis.ids):
        credit = e.credits[e.credit[i]]
        fitting = e.kind[i] not in (Kind.DUCT, Kind.TERMINAL)
        loss = float(e.loss[i])
        out.append(
            {
                "id": identifier,
                "name": analysis.name(i),
                "kind": analysis.words(i),
                "section": analysis.section(i).words,
                "length_m": float(e.length[i]),
                "flow_m3_s": float(e.flow[i]),
                "velocity_m_s": float(e.velocity[i]),
                "velocity_pressure_pa": float(e.velocity_pressure[i]),
                "coefficient": number(e.coefficient[i]),
                "reynolds_factor": float(e.reynolds_factor[i]),
                "reference_velocity": credit.reference,
                "loss_pa": loss,
                "loss_band_pa": bands[i].tolist(),
                "share_of_critical_path": number(analysis.share_of_path[i]),
                "straight_after_m": number(straight[i])
                if fitting and e.kind[i] != Kind.EXIT
                else None,
                "equivalent_length_m": number(analysis.equivalent_length[i]),
                "equivalent_length_window_m": [loss / high, loss / low]
                if fitting
                else None,
                "basis": Basis(int(e.basis[i])).word,
                "table": credit.table,
                "source": credit.source,
                "confidence": credit.confidence,
                "notes": Note(int(e.notes[i])).words,
            }
        )
    return out


def balancing(analysis: Analysis) -> list[Plain]:
    """Damper of each terminal, in the order of work."""
    graph = analysis.graph
    ducts, names = graph.ducts, graph.drawing.names
    settings = balance(analysis)
    words = damper_words(graph, settings)
    at = np.array([setting.duct for setting in settings])
    share = np.array([[setting.share] for setting in settings])
    points = ducts.begin[at] + share * (ducts.end[at] - ducts.begin[at])
    rows = [
        {
            "terminal": graph.terminals.name[setting.terminal],
            "order": setting.order,
            "damper_in": names[int(ducts.run[setting.duct])],
            "damper_at": where,
            "damper_place_m": (point.round(6) + 0.0).tolist(),
            "rigid_collar": setting.in_collar,
            "entry_damper": setting.in_entry,
            "excess_pa": setting.excess,
            "open_blade_pa": setting.open_loss,
            "damper_coefficient": setting.coefficient,
            "blade_angle_deg": None
            if setting.angle is None
            else math.degrees(setting.angle),
            "table": setting.credit and setting.credit.table,
            "source": setting.credit and setting.credit.source,
            "confidence": setting.credit and setting.credit.confidence,
            "can_be_balanced": not setting.too_much,
            "open_share_of_design": None
            if math.isnan(setting.open_share)
            else setting.open_share,
        }
        for setting, where, point in zip(settings, words, points, strict=True)
    ]
    nowhere = {
        "damper_in": None,
        "damper_at": "",
        "damper_place_m": None,
        "damper_coefficient": None,
    }
    return [
        row if setting.stands else row | nowhere
        for row, setting in zip(rows, settings, strict=True)
    ]


def pairs(analysis: Analysis) -> list[Plain]:
    """Elbows that stand close together: plain sum and the pair's own loss."""
    bends = len(analysis.graph.bends.duct)
    by_bend = analysis.elements.of(Kind.BEND, bends).tolist()
    return [
        {
            "first": analysis.ids[by_bend[pair.first]],
            "second": analysis.ids[by_bend[pair.second]],
            "arrangement": pair.arrangement,
            "spacing_diameters": pair.spacing,
            "plain_sum_pa": pair.plain,
            "together_pa": pair.together,
            "counted": "as pair"
            if analysis.conditions.corrected_pairs and pair.together is not None
            else "plain sum",
            "table": pair.table,
            "source": pair.source,
            "confidence": pair.confidence,
            "notes": Note(pair.notes).words,
        }
        for pair in analysis.pairs
    ]


def ducts(analysis: Analysis) -> list[Plain]:
    """The schedule of ducts, in walking order."""
    return [
        {
            "id": analysis.ids[row.element],
            "name": analysis.name(row.element),
            "section": row.section.words,
            "equivalent_diameter_m": row.equivalent_diameter,
            "hydraulic_diameter_m": row.hydraulic_diameter,
            "length_m": row.length,
            "flow_m3_s": row.flow,
            "velocity_m_s": row.velocity,
            "velocity_limit_m_s": row.velocity_limit,
            "is_kept": row.is_kept,
            "friction_pa_m": row.gradient,
            "material": row.material,
            "insulation_m": row.insulation,
            "place_m": list(row.place),
            "compression": row.compression,
        }
        for row in duct_schedule(analysis)
    ]


def paths(analysis: Analysis, most: int | None = None) -> list[Plain]:
    """Path from the source to each terminal, or to so many, the largest loss first."""
    graph = analysis.graph
    order = np.argsort(-analysis.path_loss, kind="stable")[:most]
    bands = path_bands(analysis)
    static = terminal_static(analysis)
    at_ends = np.nan_to_num(analysis.terminal_loss)
    out = []
    for rank, terminal in enumerate(order.tolist(), start=1):
        rows = analysis.path(terminal)
        is_duct = analysis.elements.kind[rows] == Kind.DUCT
        straight = float(analysis.elements.loss[rows][is_duct].sum())
        length = float(np.nansum(analysis.equivalent_length[rows]))
        declared = float(at_ends[terminal])
        out.append(
            {
                "rank": rank,
                "terminal": graph.terminals.name[terminal],
                "flow_m3_s": float(graph.terminals.flow[terminal]),
                "loss_pa": float(analysis.path_loss[terminal]),
                "loss_band_pa": bands[terminal].tolist(),
                "straight_loss_pa": straight,
                "fitting_loss_pa": float(analysis.path_loss[terminal])
                - straight
                - declared,
                "terminal_loss_pa": declared,
                "excess_pa": float(
                    analysis.critical_loss - analysis.path_loss[terminal]
                ),
                "static_available_pa": None
                if static is None
                else float(static[terminal]),
                "length_m": float(analysis.path_length[terminal]),
                "effective_length_m": length,
                "effective_length_at_pa_m": analysis.system.rate,
                "elements": [analysis.ids[row] for row in rows],
                "critical": terminal == analysis.critical,
            }
        )
    return out


def system_row(analysis: Analysis) -> Plain:
    """Design airflow, air and pressure budget of a layout as plain data."""
    s, air = analysis.system, analysis.conditions.air
    band = critical_band(analysis)

    def in_wg(rate: float | None) -> float | None:
        return None if rate is None else units.to_unit(rate, "in.wg/100 ft")

    return {
        "flow_m3_s": analysis.flow,
        "air": {
            "temperature_c": air.temperature - 273.15,
            "pressure_pa": air.pressure,
            "density_kg_m3": air.density,
            "viscosity_pa_s": air.viscosity,
        },
        "critical_terminal": analysis.critical_terminal,
        "critical_loss_pa": s.critical_loss,
        "critical_loss_band_pa": [band.low, band.high],
        "critical_loss_as_pairs_pa": analysis.critical_loss_as_pairs,
        "length_m": s.length,
        "fitting_loss_pa": s.fitting_loss,
        "effective_length_m": s.effective_length,
        "effective_length_at_pa_m": s.rate,
        "fan_pressure_pa": s.fan_pressure,
        "fan_pressure_kind": s.fan_kind,
        "fan_density_ratio": s.fan_density_ratio,
        "outlet_velocity_pressure_pa": s.outlet_velocity_pressure,
        "inlet_velocity_pressure_pa": s.inlet_velocity_pressure,
        "declared_losses_pa": dict(analysis.conditions.declared_losses),
        "terminal_loss_pa": s.terminal_loss,
        "available_pa": s.available,
        "required_pa": s.required,
        "friction_rate_pa_m": s.friction_rate,
        "friction_rate_available_pa_m": s.friction_rate_available,
        "friction_rate_available_inwg_100ft": in_wg(s.friction_rate_available),
        "equivalent_lengths_at_pa_m": s.rate,
        "window_pa_m": list(WINDOW),
    }


def check_rows(found: Sequence[Check]) -> list[dict[str, Any]]:
    """Checks as plain data."""
    return [
        {
            "rule": check.rule,
            "dimension": check.dimension,
            "value": check.value,
            "limit": check.limit,
            "at": check.at,
            "failing": list(check.failing),
            "is_kept": check.is_kept,
            "source": check.source,
            "confidence": check.confidence,
            "remedy": check.remedy,
        }
        for check in found
    ]


def power_row(power: FanPower) -> Plain:
    """Power of the fan as plain data."""
    return {
        "basis": power.basis,
        "total_pressure_pa": power.total_pressure,
        "air_w": power.air,
        "shaft_w": power.shaft,
        "electric_w": power.electric,
        "energy_kwh_per_year": None if power.energy is None else power.energy / 3.6e6,
        "warming_k": power.warming,
    }


def totals(analysis: Analysis, first: Analysis, rate: float) -> Plain:
    """What else sets a layout apart from others, and its change against the first.

    `rate` is the friction rate of its effective length, Pa/m.
    """
    band = critical_band(analysis)
    made, power = quantities(analysis), power_of(analysis)
    return {
        "change_pa": analysis.critical_loss - first.critical_loss,
        "critical_loss_band_pa": [band.low, band.high],
        "effective_length_m": analysis.system.effective_length_at(rate),
        "effective_length_at_pa_m": rate,
        "sheet_mass_kg": sum(row.mass for row in made.sheet),
        "fitting_count": made.fitting_count,
        "largest_velocity_m_s": float(analysis.state.velocity.max()),
        "fan_power_basis": power.basis,
        "fan_air_power_w": power.air,
        "energy_kwh_per_year": None if power.energy is None else power.energy / 3.6e6,
    }


def beside_row(returns: Sequence[Option], found: Budget) -> Plain:
    """The returns beside an option, and the budget of all its sides, as plain data."""
    return {
        "returns": [
            {
                "file": side.analysis.graph.drawing.file,
                "clearance_m": side.clearance,
                "faults": list(side.faults),
                "system": system_row(side.analysis),
            }
            for side in returns
        ],
        "budget": budget_row(found),
    }


def comparison_result(
    comparison: Comparison, inputs: Mapping[str, Any], beside: Sequence[Plain] = ()
) -> Plain:
    """Result of `compare` as plain data, as `comparison.schema.json` says.

    Parameters
    ----------
    comparison, inputs
        The comparison, and the files that went in.
    beside
        What stands beside each option, as `beside_row` has it; none without returns.
    """
    options = comparison.options
    return {
        "schema": "elbowroom.comparison/1",
        "inputs": dict(inputs),
        "options": [
            {
                "name": option.name,
                "critical_loss_pa": option.analysis.critical_loss,
                "critical_terminal": option.analysis.critical_terminal,
                "clearance_m": option.clearance,
                "clashes": list(option.clashes),
                "faults": list(option.faults),
                "rank": rank,
                "totals": totals(option.analysis, options[0].analysis, comparison.rate),
                "system": system_row(option.analysis),
                "paths": paths(option.analysis),
                "elements": elements(option.analysis),
                "flags": [notice(flag) for flag in option.flags],
                **more,
            }
            for option, rank, more in zip(
                options, comparison.ranks, beside or [{}] * len(options), strict=True
            )
        ],
        "verdict": comparison.verdict,
    }


def check_result(
    found: Audit, by_duct: FloatArray | None, changes: Sequence[str] | None
) -> Plain:
    """Result of `check` as plain data, as `check.schema.json` says.

    Parameters
    ----------
    found
        What was found.
    by_duct
        Airflow in each duct of its graph, m³/s, shape (d,); None if it is not known.
    changes
        What was changed in a mended copy; None where none was asked for.
    """
    topology, graph = found.topology, found.graph
    drawing = topology.drawing
    flow = drawing.flow.copy()
    if graph is not None and by_duct is not None:
        for duct in range(len(by_duct) - 1, -1, -1):  # the first duct of a run counts
            flow[graph.ducts.run[duct]] = by_duct[duct]
    shapes = found.sections
    shape, width, height = shapes.shape, shapes.width, shapes.height
    length = [run.length for run in drawing.runs]
    return {
        "schema": "elbowroom.check/1",
        "file": drawing.file,
        "unit": drawing.unit,
        "unit_from": drawing.unit_origin,
        "up": drawing.up,
        "up_from": drawing.up_origin,
        "runs": [
            {
                "name": drawing.names[run],
                "section": section_result(shape[run], width[run], height[run]),
                "section_from": drawing.section_origin.get(run, ""),
                "length_m": length[run],
                "flow_m3_s": number(flow[run]),
                "vertices": int(drawing.offsets[run + 1] - drawing.offsets[run]),
            }
            for run in range(drawing.run_count)
        ],
        "junction_count": len(topology.junctions),
        "free_end_count": len(topology.free_ends),
        "component_count": topology.component_count,
        "cycle_count": topology.cycle_count,
        "total_length_m": float(topology.length.sum()),
        "problems": [notice(problem) for problem in found.findings],
        "changes": None if changes is None else list(changes),
    }


_SHAPES = {
    sections.Shape.ROUND: "round",
    sections.Shape.RECTANGULAR: "rect",
    sections.Shape.OVAL: "oval",
}


def section_result(shape: int, width: float, height: float) -> Plain | None:
    """One section as plain data; None where there is none."""
    kind = sections.Shape(int(shape))
    if kind == sections.Shape.NONE:
        return None
    sides = {"width_m": float(width), "height_m": float(height)}
    if kind == sections.Shape.ROUND:
        sides = {"diameter_m": float(width)}
    words = sections.words(int(shape), float(width), float(height))
    return {"shape": _SHAPES[kind], **sides, "words": words}


def section_of(row: Mapping[str, Any]) -> sections.Section:
    """The section that plain data of `section_result` are of."""
    shapes = dict(zip(_SHAPES.values(), _SHAPES, strict=True))
    across = row.get("diameter_m")
    sides = (across, across) if across else (row["width_m"], row["height_m"])
    return sections.Section(shapes[row["shape"]], *sides)


def notice(said: Notice) -> Plain:
    """One notice as plain data."""
    return {
        "severity": str(said.severity),
        "where": said.where,
        "what": said.what,
        "remedy": said.remedy,
        "sentence": said.sentence,
        "effect": said.effect,
        "place_m": None if said.place is None else list(said.place),
    }


def number(value: float) -> float | None:
    """A number for JSON, which has no NaN."""
    return None if math.isnan(value) else float(value)
