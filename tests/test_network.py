"""Airflow in networks, against solutions from elsewhere."""

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import BadInput
from elbowroom.physics import solve_network

REFERENCE = json.loads(
    (Path(__file__).parent / "data" / "network_reference.json").read_text()
)
SOLVED = {case["id"]: case for case in REFERENCE["cases"] if case["id"] != "BAL1"}


@pytest.mark.parametrize("name", SOLVED)
def test_networks_solved_twice_elsewhere(name: str) -> None:
    """network_reference.json: an own dense Newton, and pandapipes 0.16.0."""
    case = SOLVED[name]
    found = solve_network({**case, "fluid": REFERENCE["fluid"]})
    for duct, wanted in case["expected"]["ducts"].items():
        for key, value in wanted.items():
            assert found["ducts"][duct][key] == pytest.approx(value, rel=1e-6), key
    for node, wanted in case["expected"]["node_total_pressure_Pa"].items():
        assert found["node_total_pressure_Pa"][node] == pytest.approx(wanted, abs=1e-4)
    assert found["mass_residual"] <= 1e-12
    if "operating_point" in case["expected"]:
        assert found["operating_point"]["flow_m3_s"] == pytest.approx(
            case["expected"]["ducts"]["d0"]["flow_m3_s"], rel=1e-6
        )


def test_the_fluid_of_the_reference_is_the_usual_one() -> None:
    case = SOLVED["NET1"]
    assert solve_network(case) == solve_network({**case, "fluid": REFERENCE["fluid"]})


def test_flow_turns_round_with_its_duct() -> None:
    case = copy.deepcopy(SOLVED["NET3"])
    plain = solve_network(case)
    duct = case["ducts"][1]
    duct["from"], duct["to"] = duct["to"], duct["from"]
    turned = solve_network(case)
    for name, row in plain["ducts"].items():
        sign = -1.0 if name == duct["id"] else 1.0
        assert turned["ducts"][name]["flow_m3_s"] == pytest.approx(
            sign * row["flow_m3_s"]
        )


def test_two_paths_between_two_nodes_lose_the_same() -> None:
    found = solve_network(SOLVED["NET4"])["ducts"]
    assert found["p1"]["total_loss_Pa"] == pytest.approx(
        found["p2"]["total_loss_Pa"], abs=1e-9
    )


def test_a_fan_on_the_rising_part_of_its_curve_is_warned_about() -> None:
    case = copy.deepcopy(SOLVED["NET2"])
    for duct in case["ducts"]:
        duct["sum_C"] += 400.0
    found = solve_network(case)
    assert any("stall" in note for note in found["notes"])
    assert not any("stall" in note for note in solve_network(SOLVED["NET2"])["notes"])


def test_given_airflows_at_nodes() -> None:
    duct = {"length_m": 5.0, "diameter_m": 0.2, "roughness_m": 9e-5, "sum_C": 1.0}
    found = solve_network(
        {
            "ducts": [{"id": "a", "from": "room", "to": "out", **duct}],
            "fixed_node_pressures_Pa": {"out": 0.0},
            "node_flows_m3_s": {"room": 0.2},
        }
    )
    assert found["ducts"]["a"]["flow_m3_s"] == pytest.approx(0.2)
    assert found["node_total_pressure_Pa"]["room"] == pytest.approx(
        found["ducts"]["a"]["total_loss_Pa"]
    )


@pytest.mark.parametrize("seed", range(8))
def test_random_meshes_conserve_mass_and_pressure(seed: int) -> None:
    random = np.random.default_rng(seed)
    size = 6
    ducts: list[dict[str, Any]] = []
    for x in range(size):
        for y in range(size):
            for dx, dy in ((1, 0), (0, 1)):
                if x + dx < size and y + dy < size:
                    ducts.append(
                        {
                            "id": f"{x}{y}{dx}",
                            "from": f"{x},{y}",
                            "to": f"{x + dx},{y + dy}",
                            "length_m": float(random.uniform(1, 20)),
                            "diameter_m": float(random.uniform(0.1, 0.5)),
                            "roughness_m": 9e-5,
                            "sum_C": float(random.uniform(0, 3)),
                        }
                    )
    case = {
        "ducts": ducts,
        "fixed_node_pressures_Pa": {"0,0": 200.0, "5,5": 0.0, "0,5": 30.0},
    }
    found = solve_network(case)
    assert found["mass_residual"] <= 1e-12
    pressure = found["node_total_pressure_Pa"]
    for duct in ducts:
        row = found["ducts"][duct["id"]]
        drop = pressure[duct["from"]] - pressure[duct["to"]]
        assert drop == pytest.approx(row["total_loss_Pa"], abs=1e-7)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"ducts": []}, "no ducts"),
        ({"fixed_node_pressures_Pa": {}}, "no pressure is fixed"),
        ({"fan_curve": {"a0": 100, "duct": "none"}}, "no duct 'none'"),
        ({"node_flows_m3_s": {"nowhere": 1.0}}, "no free node"),
    ],
)
def test_networks_that_cannot_be(change: dict[str, Any], said: str) -> None:
    with pytest.raises(BadInput, match=said):
        solve_network({**SOLVED["NET1"], **change})


