"""Quantities and sections as people write them."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.layout import BadInput, Shape, bare_name, section_in_name, units

# NIST Special Publication 811, appendix B.8: exact or to the digits shown there.
NIST = [
    ("1 in", "length", 0.0254, 0.0),
    ("1 ft", "length", 0.3048, 0.0),
    ("1 ft2", "area", 0.09290304, 0.0),
    ("1 cfm", "airflow", 4.719474e-4, 5e-11),
    ("1 ft/min", "velocity", 5.08e-3, 0.0),
    ("1 in.wg", "pressure", 249.0889, 5e-5),  # conventional inch of water
    ('1" wg', "pressure", 249.0889, 5e-5),
    ("1 in w.g.", "pressure", 249.0889, 5e-5),
    ("1 inH2O", "pressure", 249.0889, 5e-5),
    ("3600 CMH", "airflow", 1.0, 1e-12),
    ("3600 m3/hr", "airflow", 1.0, 1e-12),
    ("1000 lps", "airflow", 1.0, 1e-12),
    ("1 mm wg", "pressure", 9.80665, 0.0),
    ("1 mbar", "pressure", 100.0, 0.0),
    ("70 F", "temperature", (70 + 459.67) / 1.8, 1e-9),
    ("20 C", "temperature", 293.15, 1e-9),
    ("180 deg", "angle", math.pi, 1e-12),
    ("1 lb/ft3", "density", 16.01846, 5e-6),
]


@pytest.mark.parametrize(("text", "dimension", "si", "rounding"), NIST)
def test_factors(text: str, dimension: str, si: float, rounding: float) -> None:
    found = units.quantity(text, dimension, "here")
    assert found == pytest.approx(si, abs=max(rounding, 1e-12), rel=1e-12)


def test_friction_rate() -> None:
    rate = units.quantity("0.1 in.wg/100 ft", "friction rate", "here")
    assert rate == pytest.approx(0.1 * 249.08891 / 30.48)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1 ft 6 in", 0.4572),
        ("1'6\"", 0.4572),
        ('6"', 0.1524),
        ("12in", 0.3048),
        ("12 in.", 0.3048),
        ("6''", 0.1524),
        ("1'6''", 0.4572),
        ("1e3 mm", 1.0),
        (".5 m", 0.5),
        ("-3 m", -3.0),
    ],
)
def test_lengths(text: str, metres: float) -> None:
    assert units.quantity(text, "length", "here") == pytest.approx(metres)


@pytest.mark.parametrize(
    ("text", "dimension", "said"),
    [
        ("300", "length", "no unit"),
        (300, "length", "no unit"),
        (True, "length", "no length"),
        (None, "airflow", "no airflow"),
        ([{"run": "a"}], "pressure", "a place: a list is no pressure"),
        ({"run": "a"}, "pressure", "a place: a table is no pressure"),
        ("", "airflow", "no airflow"),
        ("fast", "velocity", "no velocity"),
        ("1,5 m", "length", "decimal comma"),
        ("1,150 cfm", "airflow", "write 1150 if it parts the thousands, 1.150 if"),
        ("1,150,000 Pa", "pressure", "a comma is not read; write 1150000)"),
        ("1 150 cfm", "airflow", "no blank or apostrophe is read within a number"),
        ("1'150 cfm", "airflow", "no blank or apostrophe is read within a number"),
        ("5 Pa", "airflow", "measures pressure and not airflow"),
        ("5 cfn", "airflow", "did you mean 'cfm'"),
        ("20 km/h", "velocity", "write one of m/s"),
        ("5 yd", "length", "write one of m,"),
        ("1e999 m", "length", "not finite"),
        ("1e300 Pa", "pressure", "more pressure than any building has"),
        ("1e-320 L/s", "airflow", "less airflow than any building has"),
        (f"{10**200} ft 2 in", "length", "more length than any building has"),
        ("nan m", "length", "no length"),
        ("5 m m", "length", "no unit of length"),
    ],
)
def test_what_is_refused(text: object, dimension: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        units.quantity(text, dimension, "a place")
    (fault,) = caught.value.faults
    assert said in fault.sentence
    assert fault.where == "a place"


@given(
    st.floats(-1e3, 1e3).filter(lambda value: value == 0.0 or abs(value) > 1e-6),
    st.sampled_from(sorted(units.UNITS)).filter(lambda name: name[0] not in "'\"′″’”"),
)
def test_there_and_back(value: float, name: str) -> None:
    dimension = units.UNITS[name].dimension
    si = units.quantity(f"{value!r} {name}", dimension, "here")
    scale = max(abs(value), units.UNITS[name].offset, 1e-9)
    assert units.to_unit(si, name) == pytest.approx(value, abs=1e-9 * scale)


@pytest.mark.parametrize("text", ["50 %", 0.5, "50 percent"])
def test_shares(text: object) -> None:
    assert units.share(text, "here") == 0.5


@pytest.mark.parametrize("text", ["0.5", True, "5 Pa", None])
def test_shares_refused(text: object) -> None:
    with pytest.raises(BadInput):
        units.share(text, "here")


@pytest.mark.parametrize(
    ("text", "shape", "sides"),
    [
        ("600x300 mm", Shape.RECTANGULAR, (0.6, 0.3)),
        ("24x12 in", Shape.RECTANGULAR, (0.6096, 0.3048)),
        ("0.6 m × 300 mm", Shape.RECTANGULAR, (0.6, 0.3)),
        ("D200 mm", Shape.ROUND, (0.2, 0.2)),
        ("ø8 in", Shape.ROUND, (0.2032, 0.2032)),
        ("20x8 in oval", Shape.OVAL, (0.508, 0.2032)),
        # A wall stack as the trade writes it: 3.25 and 12 inches.
        ("3-1/4x12 in", Shape.RECTANGULAR, (0.08255, 0.3048)),
        ("12 x 3 1/4 in", Shape.RECTANGULAR, (0.3048, 0.08255)),
        ("3¼in x 12in", Shape.RECTANGULAR, (0.08255, 0.3048)),
        ("D6 1/2 in", Shape.ROUND, (0.1651, 0.1651)),
    ],
)
def test_sections(text: str, shape: Shape, sides: tuple[float, float]) -> None:
    found = units.section(text, "here")
    assert found.shape == shape
    assert (found.width, found.height) == pytest.approx(sides)


@pytest.mark.parametrize(
    "text",
    ["600x300", "600 mm", "0x300 mm", "60x30 m", "D", 600, "3 1/4x12 mm", "3 1/4x12"],
)
def test_sections_refused(text: object) -> None:
    with pytest.raises(BadInput):
        units.section(text, "here")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("600x300", "600×300 mm"),
        ("T1 600x300.001", "600×300 mm"),
        ("main_600x300_supply", "600×300 mm"),
        ("D200", "Ø200 mm"),
        ("branch Ø250", "Ø250 mm"),
        ("supply_D8in", "Ø203.2 mm"),
        ("24x12in", "609.6×304.8 mm"),
        ("trunk", None),
        ("level 2x4", None),  # too small to be millimetres
        ("beam 600x300x2000", None),
        ("MD200", None),
    ],
)
def test_sections_in_names(name: str, words: str | None) -> None:
    found = section_in_name(name)
    assert (None if found is None else found[0].words) == words


@pytest.mark.parametrize(
    ("name", "bare"),
    [("600x300", ""), ("T1 600x300.001", "T1"), ("main_D200", "main"), ("a", "a")],
)
def test_names_without_their_section(name: str, bare: str) -> None:
    assert bare_name(name) == bare


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("3 1/4 in", 3.25),
        ("3-1/4 in", 3.25),
        ("3  1/4in", 3.25),
        ("3¼ in", 3.25),
        ('1/2"', 0.5),
        ("-1/2 in", -0.5),
        ("12 63/64 in", 12.984375),
        ("1 ft 6 1/2 in", 18.5),
        ("1' 6-1/2\"", 18.5),
        ("-1 ft 3 1/2 in", -15.5),
    ],
)
def test_fractions_of_an_inch(text: str, inches: float) -> None:
    assert units.quantity(text, "length", "here") == pytest.approx(inches * 0.0254)


@pytest.mark.parametrize(
    ("text", "dimension", "said"),
    [
        ("1/2 ft", "length", "has the fraction '1/2'"),
        ("3 1/4 mm", "length", "has the fraction '3 1/4'"),
        ("3 1/4", "length", '"3 1/4 in"'),
        ("1/2 in.wg", "pressure", "in inches alone"),
        ("3 1/3 in", "length", "'3 1/3' in '3 1/3 in' is no fraction of an inch"),
        ("3 5/4 in", "length", "is no fraction of an inch"),
        ("1/0 in", "length", "is no fraction of an inch"),
        ("3-4 in", "length", "no unit of length"),
    ],
)
def test_other_fractions_are_refused(text: str, dimension: str, said: str) -> None:
    with pytest.raises(BadInput, match=re.escape(said)):
        units.quantity(text, dimension, "here")


@pytest.mark.parametrize(
    "dimension", sorted({u.dimension for u in units.UNITS.values()})
)
def test_what_to_write_is_said_in_both_systems(dimension: str) -> None:
    """Each way that a refusal names is one, and the one is near the other."""
    with pytest.raises(BadInput) as caught:
        units.quantity("x", dimension, "here")
    (fault,) = caught.value.faults
    ways = re.findall(r'"([^"]+)"', fault.remedy)
    values = [units.quantity(way, dimension, "here") for way in ways]
    assert len(ways) == (1 if dimension in ("angle", "share", "time") else 2)
    assert max(values) < 2.0 * min(values)
