"""The schedule: what it may say, and what is said of its faults."""

import re
from pathlib import Path

import pytest

from elbowroom.layout import (
    BadInput,
    Basis,
    DuctGraph,
    ElbowConstruction,
    Shape,
    TakeoffEntry,
    build,
    find_schedule,
    read,
    read_schedule,
    units,
)

INCH_WATER = 249.08891

WHOLE = """
[air]
temperature = "70 F"
altitude = "820 ft"
humidity = "50 %"
[source]
run = "T1"
kind = "plenum"
[fan]
external_static_pressure = "0.5 in.wg"
[losses]
coil = "50 Pa"
filter = "0.1 in.wg"
[duct]
material = "galvanised steel"
[duct.runs.flex]
roughness = "3 mm"
[sections]
T2 = "24x12 in"
[elbows]
construction = "mitred"
[[elbows.exception]]
run = "T1"
construction = "smooth radius"
throat_radius = "4 in"
[[elbows.exception]]
run = "T1"
bend = 2
radius_ratio = 1.5
[takeoffs]
entry = "45 degree entry"
[[takeoffs.exception]]
run = "B1"
entry = "conical"
[transitions]
included_angle = "20 deg"
[[transitions.exception]]
run = "T2"
length = "400 mm"
[terminals.office]
flow = "150 cfm"
loss = "10 Pa"
kind = "ceiling diffuser"
at = ["1 m", "2 ft", "3 m"]
[clearance]
required = "2 in"
insulation = "25 mm"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_everything_that_a_schedule_may_say(tmp_path: Path) -> None:
    plan = read_schedule(written(tmp_path, WHOLE))
    assert plan.air.temperature == pytest.approx(294.261, abs=1e-3)
    assert plan.air.altitude == pytest.approx(249.936)
    assert plan.air.humidity == 0.5
    assert (plan.source.run, plan.source.kind) == ("T1", "plenum")
    assert plan.fan.external_static_pressure == pytest.approx(0.5 * INCH_WATER)
    assert plan.losses == pytest.approx({"coil": 50.0, "filter": 0.1 * INCH_WATER})
    assert plan.material == "galvanised steel"
    assert plan.run_roughness == pytest.approx({"flex": 0.003})
    assert plan.sections["T2"].shape == Shape.RECTANGULAR
    assert plan.elbow_rule("other").construction == ElbowConstruction.MITRED
    throat = plan.elbow_rule("T1", 0)
    assert throat.construction == ElbowConstruction.SMOOTH
    assert throat.radius_for(0.3).tolist() == pytest.approx(0.3 / 2 + 0.1016)
    # An exception for one bend starts from the one for its whole run.
    second = plan.elbow_rule("T1", 2)
    assert second.construction == ElbowConstruction.SMOOTH
    assert second.radius_for(0.3).tolist() == pytest.approx(0.45)
    assert plan.takeoff_entry("B1") == (TakeoffEntry.CONICAL, Basis.DECLARED)
    assert plan.takeoff_entry("B2") == (TakeoffEntry.ENTRY_45, Basis.DECLARED)
    assert plan.transition_rule("T2")[0].length_for(0.1) == pytest.approx(0.4)
    office = plan.terminals["office"]
    assert office.flow == pytest.approx(150 * 4.719474e-4, rel=1e-6)
    assert office.at == pytest.approx((1.0, 0.6096, 3.0))
    assert (plan.clearance, plan.insulation) == pytest.approx((0.0508, 0.025))


def test_an_empty_schedule_assumes_and_says_so(tmp_path: Path) -> None:
    plan = read_schedule(written(tmp_path, ""))
    assert plan.elbow_rule().construction_basis == Basis.ASSUMED
    assert plan.takeoff_entry()[1] == Basis.ASSUMED
    assert plan.transition_rule()[1] == Basis.ASSUMED


def test_pieces_said_for_all_may_be_those_of_an_exception(tmp_path: Path) -> None:
    text = f"[elbows]\npieces = 4\n{BEND}\nconstruction = 'segmented'"
    assert read_schedule(written(tmp_path, text)).elbow_rule("a").pieces == 4


BEND = '[[elbows.exception]]\nrun = "a"'
WARM = "[checks]\ntemperature_around = '30 C'\nheat_transmission = '1 W/m2K'"
CURVE = "[fan]\ncurve_pressure = 'total'\ncurve"
STEP = '[[transitions.exception]]\nrun = "a"'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[terminal.a]\nflow="1 L/s"', "did you mean 'terminals'"),
        ('[terminals.a]\nflwo="1 L/s"', "did you mean 'flow'"),
        ('[terminals.a]\nflow="100"', "no unit"),
        ("[terminals.a]\nflow=100", "no unit"),
        (
            '[terminals.a]\nflow="0 L/s"',
            "above zero; correct it, or write closed = true",
        ),
        ('[terminals.a]\nflow="10 Pa"', "measures pressure"),
        ('[terminals.a]\nrun="b"', "has no airflow"),
        ('[terminals.a]\nflow="1 L/s"\nat=[0, 0, 3]', "no unit"),
        ('[terminals.a]\nflow="1 L/s"\nat=["0 m", "0 m"]', "three lengths"),
        ('[elbows]\nconstruction="mitered"', 'did you mean "mitred"'),
        ('[checks]\nnoise="RC35"', 'did you mean "RC 35"'),
        ('[checks]\nnoise="RC 30"', 'write one of "RC 25", "RC 35", "RC 45"'),
        ('[elbows]\nconstruction="mitred"\nradius_ratio=1.0', "has no radius"),
        (
            '[elbows]\nconstruction="mitred with single vanes"\nradius_ratio=1.5',
            "with vanes has no radius",
        ),
        (
            '[elbows]\nconstruction="mitred with double vanes"\nthroat_radius="50 mm"',
            "with vanes has no radius",
        ),
        (
            '[elbows]\nconstruction="square throat, radius heel"\nradius_ratio=1.5',
            "square throat has a radius of nothing",
        ),
        (
            '[elbows]\nconstruction="square throat, radius heel"\n'
            '[[elbows.exception]]\nrun="a"\ncentreline_radius="300 mm"',
            "square throat has a radius of nothing",
        ),
        ('[elbows]\nradius_ratio=1.0\nthroat_radius="4 in"', "more than once"),
        ("[[elbows.exception]]\nradius_ratio=1.0", "needs the run"),
        ('[elbows]\nvane_spacing="38 mm"', "elbows with vanes have it"),
        (
            '[elbows]\nconstruction="mitred with single vanes"\nvane_spacing="1 m"',
            "outside 20 mm (0.79 in) to 120 mm (4.7 in)",
        ),
        ('[elbows.exception]\nrun="a"', "array of tables"),
        (f"{BEND}\nbend=1.5\nradius_ratio=1.0", "'1.5' is no whole number"),
        (f"{BEND}\nbend=0\nradius_ratio=1.0", "'0' is no whole number"),
        (f"{BEND}\nbend=true\nradius_ratio=1.0", "no whole number"),
        (
            f"{BEND}\nbend=1\nradius_ratio=1.0\n{BEND}\nbend=1\nradius_ratio=2.0",
            "bend 1 of run 'a' has two of them",
        ),
        (
            f"{BEND}\nradius_ratio=1.0\n{BEND}\nradius_ratio=2.0",
            "the run 'a' has two of them",
        ),
        (BEND, "it says nothing of the elbow"),
        (f"{BEND}\nbend=2", "it says nothing of the elbow"),
        (f"{STEP}\nlength='1 m'\n{STEP}\nlength='2 m'", "'a' has two of them"),
        (STEP, "it says nothing of the transition"),
        ("[elbows]\npieces=5", "only segmented elbows have pieces"),
        (
            f"[elbows]\nconstruction='mitred'\nsplitters=1\n{BEND}\nradius_ratio=1.0",
            "only elbows with splitters have them",
        ),
        (f"{BEND}\nconstruction='pleated'\npieces=3", "only segmented elbows"),
        ("[elbows]\nconstruction='segmented'\npieces=7", "write one of 3, 4, 5"),
        ("[limits.a]", "it says nothing of the run"),
        (
            f"{CURVE} = [['0.7 m3/s', '100 Pa'], ['700 L/s', '90 Pa']]",
            "do not rise from point to point",
        ),
        (f"{CURVE} = [['0 m3/s', '300 Pa'], ['1 m3/s', '-9 Pa']]", "point 2 has a"),
        (
            f"{CURVE} = [['0 m3/s', '4 Pa'], ['1 m3/s', '7 Pa'], ['2 m3/s', '9 Pa']]",
            "its pressure rises all along",
        ),
        (
            "[checks]\ndew_point_around='18 C'\ntemperature_around='30 C'",
            "write heat_transmission too",
        ),
        (
            "[checks]\ndew_point_around='18 C'",
            "write temperature_around and heat_transmission too",
        ),
        ("[checks]\ntemperature_around='30 C'", "write heat_transmission too"),
        (
            f"{WARM}\ndew_point_around='31 C'",
            "the dew point is above temperature_around",
        ),
        (
            "[checks]\nleast_airflow='2 m3/s'\nmost_airflow='1 m3/s'",
            "it is more than most_airflow",
        ),
        ("[duct.runs.a]", "it says nothing of the run"),
        ('[air]\ntemperature="20"', "no unit"),
        ('[air]\ntemperature="900 C"', "outside"),
        ('[air]\naltitude="1 km"', "no unit of length"),
        ('[air]\naltitude="1 m"\npressure="100 kPa"', "both given"),
        ('[fan]\ntotal_pressure="1 Pa"\nexternal_static_pressure="1 Pa"', "both"),
        ('[losses]\ncoil="-5 Pa"', "not negative"),
        ('[sections]\nT1="600x300"', "no unit"),
        ('[duct]\nmaterial="steel"\nroughness="1 mm"', "both given"),
        ('[transitions]\nlength="1 m"\nincluded_angle="9 deg"', "both given"),
        ('[source]\nrun="a"\nat=["0 m","0 m","0 m"]', "both given"),
        ("terminals = 5", "must be a table, not '5'"),
        ("[air\n", "not valid TOML"),
    ],
)
def test_faults(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_schedule(written(tmp_path, text))
    sentences = [fault.sentence for fault in caught.value.faults]
    assert any(said in sentence for sentence in sentences), sentences
    assert all(sentence.startswith("plan.toml") for sentence in sentences)


def test_a_wrong_curve_pressure_is_one_fault(tmp_path: Path) -> None:
    curve = '[fan]\ncurve = [["0 m3/s", "90 Pa"], ["1 m3/s", "10 Pa"]]\n'
    for more, said in (
        ('curve_pressure = "static"', "'static' is not known there"),
        ("", "it is not said which pressure the curve is of"),
    ):
        with pytest.raises(BadInput) as caught:
            read_schedule(written(tmp_path, curve + more))
        (fault,) = caught.value.faults
        assert said in fault.sentence


@pytest.mark.parametrize("value", ["12", "'12'", "12.0"])
def test_a_leakage_class_may_stand_in_quotes(tmp_path: Path, value: str) -> None:
    text = f"[checks]\nleakage_class = {value}"
    assert read_schedule(written(tmp_path, text)).checks.leakage == 12.0


@pytest.mark.parametrize("value", ["'0'", "'501'", "'nan'", "'E'", "true", "[12]"])
def test_what_is_no_leakage_class(tmp_path: Path, value: str) -> None:
    with pytest.raises(BadInput, match="is no leakage class"):
        read_schedule(written(tmp_path, f"[checks]\nleakage_class = {value}"))


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    text = '[terminals.a]\nflow="1"\n[air]\ntemp="1 C"\n[fann]\n'
    with pytest.raises(BadInput) as caught:
        read_schedule(written(tmp_path, text))
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize(
    "text",
    ['[terminals]\na = "600 m3/h"\n', "[[terminals.a]]\n", "[elbows]\nexception=[1]"],
)
def test_what_is_no_table_is_one_fault(tmp_path: Path, text: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_schedule(written(tmp_path, text))
    (fault,) = caught.value.faults
    assert "this must be a table, not" in fault.what


def test_a_curve_with_a_dip_that_ends_at_nothing_is_taken(tmp_path: Path) -> None:
    points = "[['0 m3/s', '300 Pa'], ['1 m3/s', '350 Pa'], ['2 m3/s', '0 Pa']]"
    fan = read_schedule(written(tmp_path, f"{CURVE} = {points}")).fan
    assert fan.curve[-1] == (2.0, 0.0)


def test_a_dew_point_of_saturated_air_and_one_airflow_for_both_are_taken(
    tmp_path: Path,
) -> None:
    text = f"{WARM}\ndew_point_around='30 C'\nleast_airflow='1 m3/s'"
    found = read_schedule(written(tmp_path, f"{text}\nmost_airflow='1 m3/s'")).checks
    assert found.dew_point == pytest.approx(303.15)
    assert found.least_flow == found.most_flow


def test_an_exception_of_a_bend_goes_on_from_its_run_in_either_order(
    tmp_path: Path,
) -> None:
    run = '[[elbows.exception]]\nrun="a"\nconstruction="segmented"\nradius_ratio=1.5\n'
    bend = '[[elbows.exception]]\nrun="a"\nbend=1\npieces=3\n'
    one, other = (
        read_schedule(written(tmp_path, text)) for text in (run + bend, bend + run)
    )
    assert one.elbow_exceptions == other.elbow_exceptions
    assert one.elbow_rule("a", 1).radius_ratio == 1.5
    assert list(one.elbow_exceptions) == [("a", 0), ("a", 1)]


@pytest.mark.parametrize("name", ["missing.toml", "."])
def test_a_schedule_that_is_not_there(tmp_path: Path, name: str) -> None:
    with pytest.raises(BadInput):
        read_schedule(tmp_path / name)


def test_a_schedule_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(b"\xff\xfe\x00\x00")
    with pytest.raises(BadInput, match="no text in UTF-8"):
        read_schedule(path)


def test_the_schedule_beside_a_route(tmp_path: Path) -> None:
    route = tmp_path / "up.glb"
    assert find_schedule(route) is None
    shared = tmp_path / "schedule.toml"
    shared.write_text("")
    assert find_schedule(route) == shared
    own = tmp_path / "up.schedule.toml"
    own.write_text("")
    assert find_schedule(route) == own


def test_the_sections_of_a_schedule_need_no_guess(tmp_path: Path) -> None:
    plan = read_schedule(written(tmp_path, '[sections]\na = "D8 in"'))
    assert plan.sections["a"] == units.section("D8 in", "here")


@pytest.mark.parametrize(
    ("words", "radius"),
    [
        ("mitred", 'throat_radius = "0 mm"'),
        ("mitred with single vanes", 'throat_radius = "0 mm"'),
        ("square throat, radius heel", 'throat_radius = "0 mm"'),
        ("square throat, radius heel", "radius_ratio = 0.5"),
    ],
)
def test_a_radius_that_fits_the_construction_says_nothing_more(
    tmp_path: Path, words: str, radius: str
) -> None:
    """Nor is it handed on to an exception that is made otherwise."""
    plans = []
    for text in ("", radius):
        path = tmp_path / "s.toml"
        path.write_text(
            f'[elbows]\nconstruction = "{words}"\n{text}\n'
            '[[elbows.exception]]\nrun = "a"\nconstruction = "smooth radius"\n'
        )
        plans.append(read_schedule(path))
    assert plans[0].elbow_default == plans[1].elbow_default
    assert plans[0].elbow_exceptions == plans[1].elbow_exceptions


def test_an_entry_that_is_not_known_is_one_fault(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text('[[takeoffs.exception]]\nrun = "x"\nentry = "conical tap"\n')
    with pytest.raises(BadInput) as caught:
        read_schedule(path)
    (fault,) = caught.value.faults
    assert "'conical tap' is not known there" in fault.sentence
    path.write_text('[[takeoffs.exception]]\nrun = "x"\n')
    with pytest.raises(BadInput, match="it says nothing of the run 'x'"):
        read_schedule(path)
    path.write_text("[[takeoffs.exception]]\n")
    with pytest.raises(BadInput) as caught:
        read_schedule(path)
    (fault,) = caught.value.faults
    assert fault.sentence.startswith("s.toml, [takeoffs.exception] 1: an exception")


WORDS = """
[source]
run = "A"
[terminals.B]
flow = "500 L/s"
"""


def drawn_bare(tmp_path: Path, more: str) -> DuctGraph:
    """A reducer of three runs, and a riser at its end, as OBJ can say them."""
    route, plan = tmp_path / "t.obj", tmp_path / "t.schedule.toml"
    route.write_text(
        "o A 500x250\nv 0 0 0\nv 3 0 0\nl 1 2\no T\nv 3 0 0\nv 3.4 0 0\nl 3 4\n"
        "o B 300x250\nv 3.4 0 0\nv 6 0 0\nv 6 0 4\nl 5 6 7\n"
    )
    plan.write_text(WORDS + more)
    return build(read(route), read_schedule(plan))


def test_a_schedule_says_what_a_drawing_without_extras_cannot(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"run 'T'.* has no section"):
        drawn_bare(tmp_path, "")
    graph = drawn_bare(tmp_path, "[runs.T]\ntransition = true\n")
    assert graph.transitions.length.tolist() == pytest.approx([0.4])
    turned = "[runs.T]\ntransition = true\n[runs.B]\n"
    plain = graph.bends.in_plane.tolist()
    assert plain == pytest.approx([0.25])
    for said in ('roll = "90 deg"', "up = [0, 1, 0]"):
        graph = drawn_bare(tmp_path, f"{turned}{said}\n")
        assert graph.bends.in_plane.tolist() == pytest.approx([0.3])


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ("[runs.X]\ntransition = true", "[runs]: the drawing has no run 'X'"),
        ("[runs.T]", "it says nothing of the run"),
        ('[runs.B]\nroll = "90 deg"\nup = [0, 0, 1]', "roll and up are both given"),
        ("[runs.B]\nup = [0, 0, 0]", "is no direction"),
        ("[runs.B]\nroll = 90", "has no unit"),
    ],
)
def test_words_of_a_run_that_are_wrong(tmp_path: Path, words: str, fault: str) -> None:
    with pytest.raises(BadInput, match=re.escape(fault)):
        drawn_bare(tmp_path, words + "\n")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ('[component]\nrun = "a"\n', "[[component]]"),
        ('[elbows.exception]\nrun = "a"\n', "[[elbows.exception]]"),
    ],
)
def test_a_table_for_an_array_of_tables_is_refused_with_what_can_be_written(
    text: str, wanted: str, tmp_path: Path
) -> None:
    with pytest.raises(BadInput) as caught:
        read_schedule(written(tmp_path, text))
    assert f"write {wanted}." in str(caught.value)
    right = text.replace("[", "[[", 1).replace("]", "]]", 1)
    assert right.startswith(wanted)
