"""Worked examples of books, courses and papers: `data/worked_examples.json`.

Each case names its source. W04, W05, W07 and W15 are in test_sizes.py, W10 and W23 in
test_analysis.py, W18 in test_returns.py.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from elbowroom.layout import (
    Attributes,
    Schedule,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
    sections,
    units,
)
from elbowroom.physics import (
    air,
    analyse,
    crossings,
    fan_power,
    friction,
    leakage,
    pressure_at,
    regained,
    sheet_mass,
    sizes,
    warming,
)

EXAMPLES: dict[str, Any] = {
    case["id"]: case
    for case in json.loads(
        (Path(__file__).parent / "data" / "worked_examples.json").read_text()
    )["examples"]
}


def case(name: str) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    found = EXAMPLES[name]
    return found["inputs"], found["expected"], found["tolerance"]


def si(value: float, unit: str) -> float:
    return units.quantity(f"{value} {unit}", units.UNITS[unit].dimension, "a test")


def test_w01_round_galvanised_duct() -> None:
    """ASHRAE Handbook Fundamentals, duct friction chart conditions."""
    given, wanted, near = case("W01")
    flow, diameter = si(given["flow_cfm"], "cfm"), si(given["diameter_in"], "in")
    velocity = flow / (np.pi / 4 * diameter**2)
    assert units.to_unit(velocity, "fpm") == pytest.approx(
        wanted["velocity_fpm"], abs=near["velocity_fpm"]
    )
    density, viscosity = given["density_kg_m3"], given["viscosity_Pa_s"]
    rough = si(given["roughness_ft"], "ft")
    found = friction.pressure_gradient(velocity, diameter, rough, density, viscosity)
    assert units.to_unit(float(found), "in.wg/100 ft") == pytest.approx(
        wanted["friction_rate_inwg_per_100ft"], abs=near["friction_rate_inwg_per_100ft"]
    )
    re = velocity * diameter * density / viscosity
    factor = friction.friction_factor(re, rough / diameter)
    assert float(factor) == pytest.approx(
        wanted["friction_factor"], abs=near["friction_factor"]
    )


def test_w02_round_duct_by_hand() -> None:
    """Open university course notes, Applied Fluids, HVAC systems."""
    given, wanted, near = case("W02")
    diameter = si(given["diameter_in"], "in")
    velocity = si(given["flow_cfm"], "cfm") / (np.pi / 4 * diameter**2)
    medium = air()
    re = velocity * diameter / medium.kinematic_viscosity
    rough = si(given["roughness_in"], "in")
    density = si(0.075, "lb/ft3")  # the standard air of the notes
    loss = float(
        friction.pressure_gradient(velocity, diameter, rough, density, medium.viscosity)
    ) * si(given["length_ft"], "ft")
    assert units.to_unit(velocity, "fpm") == pytest.approx(
        wanted["velocity_fpm"], abs=near["velocity_fpm"]
    )
    assert re == pytest.approx(wanted["reynolds"], abs=near["reynolds"])
    assert float(friction.friction_factor(re, rough / diameter)) == pytest.approx(
        wanted["friction_factor"], abs=near["friction_factor"]
    )
    assert units.to_unit(loss, "in.wg") == pytest.approx(
        wanted["loss_inwg"], abs=near["loss_inwg"]
    )


def test_w03_a_rectangle_like_a_round_duct() -> None:
    """Open university course notes."""
    given, wanted, near = case("W03")
    section = rectangular(si(given["width_in"], "in"), si(given["height_in"], "in"))
    found = units.to_unit(sizes.equivalent_diameter(section), "in")
    # The notes take 1.55 A^0.625 / P^0.25; Huebscher's constant is 0.26 % less.
    assert found == pytest.approx(
        EXAMPLES["W03"]["recomputed"]["De_form_1_30"], abs=1e-3
    )
    assert found * 1.0026 == pytest.approx(wanted["De_in"], abs=near["De_in"])


def rough_for(factor: float, reynolds: float) -> float:
    """Relative roughness at which Colebrook's equation has a given Darcy factor."""
    root = factor**-0.5
    return float(3.7 * (10 ** (-root / 2) - 2.51 * root / reynolds))