@pytest.mark.parametrize(
    ("key", "value"),
    [("diameter_m", 0), ("length_m", "3 m"), ("sum_C", None), ("to", "plenum")],
)
def test_a_duct_that_cannot_be(key: str, value: object) -> None:
    case = copy.deepcopy(SOLVED["NET1"])
    case["ducts"][0][key] = value
    with pytest.raises(BadInput, match="duct 'd1'"):
        solve_network(case)


def test_a_duct_that_loses_nothing_holds_both_nodes_alike() -> None:
    case = copy.deepcopy(SOLVED["NET1"])
    free = {"id": "d0", "from": "box", "to": "A", "diameter_m": 0.4}
    nothing = {"length_m": 0.0, "roughness_m": 0.0, "sum_C": 0.0}
    case["ducts"][0]["to"] = "box"
    case["ducts"].append({**free, **nothing})
    found = solve_network(case)
    pressure = found["node_total_pressure_Pa"]
    assert pressure["box"] == pytest.approx(pressure["A"], abs=1e-4)
    wanted = SOLVED["NET1"]["expected"]["ducts"]["d1"]["flow_m3_s"]
    assert found["ducts"]["d0"]["flow_m3_s"] == pytest.approx(wanted, rel=1e-6)


def two_ducts(**changes: Any) -> dict[str, Any]:
    duct = {"length_m": 10, "diameter_m": 0.3, "roughness_m": 1e-4, "sum_C": 1.0}
    return {
        "ducts": [
            {"id": "1", "from": "a", "to": "b", **duct},
            {"id": "2", "from": "b", "to": "c", **duct},
        ],
        "fixed_node_pressures_Pa": {"a": 100.0, "c": 0},
        **changes,
    }


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"fixed_node_pressures_Pa": {"a": "high", "c": 0}}, "node 'a': 'high'"),
        ({"fixed_node_pressures_Pa": {"a": float("nan"), "c": 0}}, "node 'a': nan"),
        ({"fixed_node_pressures_Pa": {"a": True, "c": 0}}, "node 'a': True"),
        ({"fixed_node_pressures_Pa": {"a": 10**400, "c": 0}}, "node 'a': 1000"),
        ({"fixed_node_pressures_Pa": [1, 2]}, "fixed_node_pressures_Pa: .* no mapping"),
        ({"node_flows_m3_s": {"b": "much"}}, "node 'b': 'much' in node_flows_m3_s"),
        ({"ducts": ["x"]}, "duct 1: 'x' is no mapping"),
        ({"fluid": {"density_kg_m3": 0}}, "fluid: density_kg_m3 is 0"),
        ({"fluid": {"viscosity_Pa_s": 0}}, "fluid: viscosity_Pa_s is 0"),
        ({"fluid": {"viscosity_Pa_s": "low"}}, "fluid: viscosity_Pa_s is 'low'"),
        ({"fluid": 3}, "fluid: 3 is no mapping"),
        (
            {"fan_curve": {"a0": 1, "reference_density_kg_m3": 0}},
            "fan_curve: reference_density_kg_m3 is 0",
        ),
        ({"fan_curve": {"a0": "1"}}, "fan_curve: a0 is '1'"),
    ],
)
def test_what_is_no_network_is_refused_by_its_place(
    changes: dict[str, Any], said: str
) -> None:
    with pytest.raises(BadInput, match=said) as refused:
        solve_network(two_ducts(**changes))
    assert len(refused.value.faults) == 1


def test_what_is_no_mapping_at_all_is_refused() -> None:
    with pytest.raises(BadInput, match="no mapping"):
        solve_network([1, 2])  # type: ignore[arg-type]


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("pressure", [0.0, 50.0])
def test_where_nothing_drives_the_air_it_stands(pressure: float) -> None:
    found = solve_network(
        two_ducts(fixed_node_pressures_Pa={"a": pressure, "c": pressure})
    )
    assert [row["flow_m3_s"] for row in found["ducts"].values()] == pytest.approx(
        [0.0, 0.0], abs=1e-12
    )
    assert found["mass_residual"] == pytest.approx(0.0, abs=1e-9)
    assert found["node_total_pressure_Pa"]["b"] == pytest.approx(pressure)


def test_a_cubic_fan_curve_counts_its_last_power() -> None:
    curve = {"a0": 100.0, "a1": 0.0, "a2": -3.0, "a3": -50.0}
    found = solve_network(
        two_ducts(fixed_node_pressures_Pa={"a": 0, "c": 0}, fan_curve=curve)
    )
    flow = found["operating_point"]["flow_m3_s"]
    assert found["operating_point"]["rise_Pa"] == pytest.approx(
        100 - 3 * flow**2 - 50 * flow**3
    )
    spent = sum(row["total_loss_Pa"] for row in found["ducts"].values())
    assert spent == pytest.approx(found["operating_point"]["rise_Pa"])
