"""What extras of a 3D file say, and that nothing of it is dropped in silence."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import BadInput, Drawing, Shape, drawing_from_runs, read, write

LINE = np.array([[0.0, 0, 3], [4, 0, 3], [4, 3, 3]])


def with_extras(folder: Path, extras: dict[str, Any], name: str = "T1") -> Drawing:
    """Read a file of one run back, with other extras."""
    path = folder / "a.glb"
    write(drawing_from_runs([(name, LINE, None)]), path)
    data = path.read_bytes()
    size = int.from_bytes(data[12:16], "little")
    content = json.loads(data[20 : 20 + size])
    for node in content["nodes"]:
        node["extras"] = extras
    text = json.dumps(content).encode()
    text += b" " * (-len(text) % 4)
    body = len(text).to_bytes(4, "little") + b"JSON" + text + data[20 + size :]
    path.write_bytes(data[:8] + (len(body) + 12).to_bytes(4, "little") + body)
    return read(path)


@pytest.mark.parametrize(
    ("extras", "meant"),
    [
        ({"bend_radius": 0.6}, "bend_radius_m"),
        ({"Diameter": 0.2}, "diameter_m"),
        ({"airflow": 0.2}, "flow_m3s"),
        ({"flow": 0.2}, "flow_m"),
        ({"roll": 90}, "roll_deg"),
    ],
)
def test_a_quantity_without_its_unit_is_refused(
    extras: dict[str, Any], meant: str, tmp_path: Path
) -> None:
    with pytest.raises(BadInput, match=f"no unit in its name; write it as '{meant}"):
        with_extras(tmp_path, extras)


@pytest.mark.parametrize(
    ("extras", "said"),
    [
        ({"transtion": True}, "'transtion' of 1 run is not read; write 'transition'"),
        ({"Source": True}, "'Source' of 1 run is not read; write 'source'"),
        ({"airflow_m3s": 0.3}, "'airflow_m3s' of 1 run is not read; write 'flow_m3s'"),
        ({"Width_m": 1, "Height_m": 1}, "'Width_m' of 1 run is not read"),
        ({"transition": "maybe"}, "transition = 'maybe' of 1 run is not read"),
        ({"source": 7}, "source = 7 of 1 run is not read; write true or false"),
        ({"terminal": ["a"]}, "terminal = ['a'] of 1 run is not read; write a text"),
        ({"shape": "hexagon"}, "shape = 'hexagon' of 1 run is not read"),
    ],
)
def test_what_is_not_understood_is_said(
    extras: dict[str, Any], said: str, tmp_path: Path
) -> None:
    notices = with_extras(tmp_path, extras).notices
    assert any(said in notice.sentence for notice in notices)


@pytest.mark.parametrize(
    "extras",
    [
        {"source": "no", "transition": 0, "shape": "Rectangular", "role": "main"},
        {"terminal": True, "id": 5, "comment": "seen", "material": {"a": 1}},
        {"length_m": 3.0, "insulation": "25 mm", "depth": 0.3, "system": "supply"},
    ],
)
def test_what_is_of_no_duct_is_passed_over(
    extras: dict[str, Any], tmp_path: Path
) -> None:
    assert with_extras(tmp_path, extras, "T1 D200").notices[1:] == ()


def test_quantities_in_any_unit_that_the_key_names(tmp_path: Path) -> None:
    drawing = with_extras(tmp_path, {"diameter_in": 8, "flow_m3_s": 0.3})
    assert (drawing.width[0], drawing.flow[0]) == pytest.approx((0.2032, 0.3))
    inches = {"width_in": 24, "height_in": "12", "flow_l_s": 300, "shape": "flat oval"}
    drawing = with_extras(tmp_path, inches)
    assert drawing.shape[0] == Shape.OVAL
    found = (drawing.width[0], drawing.height[0], drawing.flow[0])
    assert found == pytest.approx((0.6096, 0.3048, 0.3))


def test_a_terminal_may_be_a_number(tmp_path: Path) -> None:
    assert with_extras(tmp_path, {"terminal": 5}).run(0).attributes.terminal == "5"


@pytest.mark.parametrize("name", ["library_ascii.vtp", "library_legacy_mm.vtk"])
def test_cells_with_a_quantity_without_its_unit(name: str, tmp_path: Path) -> None:
    routes = Path(__file__).parent / "data" / "routes"
    data = (routes / name).read_bytes()
    assert b"width_m" in data
    data = data.replace(b"width_mm", b"width").replace(b"width_m", b"width")
    (tmp_path / name).write_bytes(data)
    with pytest.raises(BadInput, match="array of cells 'width' has no unit"):
        read(tmp_path / name)


@pytest.mark.parametrize(
    ("extras", "what"),
    [
        ({"flow_cfm": 1e-300}, "flow_cfm is 1e-300, less airflow than any"),
        ({"flow_m3h": 1e-323}, "flow_m3h is 9.88131e-324; it must be above zero"),
        ({"flow_ls": 1e20}, "flow_ls is 1e.20, more airflow than any building has"),
        (
            {"bend_radius_mm": 1e-323},
            "bend_radius_mm is 9.88131e-324; it must be above",
        ),
        ({"bend_radius_m": 1e9}, "bend_radius_m is 1e.09, more length than any"),
        ({"diameter_mm": 1e-60}, "diameter_mm is 1e-60, less than 0.001 mm"),
        ({"roughness_m": 0.09}, "roughness_m is 0.09, more than 20 mm"),
        ({"roughness_m": -1e-4}, "roughness_m is -0.0001, below zero"),
        ({"width_mm": "6_00", "height_mm": 300}, "width_mm is '6_00', which is no"),
        ({"roughness_m": 0.001, "flexible": True}, "and flexible are both given"),
    ],
)
def test_a_number_that_is_a_slip_is_refused(
    extras: dict[str, Any], what: str, tmp_path: Path
) -> None:
    with pytest.raises(BadInput, match=what):
        with_extras(tmp_path, extras)


def test_a_wall_may_be_smooth_as_a_schedule_may_say(tmp_path: Path) -> None:
    assert with_extras(tmp_path, {"roughness_m": 0}).attributes[0].roughness == 0.0