def loss_by_fanning(
    given: dict[str, Any], velocity: float, diameter: float, length: float
) -> float:
    """Friction loss where the factor is Fanning's, a quarter of Darcy's, Pa."""
    density, viscosity = given["density_kg_m3"], air().viscosity
    re = density * velocity * diameter / viscosity
    rough = diameter * rough_for(4 * given["fanning_f"], re)
    gradient = friction.pressure_gradient(velocity, diameter, rough, density, viscosity)
    return float(gradient) * length


def test_w06_two_equivalent_diameters() -> None:
    """University examination problem, refrigeration and air conditioning."""
    given, wanted, near = case("W06")
    section = rectangular(given["width_m"], given["height_m"])
    size = section.shape, section.width, section.height
    hydraulic = float(sections.hydraulic_diameter(*size))
    assert hydraulic == pytest.approx(
        wanted["diameter_same_velocity_m"], abs=near["diameter_same_velocity_m"]
    )
    # The problem's 0.4592 m has one factor for both ducts; Huebscher's is 0.8 % less.
    found = sizes.equivalent_diameter(section)
    assert found == pytest.approx(0.4555, abs=5e-5)
    assert found == pytest.approx(wanted["diameter_same_flow_m"], rel=0.01)
    velocity = given["flow_m3_s"] / float(sections.area(*size))
    assert velocity == pytest.approx(wanted["velocity_m_s"], abs=near["velocity_m_s"])
    loss = loss_by_fanning(given, velocity, hydraulic, given["length_m"])
    # Its own printed velocity is rounded: 284.8 Pa; 284.985 recomputed.
    assert loss == pytest.approx(wanted["loss_Pa"], abs=near["loss_Pa"])
    assert loss == pytest.approx(EXAMPLES["W06"]["recomputed"]["loss_Pa"], abs=1e-3)


def test_w08_fan_and_duct_meet() -> None:
    """Cengel and Cimbala, Fluid Mechanics, example 14-1: read off a drawn curve."""
    given, wanted, near = case("W08")
    inch = given["water_density_kg_m3"] * 9.81 * 0.0254  # the book's inch of water
    points = tuple(
        (si(flow, "cfm"), head * inch)
        for flow, head in zip(
            given["fan_table_cfm"], given["fan_head_inwg"], strict=True
        )
    )
    diameter, density = given["diameter_m"], given["density_kg_m3"]
    area = np.pi / 4 * diameter**2

    def resistance(flow: float) -> float:
        velocity = flow / area
        re = velocity * diameter / given["kinematic_viscosity_m2_s"]
        f = float(friction.friction_factor(re, given["roughness_m"] / diameter))
        c = f * given["length_m"] / diameter + given["sum_C"]
        c += given["kinetic_energy_factor"]
        return float(c * density / 2 / area**2)

    flow = si(600, "cfm")
    for _ in range(30):
        (flow,) = crossings(points, resistance(flow))
    assert units.to_unit(flow, "cfm") == pytest.approx(
        wanted["flow_cfm"], abs=near["flow_cfm"]
    )
    head = resistance(flow) * flow**2 / inch
    assert head == pytest.approx(wanted["head_inwg"], abs=near["head_inwg"])


def test_w09_the_pressure_a_fan_must_give() -> None:
    """Douglas, Gasiorek, Swaffield, Jack, Fluid Mechanics, example 14.5."""
    given, wanted, near = case("W09")
    inlet, outlet = given["inlet"], given["outlet"]
    before = round_section(inlet["diameter_m"])
    after = rectangular(outlet["width_m"], outlet["height_m"])
    # The transition counts as 20 diameters of duct before the fan.
    extra = inlet["transition_equivalent_diameters"] * inlet["diameter_m"]
    losses = []
    for section, length, coefficient in (
        (before, inlet["length_m"] + extra, inlet["C"]),
        (after, outlet["length_m"], outlet["C"]),
    ):
        size = section.shape, section.width, section.height
        velocity = given["flow_m3_s"] / float(sections.area(*size))
        straight = loss_by_fanning(
            given, velocity, float(sections.hydraulic_diameter(*size)), length
        )
        losses.append(
            straight + coefficient * 0.5 * given["density_kg_m3"] * velocity**2
        )
    assert losses[0] == pytest.approx(
        wanted["inlet_loss_Pa"], abs=near["inlet_loss_Pa"]
    )
    assert losses[1] == pytest.approx(
        wanted["outlet_loss_Pa"], abs=near["outlet_loss_Pa"]
    )
    assert sum(losses) == pytest.approx(wanted["fan_Pa"], abs=near["fan_Pa"])


def test_w11_static_regain_of_two_lengths() -> None:
    """University examination problem on static regain."""
    given, wanted, near = case("W11")
    friction_loss = si(given["friction_each_length_mm_water"], "mm.wg")
    area = np.pi / 4 * given["first_diameter_m"] ** 2
    flow = given["first_velocity_m_s"] * area
    velocity = given["first_velocity_m_s"]
    for number, share in ((2, 2 / 3), (3, 1 / 3)):
        before = velocity
        velocity = brentq(
            lambda v, before=before: (
                regained(before, v, given["density_kg_m3"], given["regain_factor"])
                - friction_loss
            ),
            0.0,
            before,
        )
        assert velocity == pytest.approx(
            wanted[f"velocity_{number}_m_s"], abs=near[f"velocity_{number}_m_s"]
        )
        diameter = np.sqrt(share * flow / velocity * 4 / np.pi)
        assert diameter == pytest.approx(
            wanted[f"diameter_{number}_m"], abs=near[f"diameter_{number}_m"]
        )


def test_w12_a_fan_in_warmer_air() -> None:
    """Stoecker and Jones, Refrigeration and Air Conditioning, ch. 6."""
    given, wanted, near = case("W12")
    share = (
        air(given["temperature_2_C"] + 273.15).density
        / air(given["temperature_1_C"] + 273.15).density
    )
    assert given["pressure_Pa"] * share == pytest.approx(
        wanted["pressure_Pa"], abs=near["pressure_Pa"]
    )
    before = fan_power(given["flow_m3_s"], given["pressure_Pa"]).air
    after = fan_power(given["flow_m3_s"], given["pressure_Pa"] * share).air
    assert given["power_kW"] * after / before == pytest.approx(
        wanted["power_kW"], abs=near["power_kW"]
    )


def test_w13_the_standard_atmosphere() -> None:
    """US Standard Atmosphere, 1976."""
    given, wanted, near = case("W13")
    for altitude, pressure, temperature, density in zip(
        given["altitude_m"],
        wanted["pressure_Pa"],
        wanted["temperature_K"],
        wanted["density_kg_m3"],
        strict=True,
    ):
        assert pressure_at(altitude) == pytest.approx(pressure, abs=near["pressure_Pa"])
        found = air(temperature, pressure=pressure).density
        assert found == pytest.approx(density, abs=near["density_kg_m3"])


def test_w14_friction_in_the_air_of_a_high_city() -> None:
    """ASHRAE duct design worksheet, example system at 5430 ft (2021)."""
    given, wanted, near = case("W14")
    medium = air(
        si(given["temperature_F"], "F"), altitude=si(given["altitude_ft"], "ft")
    )
    assert units.to_unit(medium.density, "lb/ft3") == pytest.approx(
        wanted["density_lb_ft3"], abs=near["density_lb_ft3"]
    )
    for inches, speed, rate in zip(
        given["diameter_in"],
        wanted["velocity_fpm"],
        wanted["friction_inwg_per_100ft"],
        strict=True,
    ):
        diameter = si(inches, "in")
        flow = si(given["flow_cfm"], "cfm")
        velocity = flow / (np.pi / 4 * diameter**2)
        assert units.to_unit(velocity, "fpm") == pytest.approx(
            speed, abs=near["velocity_fpm"]
        )
        found = sizes.gradient_of(
            round_section(diameter), flow, medium, si(given["roughness_ft"], "ft")
        )
        assert units.to_unit(found, "in.wg/100 ft") == pytest.approx(
            rate, abs=near["friction_inwg_per_100ft"]
        )


def test_w16_a_main_may_gain() -> None:
    """SMACNA HVAC Systems Duct Design 1990, ch. 8, example 1."""
    given, wanted, near = case("W16")
    pressure = given["density_kg_m3"] / 2 * given["velocity_upstream_m_s"] ** 2
    assert pressure == pytest.approx(
        wanted["velocity_pressure_Pa"], abs=near["velocity_pressure_Pa"]
    )
    for leg in ("branch", "main"):
        assert given[f"C_{leg}"] * pressure == pytest.approx(
            wanted[f"{leg}_loss_Pa"], abs=near[f"{leg}_loss_Pa"]
        )


def test_w17_a_section_by_its_equivalent_length() -> None:
    """McDonald and Magande, Introduction to Thermo-Fluids Systems Design, 2.1."""
    given, wanted, near = case("W17")
    length = si(given["length_ft"], "ft") + si(
        given["fitting_equivalent_length_ft"], "ft"
    )
    rate = si(given["chart_friction_inwg_per_100ft"], "in.wg/100 ft")
    assert units.to_unit(length, "ft") == pytest.approx(wanted["total_length_ft"])
    assert units.to_unit(rate * length, "in.wg") == pytest.approx(
        wanted["loss_inwg"], abs=near["loss_inwg"]
    )
    # The chart's reading beside our own friction at its two roughnesses.
    section, flow = (
        round_section(si(given["diameter_in"], "in")),
        si(given["flow_cfm"], "cfm"),
    )
    smooth, rough = (
        units.to_unit(
            sizes.gradient_of(section, flow, air(), si(feet, "ft")), "in.wg/100 ft"
        )
        for feet in (0.0003, 0.0005)
    )
    noted = EXAMPLES["W17"]["recomputed"]
    key = "friction_inwg_per_100ft_at_0_0003_ft"
    assert smooth == pytest.approx(noted[key], abs=2e-4)
    assert rough == pytest.approx(noted["at_0_0005_ft"], abs=2e-4)
    assert smooth < given["chart_friction_inwg_per_100ft"]


def test_w19_leakage_by_class() -> None:
    """SMACNA leakage manual 1985 and EN 12237."""
    given, wanted, near = case("W19")
    for one, found, unit in zip(
        given["cases"], wanted["leakage"], wanted["unit"], strict=True
    ):
        if "CL" in one:
            lost = leakage.leakage(
                one["CL"], si(one["area_ft2"], "ft2"), si(one["pressure_inwg"], "in.wg")
            )
        else:
            lost = leakage.leakage(one["EN_class"], one["area_m2"], one["pressure_Pa"])
        assert units.to_unit(float(lost), unit) == pytest.approx(found, rel=near["rel"])


def test_w20_cold_air_through_a_hot_void() -> None:
    """The exponential form; ASHRAE Handbook Fundamentals has the arithmetic mean."""
    given, wanted, near = case("W20")
    mass = np.array([given["flow_m3_s"] * given["density_kg_m3"]])
    surface = np.array([2 * (given["width_m"] + given["height_m"]) * given["length_m"]])
    heat = given["specific_heat_J_kgK"]
    ntu = warming.transfer_units(given["U_W_m2K"], surface, mass, heat)
    assert ntu[0] == pytest.approx(wanted["NTU"], abs=near["NTU"])
    supply, around = given["supply_C"] + 273.15, given["ambient_C"] + 273.15
    _, end = warming.temperatures(np.array([-1]), ntu, supply, around)
    assert end[0] - 273.15 == pytest.approx(wanted["outlet_C"], abs=near["outlet_C"])
    gain = mass[0] * heat * (end[0] - supply)
    assert gain == pytest.approx(wanted["gain_W"], abs=near["gain_W"])


def test_w21_power_and_energy_of_a_fan() -> None:
    """Definitions."""
    given, wanted, near = case("W21")
    found = fan_power(
        given["flow_m3_s"],
        given["fan_total_pressure_Pa"],
        efficiency=given["fan_efficiency"],
        drive_efficiency=given["drive_efficiency"] * given["motor_efficiency"],
        seconds=given["hours"] * 3600.0,
    )
    assert found.air == pytest.approx(wanted["air_power_W"], rel=near["rel"])
    assert found.shaft == pytest.approx(wanted["shaft_power_W"], rel=near["rel"])
    assert found.electric == pytest.approx(wanted["electric_power_W"], rel=near["rel"])
    assert found.energy is not None
    assert found.energy / 3.6e6 == pytest.approx(wanted["energy_kWh"], rel=near["rel"])


def test_w22_roots_of_colebrook() -> None:
    """Colebrook-White with 3.7 and 2.51."""
    given, wanted, near = case("W22")
    re, rough = np.array(given["cases"]).T
    turbulent = re > 4000.0  # at 4000 the transition begins
    found = friction.friction_factor(re, rough)[turbulent]
    assert found == pytest.approx(
        np.array(wanted["f"])[turbulent], abs=near["abs"], rel=0
    )


def test_w24_mass_of_sheet() -> None:
    """Nominal sheet mass: SMACNA HVAC Duct Construction Standards 1995."""
    given, wanted, near = case("W24")
    around = 2 * (si(given["width_in"], "in") + si(given["height_in"], "in"))
    area = around * si(given["length_ft"], "ft")
    assert units.to_unit(area, "ft2") == pytest.approx(wanted["area_ft2"])
    assert area * sheet_mass(given["gauge"]) == pytest.approx(
        wanted["mass_kg"], abs=near["mass_kg"] + 0.02
    )


def test_w25_a_square_duct_of_600() -> None:
    """Student problem: 3 Pa/m is what the rougher of two ducts rubs."""
    given, wanted, near = case("W25")
    section = rectangular(given["width_m"], given["height_m"])
    flow = given["flow_L_s"] / 1e3
    assert flow / section.area == pytest.approx(
        wanted["velocity_m_s"], abs=near["velocity_m_s"]
    )
    noted = EXAMPLES["W25"]["recomputed"]
    for rough, key in ((0.09e-3, "friction_Pa_m_at_0_09_mm"), (0.15e-3, "at_0_15_mm")):
        found = sizes.gradient_of(section, flow, air(), rough)
        assert found == pytest.approx(noted[key], abs=0.01)
    assert given["friction_Pa_m"] * given["length_m"] == pytest.approx(
        wanted["loss_Pa"], abs=near["loss_Pa"]
    )


def test_w26_the_path_that_looked_shorter_is_critical() -> None:
    """SMACNA HVAC Systems Duct Design 1990, ch. 8, example 1: sections in series add.

    The published section losses are declared at the ends of two ducts that lose next
    to nothing themselves, so that the adding and the choosing are ours.
    """
    given, wanted, _ = case("W26")
    whole = sum(given["sections_Pa"].values())
    other = given["other_path_total_Pa"]
    assert whole == wanted["path_to_M_Pa"]
    drawing = drawing_from_runs(
        [
            ("main", np.array([[0.0, 0, 0], [1, 0, 0]]), round_section(2.0)),
            ("M", np.array([[1.0, 0, 0], [2, 1, 0]]), round_section(2.0)),
            ("J", np.array([[1.0, 0, 0], [2, -1, 0]]), round_section(2.0)),
        ],
        attributes={"main": Attributes(source=True)},
    )
    flows = {"M": TerminalSpec(0.1, float(whole)), "J": TerminalSpec(0.1, float(other))}
    found = analyse(build(drawing, Schedule(terminals=flows)))
    assert found.critical_terminal == "M"
    assert np.ptp(found.path_loss) == pytest.approx(wanted["difference_Pa"], abs=1e-3)
