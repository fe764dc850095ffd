"""Junctions against their prints, their limits, and the conservation of energy."""

from collections.abc import Iterator, Mapping
from functools import partial

import numpy as np
import pytest
from prints import column, rows_of

from elbowroom.layout import FloatArray, Shape, TakeoffEntry
from elbowroom.physics import Coefficient, LookupRefused, Note, book, junctions

RIGHT = np.pi / 2


def turned(rows: list[Mapping[str, str]]) -> FloatArray:
    return np.radians(column(rows, "angle_deg"))


def agree(found: FloatArray, rows: list[Mapping[str, str]], rounding: float) -> None:
    np.testing.assert_allclose(found, column(rows, "C"), rtol=0, atol=rounding)


# --- the prints, row by row. Tables written with four decimals of a formula: 6e-5 is
# --- their rounding. Tables of a handbook: read back as they stand, so 1e-9.


def test_round_dividing_branch_agrees_with_every_row_of_its_formula_table() -> None:
    # Idelchik 2006, section 7-16, table 7-4; Crane TP-410 (2009) below 75 degrees.
    rows = rows_of("junction_round_diverging_branch")
    q, f = column(rows, "flow_ratio_Qb_Qc"), column(rows, "area_ratio_Ab_Ac")
    found = junctions.diverging_branch(q, f, turned(rows))
    agree(found.value, rows, 6e-5)
    assert not (found.notes & int(Note.EXTENDED)).any()


def test_round_dividing_branch_agrees_with_the_handbook_as_recalled() -> None:
    # SMACNA HVAC Systems Duct Design 1990, table 14-14, from memory: two figures, and
    # a fit of another shop's tests: 0.06 or 10 %.
    rows = rows_of("junction_round_diverging_branch")
    q, f = column(rows, "flow_ratio_Qb_Qc"), column(rows, "area_ratio_Ab_Ac")
    found = junctions.diverging_branch(q, f, turned(rows)).value
    recalled = column(rows, "C_handbook_recalled_memory")
    assert (np.abs(found - recalled) <= np.maximum(0.06, 0.1 * found)).all()


@pytest.mark.parametrize(
    ("form", "area"),
    [
        ("Idelchik/Crane, As=Ac, Ab/Ac<=0.4", 0.4),
        ("Idelchik/Crane, As=Ac, Ab/Ac>0.4", 1),
    ],
)
def test_round_dividing_main_of_unchanged_area_agrees_with_the_print(
    form: str, area: float
) -> None:
    # Idelchik, diagram 7-20; Crane TP-410 (2009), chapter 2.
    rows = rows_of("junction_round_diverging_main", form=form)
    found = junctions.diverging_main(column(rows, "flow_ratio_Qb_Qc"), area, 1.0)
    agree(found.value, rows, 6e-5)


def test_round_dividing_main_that_narrows_agrees_with_the_print() -> None:
    # Idelchik, section VII, dividing flow, straight passage: 0.4 (1 - Vs/Vc)².
    rows = rows_of("junction_round_diverging_main", form="Idelchik 0.4(1-Vs/Vc)^2")
    s = 0.5
    q = 1.0 - s * column(rows, "velocity_ratio_Vs_Vc")
    agree(junctions.diverging_main(q, 0.3, s).value, rows, 6e-5)


def test_round_main_of_the_handbook_is_read_back() -> None:
    # SMACNA 1990, table 14-14 A (two rows cross-checked, the rest from memory).
    rows = rows_of(
        "junction_round_diverging_main", form="handbook table, any branch angle"
    )
    found = junctions.round_main_handbook(column(rows, "velocity_ratio_Vs_Vc"))
    agree(found.value, rows, 1e-9)


@pytest.mark.parametrize("name", sorted(junctions.ELBOWED))
def test_round_branch_with_an_elbow_is_read_back(name: str) -> None:
    # SMACNA 1990, table 14-14, from memory.
    rows = rows_of(
        "junction_round_diverging_conical_and_elbowed_branch",
        fitting=junctions.ELBOWED[name],
    )
    v = column(rows, "velocity_ratio_Vb_Vc")
    agree(junctions.round_elbowed_branch(name, v).value, rows, 1e-9)


@pytest.mark.parametrize(
    ("fitting", "angle"), [("tee 90 deg conical", 90.0), ("wye 45 deg conical", 45.0)]
)
def test_conical_round_branch_is_read_back(fitting: str, angle: float) -> None:
    # SMACNA 1990, table 14-14, from memory.
    rows = rows_of(
        "junction_round_diverging_conical_and_elbowed_branch", fitting=fitting
    )
    v = column(rows, "velocity_ratio_Vb_Vc")
    found = junctions.round_conical_branch(v, np.radians(angle))
    agree(found.value, rows, 1e-9)


def test_every_rectangular_dividing_branch_is_read_back() -> None:
    # SMACNA 1990, table 14-14, from memory.
    every = rows_of("junction_rect_diverging_branch")
    for fitting in {row["fitting"] for row in every}:
        rows = rows_of("junction_rect_diverging_branch", fitting=fitting)
        v = column(rows, "velocity_ratio_Vb_Vc")
        texts = [row["flow_ratio_Qb_Qc"] for row in rows]
        # The conical tap is printed over the velocity ratio alone.
        q = np.array([float(text) if text else 0.2 for text in texts])
        found = junctions.rect_branch(fitting, q, q / v)
        agree(found.value, rows, 1e-9)


@pytest.mark.parametrize("argument", ["Vs_Vc", "Vb_Vc"])
def test_rectangular_dividing_main_is_read_back(argument: str) -> None:
    # SMACNA 1990, table 14-14, from memory.
    rows = rows_of("junction_rect_diverging_main", argument=argument)
    main = (
        junctions.rect_main if argument == "Vs_Vc" else junctions.rect_main_obstructed
    )
    agree(main(column(rows, "value")).value, rows, 1e-9)


def test_unlike_legs_of_a_bullhead_meet_the_jet_of_the_other() -> None:
    """Own choice, by hand: where a leg brings no air, A (1 + w²) with the other's w."""
    wide = junctions.symmetrical_joining(0.0, 0.3, RIGHT, 0.8)
    assert wide.value[0] == pytest.approx(1.0 + 1.0 / 0.8**2)  # A = 1
    alike = junctions.symmetrical_joining(0.4, 0.6, RIGHT, 0.6)
    plain = junctions.symmetrical_joining(0.4, 0.6, RIGHT)
    assert alike.value == pytest.approx(plain.value, rel=1e-12)
    assert int(wide.notes[0]) & int(Note.EXTENDED)
    assert not int(alike.notes[0]) & int(Note.EXTENDED)


@pytest.mark.parametrize("flow", ["diverging", "converging"])
@pytest.mark.parametrize("leg", ["branch", "main"])
def test_rectangular_radius_wye_is_read_back(flow: str, leg: str) -> None:
    # SMACNA 1990, tables 14-13 and 14-14, from memory; two points of a worked example.
    rows = rows_of("junction_rect_wye_radius_branch", flow=flow, leg=leg)
    f = column(rows, "area_ratio_Ab_Ac")
    s = f / column(rows, "area_ratio_Ab_As")
    q = column(rows, "flow_ratio_Qb_Qc")
    found = junctions.radius_wye(leg, q, f, s, flow)
    agree(found.value, rows, 1e-9)
    assert not found.notes.any()


@pytest.mark.parametrize("flow", ["diverging", "converging"])
@pytest.mark.parametrize("leg", ["branch", "main"])
def test_no_size_makes_a_radius_wye_jump(flow: str, leg: str) -> None:
    """Own choice, straight between the rows and on beyond them: 0.1 mm of 1 m."""
    fixed = np.array([0.1, 0.2, 0.25, 0.3, 0.45, 0.5, 0.746, 0.75, 0.9, 1.0, 1.2])
    q = np.linspace(0.0, 1.0, 9)
    sweep = np.linspace(0.1, 1.3, 12001)
    for share in q.tolist():
        for ratio in fixed.tolist():
            for f, s in ((sweep, ratio), (ratio, sweep)):
                lost = junctions.radius_wye(leg, share, f, s, flow).value
                steps = np.abs(np.diff(lost))
                # Of the rows a joining branch at f = 0.25 is the steepest: 11 to 2 in
                # 1 / f². Nothing is carried on by more than 1 / area².
                assert steps[sweep[1:] > 0.5].max() < 0.012
                assert (steps < np.maximum(0.012, 2.1e-4 / sweep[:-1] ** 3)).all()


@pytest.mark.parametrize("flow", ["diverging", "converging"])
@pytest.mark.parametrize("leg", ["branch", "main"])
def test_no_end_of_the_print_makes_a_radius_wye_jump(flow: str, leg: str) -> None:
    """Just beyond each printed row C is that of the row, for every share of the air."""
    q = np.linspace(0.0, 1.0, 101)
    rows = rows_of("junction_rect_wye_radius_branch", flow=flow, leg=leg)
    for row in rows:
        f = float(row["area_ratio_Ab_Ac"])
        s = f / float(row["area_ratio_Ab_As"])
        there = junctions.radius_wye(leg, q, f, s, flow).value
        for by in (1.0 - 1e-7, 1.0 + 1e-7):
            for areas in ((f * by, s), (f, s * by)):
                near = junctions.radius_wye(leg, q, *areas, flow).value
                assert near == pytest.approx(there, abs=1e-4)


def test_radius_wyes_lie_between_the_printed_rows_as_velocity_pressures_do() -> None:
    """Half way in 1 / f² is what it says, carried on or held at the ends; noted."""
    # SMACNA 1990, table 14-14, from memory: 1.8 at f = 0.25 and 0.6 at 0.5, and 0.68
    # where the main is half as wide as before. At f = 0.1 v is 6: 6.0 at the last, 3.6.
    found = junctions.radius_wye(
        "branch", 0.6, [10.0**-0.5, 0.25, 0.1, 0.5, 0.5], [1.0, 1.0, 1.0, 1.3, 0.4]
    )
    assert found.value == pytest.approx([1.2, 1.8, 6.0 * (6.0 / 3.6) ** 2, 0.6, 0.68])
    assert [Note(int(note)) for note in found.notes] == [
        Note.INTERPOLATED,
        Note.NOTHING,
        Note.EXTENDED,
        Note.CLAMPED,
        Note.CLAMPED,
    ]


def test_a_small_dividing_radius_branch_has_the_loss_of_its_velocity() -> None:
    """Own choice: at the same v that of f = 0.25; SMACNA 1990, 14-14, from memory."""
    v = np.array([0.4, 1.2, 2.0, 3.6])
    for f in (0.2, 0.1, 0.02):
        found = junctions.radius_wye("branch", v * f, f, 1.0)
        assert found.value == pytest.approx([0.55, 0.6, 1.2, 6.0])
        assert (found.notes == int(Note.EXTENDED)).all()
    slower = junctions.radius_wye("branch", 0.2 * 0.1, 0.1, 1.0)  # than any of the row
    assert slower.value == pytest.approx(0.55)
    assert slower.notes[0] == int(Note.EXTENDED | Note.CLAMPED)
    fast = junctions.radius_wye("branch", 0.9, [0.01, 0.001], 1.0).value
    assert fast[1] / fast[0] == pytest.approx(100.0)


def test_a_radius_branch_with_nearly_all_air_goes_on_as_other_entries_do() -> None:
    """Own choice: with v² beyond q = 0.9; 6.0 and 1.5: SMACNA 1990, 14-14, memory."""
    q = np.array([0.95, 1.0, 0.95, 1.0])
    found = junctions.radius_wye("branch", q, [0.25, 0.25, 0.5, 0.5], 1.0)
    wanted = np.array([6.0, 6.0, 1.5, 1.5]) * (q / 0.9) ** 2
    assert found.value == pytest.approx(wanted)
    assert (found.notes == int(Note.EXTENDED)).all()


@pytest.mark.parametrize("s", [0.25 / 0.33, 1.0])
def test_small_radius_branches_stay_in_order_with_other_entries(s: float) -> None:
    """A radius is no worse than 45 degrees, that no worse than a plain opening.

    To v = 3, where the print of 45 degrees has long ended: its law from v = 1.8 and
    that of the radius cross at 3.4. Below a plain opening it stays at every v.
    """
    f, v = (
        x.ravel()
        for x in np.meshgrid(np.linspace(0.02, 0.25, 24), np.linspace(0.1, 5, 50))
    )
    f, v = f[f * v <= 0.9], v[f * v <= 0.9]
    radius = junctions.radius_wye("branch", f * v, f, s).value
    plain, slanted = (
        junctions.rect_branch(fitting, f * v, f).value
        for fitting in (
            "90 deg tee, rectangular branch off rectangular main",
            "45 deg entry, rectangular branch off rectangular main",
        )
    )
    assert (radius < plain).all()
    assert (radius <= slanted)[v <= 3.0].all()


@pytest.mark.parametrize("s", [0.25 / 0.33, 1.0])
def test_a_small_joining_radius_branch_lies_below_a_plain_one(s: float) -> None:
    """By momentum alone; Idelchik, diagram 7-4, has that of a right angle to f = 0.35.

    To it what is lost comes near where the branch is small, and stays above the row.
    """
    q = np.array([0.02, 0.05, 0.1, 0.2, 0.5, 0.9])
    held = junctions.radius_wye("branch", q, 0.25, s, "converging").value
    for f in (0.2, 0.1, 0.05, 0.02):
        found = junctions.radius_wye("branch", q, f, s, "converging")
        plain = 1.0 + (q / f) ** 2 - 2.0 * (1.0 - q) ** 2 / s
        assert (found.value <= np.maximum(plain, held) + 1e-9).all()
        assert (found.value >= held - 1e-9).all()
        assert (found.notes & int(Note.EXTENDED) > 0).all()
    assert found.value[-1] == pytest.approx((0.9 / 0.02) ** 2, rel=0.002)
    assert found.notes[-1] & int(Note.SUSPECT)


def test_mains_beyond_the_printed_ones_are_carried_on() -> None:
    """By hand at q = 0.2, f = 0.5; SMACNA 1990, 14-13 and 14-14, from memory.

    Sudden contraction: Idelchik 1986, diagram 4-9; momentum: diagrams 7-1 to 7-9.
    """
    found = junctions.radius_wye("main", 0.2, 0.5, [0.25, 2.0])
    loss = 0.5 * (0.75**0.75 / 0.25**2 - 0.5**0.75 / 0.5**2)
    assert found.value == pytest.approx([0.48 + 0.64 * loss, -0.06 + 0.64 * 0.25])
    assert (found.notes == int(Note.EXTENDED)).all()
    assert "sudden contraction" in found.credit.table
    joins = junctions.radius_wye("main", 0.2, 0.5, [0.25, 2.0], "converging")
    assert joins.value == pytest.approx([1.1 + 0.64 * (9.0 - 1.0), 0.16 + 0.64 * 0.25])
    assert (joins.notes == int(Note.EXTENDED)).all()
    small = junctions.radius_wye("main", 0.2, 0.1, 1.0)
    assert small.value == pytest.approx(-0.03)  # a small branch changes nothing in it
    assert small.notes[0] == int(Note.CLAMPED)


def test_the_print_of_radius_wyes_goes_as_its_mains_are_carried_on() -> None:
    """Dividing mains of 0.5, made of those of 0.75: SMACNA 1990, 14-14, from memory."""
    q = np.arange(1, 10) / 10.0
    wide, narrow = (junctions.radius_wye("main", q, 0.5, s).value for s in (0.746, 0.5))

    def lost(s: float) -> float:
        return float(0.5 * (1.0 - s) ** 0.75 / s**2)

    made = wide + (1.0 - q) ** 2 * (lost(0.5) - lost(0.746))
    assert np.abs(made - narrow).mean() < 0.12 < 0.2 < np.abs(wide - narrow).mean()


@pytest.mark.parametrize(
    ("flow", "square", "plain"), [("diverging", 0.1, 0.8), ("converging", 0.3, 1.8)]
)
def test_the_print_of_radius_wyes_itself_goes_with_velocity_pressures(
    flow: str, square: float, plain: float
) -> None:
    """How far its branches of f = 0.5 lie off what those of 0.25 and 1 make of them.

    SMACNA 1990, tables 14-13 and 14-14, from memory.
    """
    q = np.arange(1, 10) / 10.0
    small, middle, large = (
        junctions.radius_wye("branch", q, f, 1.0, flow).value for f in (0.25, 0.5, 1.0)
    )

    def off(share: float) -> float:
        return float(np.abs(small + (large - small) * share - middle).mean())

    assert off((16.0 - 4.0) / (16.0 - 1.0)) < square
    assert off((0.5 - 0.25) / (1.0 - 0.25)) > plain


def test_dividing_symmetrical_wye_is_read_back_to_60_degrees() -> None:
    # SMACNA 1990, table 14-14, from memory.
    name = "angled symmetrical wye, rect or round"
    rows = rows_of(
        "junction_symmetrical_wye_and_bullhead", fitting=name, flow="diverging"
    )
    rows = [row for row in rows if float(row["angle_deg"]) <= 60.0]
    agree(junctions.symmetrical(column(rows, "value"), turned(rows)).value, rows, 1e-9)


def test_joining_symmetrical_wye_is_read_back() -> None:
    # SMACNA 1990, table 14-13, from memory; f = 0.5 alone.
    name = "angled symmetrical wye, rect or round"
    rows = rows_of(
        "junction_symmetrical_wye_and_bullhead", fitting=name, flow="converging"
    )
    found = junctions.symmetrical_joining(column(rows, "value"), 0.5, turned(rows))
    agree(found.value, rows, 1e-9)


def test_bullheads_agree_with_the_print() -> None:
    # Idelchik, diagram 7-29: 1 + 0.3 v² dividing, and the joining formula.
    name = "junction_symmetrical_wye_and_bullhead"
    fitting = "bullhead (T with opposed outlets), welded or sheet metal k=0.3"
    rows = rows_of(name, fitting=fitting)
    agree(junctions.symmetrical(column(rows, "value"), RIGHT).value, rows, 6e-5)
    rows = rows_of(name, fitting="bullhead (opposed inlets to one outlet)")
    f, q = column(rows, "area_ratio_Ab_Ac"), column(rows, "value")
    agree(junctions.symmetrical_joining(q, f, RIGHT).value, rows, 6e-5)


@pytest.mark.parametrize("flow", ["diverging", "converging"])
def test_dovetail_is_read_back(flow: str) -> None:
    # SMACNA 1990, tables 14-13 and 14-14, from memory.
    fitting = "dovetail (two radius elbows back to back), r/Wc=1.5, equal split"
    rows = rows_of("junction_symmetrical_wye_and_bullhead", fitting=fitting, flow=flow)
    found = junctions.dovetail(0.5, column(rows, "area_ratio_Ab_Ac"), flow)
    agree(found.value, rows, 1e-9)
    assert not found.notes.any()


@pytest.mark.parametrize("leg", ["branch", "main"])
def test_round_joining_legs_agree_with_every_row_of_their_table(leg: str) -> None:
    # Idelchik, diagrams 7-1 to 7-4; Crane TP-410 (2009).
    rows = rows_of("junction_round_converging", leg=leg)
    q, f = column(rows, "flow_ratio_Qb_Qc"), column(rows, "area_ratio_Ab_Ac")
    work = {"branch": junctions.converging_branch, "main": junctions.converging_main}
    agree(work[leg](q, f, turned(rows)).value, rows, 6e-5)


@pytest.mark.parametrize("leg", ["branch", "main"])
def test_joining_split_main_agrees_with_every_row_of_its_table(leg: str) -> None:
    # Idelchik 1986, diagrams 7-5 to 7-9.
    rows = rows_of("junction_split_main_wye", flow="converging", leg=leg)
    q, f = column(rows, "value"), column(rows, "area_ratio_Ab_Ac")
    found = junctions.split_main(leg, q, f, turned(rows))
    agree(found.value, rows, 1.5e-4)  # K is read back from rows rounded to 5e-5


def test_dividing_split_main_agrees_with_every_row_of_its_table() -> None:
    # Idelchik 2006, section 7-16, table 7-5.
    rows = rows_of("junction_split_main_wye", flow="diverging", leg="branch")
    v = column(rows, "value")
    found = junctions.split_main_branch(v, turned(rows))
    # K is read back from a rounded row and counts with v².
    atol = 6e-5 * (1.0 + v * v)
    assert (np.abs(found.value - column(rows, "C")) <= atol).all()


@pytest.mark.parametrize(
    ("entry", "fitting"),
    [
        ("tap", "round tap into rectangular main"),
        ("tee", "90 deg tee, rectangular into rectangular main"),
        ("45-entry", "45 deg entry, rectangular into rectangular main"),
    ],
)
def test_rectangular_joining_branch_is_read_back(entry: str, fitting: str) -> None:
    # SMACNA 1990, table 14-13, from memory; both bands of velocity.
    for band, speed in (
        ("Vc < 6.1 m/s (1200 fpm)", 5.0),
        ("Vc > 6.1 m/s (1200 fpm)", 7.0),
    ):
        rows = rows_of("junction_rect_converging", fitting=fitting, velocity_band=band)
        q = column(rows, "flow_ratio_Qb_Qc")
        found = junctions.rect_converging_branch(entry, q, 0.5, speed)
        agree(found.value, rows, 1e-9)
        assert not found.notes.any()


def test_rectangular_joining_main_is_read_back_and_costs_nothing_without_branch() -> (
    None
):
    # SMACNA 1990, table 14-13, from memory; it is 1.55 q - q² with three figures.
    rows = rows_of("junction_rect_converging", leg="main")
    q = column(rows, "flow_ratio_Qb_Qc")
    agree(junctions.rect_converging_main(q).value, rows, 1e-9)
    assert junctions.rect_converging_main(0.0).value[0] == 0.0
    formula = junctions.converging_main(q, 0.5, RIGHT).value
    np.testing.assert_allclose(formula, column(rows, "C"), atol=6e-4)


# --- other publications


def second_source() -> list[Mapping[str, str]]:
    return rows_of("junction_second_source_points")


@pytest.mark.parametrize(
    ("fitting", "share"),
    # By how much Legg 2017, chapter 14, and Idelchik differ, for the same words: the
    # equal T by a factor of three and more, so its shape cannot be the same.
    [("supply 45 deg branch, round", 0.26), ("extract 45 deg branch, round", 0.08)],
)
def test_45_degree_round_branch_against_a_second_book(
    fitting: str, share: float
) -> None:
    (row,) = [row for row in second_source() if row["fitting"] == fitting]
    q, f = float(row["flow_ratio_Qb_Qc"]), float(row["area_ratio_Ab_Ac"])
    work = {
        "diverging": junctions.diverging_branch,
        "converging": junctions.converging_branch,
    }[row["flow"]]
    found = work(q, f, np.radians(float(row["angle_deg"])))
    assert found.value[0] == pytest.approx(float(row["C"]), rel=share)


def test_equal_tee_is_near_the_momentum_formulas_limits() -> None:
    # Gardel 1957, from memory: at a right-angled equal tee 0.95 and 1.3 where no and
    # where all air takes the branch, dividing; -0.92 and 1.2 joining. Another model
    # of the same pipes: 10 %.
    dividing = junctions.diverging_branch([0.0, 1.0], 1.0, RIGHT).value
    np.testing.assert_allclose(dividing, [0.95, 1.3], rtol=0.10)
    joining = junctions.converging_branch([0.0, 1.0], 1.0, RIGHT).value
    np.testing.assert_allclose(joining, [-0.92, 1.2], rtol=0.10)


# --- limits


def test_branch_without_flow_recovers_nothing_of_the_mains_velocity_pressure() -> None:
    # NOTES of the reference: C tends to about 1.0; A is 1.0 to 1.1 at q = 0.
    for area, most in ((0.2, 1.1), (1.0, 1.0)):
        found = junctions.diverging_branch(0.0, area, np.radians([30.0, 60.0, 90.0]))
        np.testing.assert_allclose(found.value, most)
    tee = junctions.rect_branch_by_entry(
        TakeoffEntry.PLAIN, False, np.zeros(1), np.full(1, 0.3), np.full(1, RIGHT)
    )
    assert tee.value[0] == pytest.approx(1.0)
    assert junctions.round_conical_branch(0.0, RIGHT).value[0] == pytest.approx(1.0)
    assert junctions.symmetrical(0.0, RIGHT).value[0] == pytest.approx(1.0)
    assert junctions.split_main_branch(0.0, 1.0).value[0] == pytest.approx(1.0)


def test_main_past_a_branch_without_flow_loses_nothing() -> None:
    assert junctions.diverging_main(0.0, [0.2, 0.45, 1.0], 1.0).value == pytest.approx(
        0
    )
    assert junctions.rect_main(1.0).value[0] == 0.0
    angles = np.radians([30.0, 60.0, 75.0, 90.0])
    assert junctions.converging_main(0.0, 0.5, angles).value == pytest.approx(0)


def test_branch_that_draws_in_still_air_is_dragged_by_the_main() -> None:
    # C = 1 - 2 = -1: no loss but the main's gain; negative is real and is kept.
    assert junctions.converging_branch(0.0, 0.2, 0.7).value[0] == pytest.approx(-1.0)


def test_slanting_a_branch_never_raises_its_dividing_loss() -> None:
    q, f = (
        x.ravel() for x in np.meshgrid(np.linspace(0.05, 1, 20), [0.1, 0.3, 0.6, 1])
    )
    steps = [
        junctions.diverging_branch(q, f, np.radians(angle)).value
        for angle in np.linspace(15.0, 90.0, 76)
    ]
    assert (np.diff(steps, axis=0) >= -1e-12).all()


def test_round_joining_branch_loses_more_the_more_it_brings() -> None:
    q = np.linspace(0.0, 1.0, 101)
    for f in (0.1, 0.2, 0.3):
        for angle in np.radians([30.0, 45.0, 60.0, 90.0]):
            assert (np.diff(junctions.converging_branch(q, f, angle).value) > 0).all()


# --- no jumps


def sweeps() -> Iterator[tuple[str, FloatArray]]:
    fine = np.linspace(0.0, 1.0, 4001)
    f = 0.15 + 0.7 * fine
    for q in (0.1, 0.35, 0.55, 0.8):
        for angle in (RIGHT, 0.8):
            yield f"branch, f, {q}", junctions.diverging_branch(q, f, angle).value
            yield f"joining, f, {q}", junctions.converging_branch(q, f, angle).value
        yield f"main, f, {q}", junctions.diverging_main(q, f, 1.0).value
        yield f"main, s, {q}", junctions.diverging_main(q, 0.3, 0.85 + 0.2 * fine).value
        rect = junctions.rect_converging_branch("tee", q, f, 8.0)
        yield f"rect joining, f, {q}", rect.value
        speeds = 5.0 + 2.0 * fine
        rect = junctions.rect_converging_branch("tee", q, 0.5, speeds)
        yield f"rect joining, velocity, {q}", rect.value
        turn = np.radians(10.0 + 85.0 * fine)
        yield f"branch, angle, {q}", junctions.diverging_branch(q, 0.4, turn).value
        yield f"joining, angle, {q}", junctions.converging_branch(q, 0.4, turn).value
        yield f"joined, angle, {q}", junctions.converging_main(q, 0.4, turn).value
        yield f"wye, angle, {q}", junctions.symmetrical(q / 0.5, turn).value
        yield f"wye, {q}", junctions.symmetrical_joining(q, 0.5, turn).value
        yield f"split, {q}", junctions.split_main("main", q, 0.3, turn).value
        yield f"split f, {q}", junctions.split_main("branch", q, f * 0.6, 1.0).value
    flows = 0.05 + 0.9 * fine
    for angle in (RIGHT, 0.8):
        for area in (0.2, 0.33, 0.36, 0.6):
            tees = junctions.diverging_branch(flows, area, angle)
            yield f"branch, q, {area}", tees.value / (flows / area) ** 2 / flows
    yield "joining, q", junctions.converging_branch(flows, 0.6, RIGHT).value
    yield "bullhead, q", junctions.symmetrical_joining(flows, 0.6, RIGHT).value
    yield "main, q", junctions.diverging_main(flows, 0.7, 1.0).value
    for words in ("90 deg tee, rectangular branch off rectangular main",):
        yield "rect, f", junctions.rect_branch(words, 0.3, f).value
        yield "rect, q", junctions.rect_branch(words, flows, 0.3).value


def test_a_sweep_meets_no_jump() -> None:
    # In 4000 steps over a range of order 1 the steepest blend moves 2 % of the sweep's
    # own span; a step of a print that was left in moves it at once.
    jumps = [
        name
        for name, values in sweeps()
        if np.abs(np.diff(values)).max() > 0.02 * max(float(np.ptp(values)), 0.05)
    ]
    assert jumps == []


def test_the_small_step_of_the_joining_factor_is_joined_up() -> None:
    # The print goes from 0.54 to 0.55 at q = 0.4: 2 % at once, were it left in.
    below, above = junctions.converging_branch(
        [0.4 - 1e-7, 0.4 + 1e-7], 0.6, RIGHT
    ).value
    assert above == pytest.approx(below, rel=1e-5)


# --- energy


def test_joining_flows_make_no_energy() -> None:
    # Mechanical energy: what both legs lose together is never negative.
    q, f = (
        x.ravel() for x in np.meshgrid(np.linspace(0, 1, 101), [0.1, 0.3, 0.6, 1.0])
    )
    for angle in np.radians([30.0, 45.0, 60.0, 75.0, 90.0]):
        branch = junctions.converging_branch(q, f, angle).value
        main = junctions.converging_main(q, f, angle).value
        assert (q * branch + (1.0 - q) * main >= -1e-9).all()


def test_flows_that_join_behind_a_wall_make_no_energy() -> None:
    q, f = (
        x.ravel() for x in np.meshgrid(np.linspace(0, 1, 11), [0.1, 0.2, 0.33, 0.5])
    )
    for angle in np.radians([15.0, 30.0, 45.0, 60.0]):
        branch = junctions.split_main("branch", q, f, angle).value
        main = junctions.split_main("main", q, f, angle).value
        assert (q * branch + (1.0 - q) * main >= -1e-9).all()


@pytest.mark.parametrize("flow", ["diverging", "converging"])
def test_radius_wyes_make_no_energy(flow: str) -> None:
    axes = (
        np.linspace(0.1, 1.0, 19),
        np.linspace(0.02, 1.2, 60),
        np.linspace(0.1, 2.0, 39),
    )
    q, f, s = (x.ravel() for x in np.meshgrid(*axes))
    branch = junctions.radius_wye("branch", q, f, s, flow).value
    main = junctions.radius_wye("main", q, f, s, flow).value
    assert (q * branch + (1.0 - q) * main >= -1e-9).all()


def test_dividing_round_flow_makes_no_energy() -> None:
    q, f = (
        x.ravel() for x in np.meshgrid(np.linspace(0, 1, 101), [0.2, 0.4, 0.6, 1.0])
    )
    for angle in np.radians([30.0, 45.0, 60.0, 90.0]):
        branch = junctions.diverging_branch(q, f, angle).value
        main = junctions.diverging_main(q, f, 1.0).value
        assert (q * branch + (1.0 - q) * main >= -1e-9).all()


# --- which table, and what is said of it


@pytest.mark.parametrize("angle", [60.0, 70.0, 90.0])
def test_a_leg_beside_an_idle_one_leads_to_a_tap_at_a_closed_end(angle: float) -> None:
    """D200 off a D400: 1.2 of its own velocity pressure, as a tee's branch has it."""
    f = 0.25
    beside = partial(legs, symmetrical=True, angle=angle, f=f)
    last, table, _ = beside(q=1.0)
    assert table == "junction_cross_and_manifold"
    assert last == pytest.approx(1.2 / f**2)
    assert last == pytest.approx(legs(angle=angle, q=1.0, f=f)[0])
    found = [beside(q=q)[0] for q in np.linspace(0.85, 1.0, 61).tolist()]
    steps = np.diff(found)
    assert steps.min() > 0.0
    assert steps.max() < 0.03 * last
    assert beside(q=1.0, entry=TakeoffEntry.ENTRY_45)[0] == last  # counted as plain
    assert beside(q=1.0, entry=TakeoffEntry.RADIUS)[1] != table


def test_bullheads_say_where_their_print_ends() -> None:
    extended = int(Note.EXTENDED)
    found = junctions.symmetrical([2.0, 2.01, 8.0], RIGHT)
    assert (found.notes & extended > 0).tolist() == [False, True, True]
    found = junctions.symmetrical_joining(0.5, [0.09, 0.1, 1.0, 1.01], RIGHT)
    assert (found.notes & extended > 0).tolist() == [True, False, False, True]


# What another print than the one that counts says, and so the class: see
# `physics/data/junction_second_source_points.csv`, and Crane TP-410 2.0 for 1.40.
@pytest.mark.parametrize(
    ("found", "confidence"),
    [
        (junctions.diverging_branch(0.5, 0.5, RIGHT), "seen"),
        (junctions.diverging_branch(0.7, 0.5, np.pi / 4), "seen"),
        (junctions.round_conical_branch(1.4, RIGHT), "low"),
        (junctions.round_conical_branch(1.4, np.pi / 4), "memory"),
        (junctions.symmetrical(0.4, RIGHT), "low"),
        (junctions.symmetrical(0.8, np.pi / 4), "memory"),
        (junctions.symmetrical_joining(0.4, 1.0, RIGHT), "low"),
        (junctions.converging_branch(0.5, 0.35, np.pi / 4), "cross-checked"),
        (junctions.converging_branch(0.5, 0.2, RIGHT), "cross-checked"),
        (junctions.converging_branch(0.5, 0.35, RIGHT), "seen"),
    ],
)
def test_the_class_tells_of_prints_that_differ(
    found: Coefficient, confidence: str
) -> None:
    assert found.confidence == confidence


def test_the_class_of_a_leg_hangs_on_no_other() -> None:
    count = 2
    both = junctions.JunctionLegs(
        is_branch=np.ones(count, dtype=bool),
        is_symmetrical=np.zeros(count, dtype=bool),
        angle=np.radians([90.0, 90.0]),
        entry=np.full(count, int(TakeoffEntry.PLAIN)),
        common_shape=np.full(count, int(Shape.ROUND)),
        branch_shape=np.full(count, int(Shape.ROUND)),
        flow_ratio=np.array([0.3, 0.3]),
        area_ratio=np.array([0.2, 0.6]),
        main_area_ratio=np.ones(count),
    )
    found = junctions.joining_legs(both, np.full(count, 5.0))
    classes = [found.credits[n].confidence for n in found.credit.tolist()]
    assert classes == ["cross-checked", "seen"]


def legs(
    *,
    is_branch: bool = True,
    symmetrical: bool = False,
    angle: float = 90.0,
    entry: TakeoffEntry = TakeoffEntry.PLAIN,
    common: Shape = Shape.ROUND,
    branch: Shape = Shape.ROUND,
    q: float = 0.3,
    f: float = 0.4,
    s: float = 1.0,
    wall: bool | None = None,
    joining: bool = False,
) -> tuple[float, str, int]:
    """Value, table and notes of one leg."""
    all_legs = junctions.JunctionLegs(
        is_branch=np.array([is_branch]),
        is_symmetrical=np.array([symmetrical]),
        angle=np.radians([angle]),
        entry=np.array([int(entry)]),
        common_shape=np.array([int(common)]),
        branch_shape=np.array([int(branch)]),
        flow_ratio=np.array([q]),
        area_ratio=np.array([f]),
        main_area_ratio=np.array([s]),
        shared_wall=None if wall is None else np.array([wall]),
    )
    if joining:
        out = junctions.joining_legs(all_legs, np.array([5.0]))
    else:
        out = junctions.dividing_legs(all_legs)
    return float(out.value[0]), out.credits[int(out.credit[0])].table, int(out.notes[0])


CASES: list[tuple[dict[str, object], str]] = [
    ({}, "formula: dividing branch"),
    ({"is_branch": False}, "formula: dividing main"),
    ({"is_branch": False, "s": 0.7}, "formula: dividing main"),
    (
        {"entry": TakeoffEntry.CONICAL},
        "junction_round_diverging_conical_and_elbowed_branch",
    ),
    (
        {"entry": TakeoffEntry.CONICAL, "is_branch": False},
        "junction_round_diverging_main",
    ),
    ({"wall": True, "s": 0.6}, "junction_split_main_wye"),
    (
        {"entry": TakeoffEntry.RADIUS, "s": 0.6},
        "junction_round_diverging_conical_and_elbowed_branch",
    ),
    ({"common": Shape.RECTANGULAR}, "junction_rect_diverging_branch"),
    (
        {"common": Shape.RECTANGULAR, "is_branch": False},
        "junction_rect_diverging_main",
    ),
    (
        {
            "common": Shape.RECTANGULAR,
            "branch": Shape.RECTANGULAR,
            "entry": TakeoffEntry.RADIUS,
        },
        "junction_rect_wye_radius_branch",
    ),
    ({"symmetrical": True}, "formula: bullhead"),
    (
        {"symmetrical": True, "angle": 45.0},
        "junction_symmetrical_wye_and_bullhead",
    ),
    (
        {"symmetrical": True, "entry": TakeoffEntry.RADIUS},
        "junction_symmetrical_wye_and_bullhead",
    ),
    ({"q": 1.0}, "junction_cross_and_manifold"),
    ({"joining": True}, "formula: joining branch"),
    ({"joining": True, "is_branch": False}, "formula: joining main"),
    ({"joining": True, "wall": True, "s": 0.6}, "junction_split_main_wye"),
    ({"joining": True, "common": Shape.RECTANGULAR}, "junction_rect_converging"),
    (
        {"joining": True, "common": Shape.RECTANGULAR, "f": 0.2},
        "formula: joining branch",
    ),
    (
        {
            "joining": True,
            "common": Shape.RECTANGULAR,
            "entry": TakeoffEntry.RADIUS,
        },
        "junction_rect_wye_radius_branch",
    ),
    ({"joining": True, "symmetrical": True}, "formula: bullhead, joining"),
]


@pytest.mark.parametrize(("case", "table"), CASES, ids=lambda x: str(x)[:50])
def test_each_leg_takes_the_table_of_its_geometry(
    case: dict[str, object], table: str
) -> None:
    assert legs(**case)[1] == table  # type: ignore[arg-type]


def test_a_wall_in_the_main_is_not_read_out_of_areas_alone() -> None:
    # As + Ab = Ac, but nothing says that a wall parts the main: the worse table.
    plain, table, _ = legs(angle=45.0, q=0.4, f=0.4, s=0.6)
    parted, _, _ = legs(angle=45.0, q=0.4, f=0.4, s=0.6, wall=True)
    assert table == "formula: dividing branch"
    assert plain > parted


@pytest.mark.parametrize("joining", [False, True])
@pytest.mark.parametrize("shape", [Shape.ROUND, Shape.RECTANGULAR])
def test_a_degree_off_a_right_angle_is_the_drawings_rounding(
    shape: Shape, joining: bool
) -> None:
    """Half a millimetre of overlap turns a branch by some hundredth of a degree."""
    sections = {"common": shape, "branch": shape, "joining": joining, "f": 0.5}
    for angle, noted in ((90.0, False), (90.01, False), (90.9, False), (92.0, True)):
        _, _, notes = legs(angle=angle, **sections)  # type: ignore[arg-type]
        assert bool(notes & int(Note.CLAMPED)) == noted


SIDES = np.array([int(Shape.ROUND), int(Shape.RECTANGULAR)])


@pytest.mark.parametrize("shape", SIDES)
@pytest.mark.parametrize("angle", [30.0, 45.0, 60.0, 90.0])
@pytest.mark.parametrize("f", [0.1, 0.2, 0.33, 0.5])
def test_a_growing_main_in_which_flows_join_ends_at_the_parted_one(
    shape: int, angle: float, f: float
) -> None:
    """As + Ab = Ac: Idelchik 1986, diagrams 7-5 to 7-9, as the table has them."""
    q = 0.3
    for leg in ("branch", "main"):
        printed = junctions.split_main(leg, q, f, np.radians(angle)).value[0]
        case = {"joining": True, "is_branch": leg == "branch", "angle": angle}
        sections = {"common": Shape(shape), "branch": Shape(shape)}
        value, _, notes = legs(**case, **sections, q=q, f=f, s=1.0 - f)  # type: ignore[arg-type]
        assert value == pytest.approx(printed, abs=1e-9)
        assert bool(notes & int(Note.FALLBACK)) == (f > 0.05)
        near, _, _ = legs(**case, **sections, q=q, f=f, s=1.0 - f + 1e-9)  # type: ignore[arg-type]
        assert value == pytest.approx(near, abs=1e-6)


def test_a_growing_main_costs_the_straight_leg_its_expansion() -> None:
    """Nothing joins: Borda and Carnot's (1/s - 1)², once a wall parts the main too."""
    for s in (0.5, 0.7, 0.9):
        value, _, _ = legs(joining=True, is_branch=False, q=0.0, f=0.1, s=s, angle=60.0)
        assert value == pytest.approx((1.0 / s - 1.0) ** 2, abs=1e-4)


@pytest.mark.parametrize("shape", SIDES)
@pytest.mark.parametrize("angle", [30.0, 45.0, 60.0, 75.0, 90.0])
def test_flows_that_join_a_main_of_another_area_make_no_energy(
    shape: int, angle: float
) -> None:
    """q C_b + (1 - q) C_s is above zero; both on the common velocity."""
    grid = np.meshgrid(
        np.linspace(0.1, 0.8, 8),
        np.linspace(0.0, 1.0, 21),
        np.linspace(0.4, 1.2, 9),
    )
    f, q, s = (part.ravel() for part in grid)
    branch, main = (
        junctions.joining_legs(
            junctions.JunctionLegs(
                is_branch=np.full(len(q), is_branch),
                is_symmetrical=np.zeros(len(q), dtype=bool),
                angle=np.full(len(q), np.radians(angle)),
                entry=np.zeros(len(q), dtype=np.int64),
                common_shape=np.full(len(q), shape),
                branch_shape=np.full(len(q), shape),
                flow_ratio=q,
                area_ratio=f,
                main_area_ratio=s,
            ),
            np.full(len(q), 4.0),
        ).value
        for is_branch in (True, False)
    )
    assert (q * branch + (1.0 - q) * main >= -1e-9).all()


@pytest.mark.parametrize("area", [0.25, 0.6])
def test_a_plain_branch_goes_evenly_to_the_tap_at_a_closed_end(area: float) -> None:
    """Of other entries no value is known there: they keep their table's last one."""
    found = [legs(q=q, f=area)[0] for q in (0.9, 0.99, 1.0 - 1e-6, 1.0)]
    assert found[3] == pytest.approx(1.2 / area**2)
    assert found[2] == pytest.approx(found[3], rel=1e-4)
    assert found[0] < found[1] < found[3]
    for entry in (TakeoffEntry.CONICAL, TakeoffEntry.ENTRY_45):
        near, last = (legs(q=q, f=area, entry=entry)[0] for q in (1.0 - 1e-7, 1.0))
        assert last == pytest.approx(near, rel=1e-5)


@pytest.mark.parametrize("common", [Shape.ROUND, Shape.RECTANGULAR])
def test_a_branch_led_to_the_tap_at_a_closed_end_is_credited_to_both(
    common: Shape,
) -> None:
    tables = [legs(q=q, common=common, branch=common)[1] for q in (0.9, 0.95, 1.0)]
    assert tables[1] == f"{tables[0]} and {tables[2]}"


@pytest.mark.parametrize("q", [0.92, 0.97, 1.0])
def test_no_degree_of_a_branch_that_takes_nearly_all_makes_a_jump(q: float) -> None:
    found = [legs(q=q, f=0.44, angle=a)[0] for a in np.arange(43.0, 92.0, 0.1)]
    rises = np.diff(found)
    assert (rises >= -1e-12).all()
    assert rises.max() < 0.05
    assert legs(q=1.0, f=0.44, angle=60.0)[0] == pytest.approx(1.2 / 0.44**2)


def test_a_branch_behind_a_wall_keeps_its_print_where_it_takes_nearly_all() -> None:
    # Idelchik 2006, table 7-5, v = 2: the wall leaves no closed end.
    where = {"flow": "diverging", "leg": "branch", "value": "2.0"}
    for row in rows_of("junction_split_main_wye", **where):
        parted = {"angle": float(row["angle_deg"]), "wall": True, "s": 0.525}
        value, table, _ = legs(q=0.95, f=0.475, **parted)  # type: ignore[arg-type]
        assert table == "junction_split_main_wye"
        assert value == pytest.approx(float(row["C"]), abs=0.005)


def test_a_tap_at_the_closed_end_is_an_elbow_on_its_own_velocity() -> None:
    # SMACNA HVAC Systems Duct Design 1990, section 8: 1.2 on the tap's velocity.
    value, _, _ = legs(q=1.0, f=0.5)
    assert value == pytest.approx(1.2 * 2.0**2)


@pytest.mark.parametrize(
    ("case", "note"),
    [
        ({"angle": 120.0}, Note.CLAMPED),
        ({"angle": 10.0}, Note.EXTENDED),
        ({"f": 1.4}, Note.EXTENDED),
        ({"common": Shape.RECTANGULAR, "f": 0.7}, Note.EXTENDED),
        ({"common": Shape.OVAL}, Note.FALLBACK),
        ({"joining": True, "f": 0.08}, Note.EXTENDED),
        ({"joining": True, "f": 0.1, "q": 0.9}, Note.SUSPECT),
        ({"joining": True, "angle": 120.0}, Note.CLAMPED),
        ({"joining": True, "s": 0.7}, Note.FALLBACK),
        ({"joining": True, "common": Shape.RECTANGULAR, "f": 0.2}, Note.FALLBACK),
        ({"joining": True, "common": Shape.RECTANGULAR, "angle": 30.0}, Note.FALLBACK),
    ],
    ids=lambda x: str(x)[:50],
)
def test_whatever_lies_outside_the_tables_is_noted(
    case: dict[str, object], note: Note
) -> None:
    assert legs(**case)[2] & int(note)  # type: ignore[arg-type]
    assert not legs(joining=bool(case.get("joining")))[2]


def test_branch_larger_than_the_main_keeps_its_real_velocity() -> None:
    # Factor A of f = 1 with v = q / f: 0.82 (1 + v²); and, of Borda and Carnot, what is
    # lost from 0.3 of the main's velocity in a hole as large as it to 0.2 behind it.
    value, _, _ = legs(q=0.3, f=1.5)
    assert value == pytest.approx(0.82 * (1.0 + 0.2**2) + (0.3 - 0.2) ** 2)


def test_rectangular_branch_beyond_the_triangle_takes_the_nearest_flow_ratio() -> None:
    # At v = 1 the print ends at q = 0.5.
    words = "90 deg tee, rectangular branch off rectangular main"
    found = junctions.rect_branch(words, [0.5, 0.8], [0.5, 0.8])
    assert found.value[1] == found.value[0]
    assert not found.notes[0] & int(Note.EXTENDED)
    assert found.notes[1] & int(Note.EXTENDED)


def test_rectangular_branch_above_the_table_grows_with_the_square_of_velocity() -> None:
    words = "90 deg tee, rectangular branch off rectangular main"
    found = junctions.rect_branch(words, 0.2, [0.2 / 1.8, 0.2 / 3.6])
    assert found.value[1] == pytest.approx(4.0 * found.value[0])


def test_a_cross_charges_each_branch_as_a_tee_and_the_main_once() -> None:
    both = np.array([[0.2], [0.3]])
    areas = np.array([[0.3], [0.4]])
    branches, main = junctions.cross(
        both, areas, np.ones(1), np.array([RIGHT]), Shape.ROUND, Shape.ROUND
    )
    alone = junctions.diverging_branch(both.ravel(), areas.ravel(), RIGHT)
    np.testing.assert_array_equal(branches.value, alone.value)
    assert main.value == pytest.approx(junctions.diverging_main(0.5, 0.7, 1.0).value)
    assert (branches.notes & int(Note.FALLBACK)).all()
    used = [branches.credits[number] for number in branches.credit.tolist()]
    assert [credit.confidence for credit in used] == ["low", "low"]


# --- the book


JUNCTIONS = [name for name in book.KINDS if name.startswith("junction")]


@pytest.mark.parametrize("name", JUNCTIONS)
def test_every_junction_of_the_book_gives_a_coefficient_for_each_leg(name: str) -> None:
    kind = book.find_kind(name)
    given = {"Qb_over_Qc": 0.3, "Ab_over_Ac": 0.5, "Qb2_over_Qc": 0.2}
    given["Ab2_over_Ac"] = 0.4
    wanted = {p.name: given[p.name] for p in kind.parameters if p.name in given}
    values, _ = book.complete(kind, wanted)
    found = kind.evaluate(values, float("nan"))
    assert len(found) >= 2
    for leg in found.values():
        assert isinstance(leg, Coefficient)
        assert leg.reference == "common"
        assert np.isfinite(leg.value).all()
        assert leg.source


def test_the_book_and_the_formula_agree_on_a_split() -> None:
    kind = book.find_kind("junction round converging")
    values, _ = book.complete(kind, {"Qb_over_Qc": 0.3, "Ab_over_Ac": 0.2})
    found = kind.evaluate(values, float("nan"))
    # Idelchik, diagram 7-4; Crane TP-410.
    assert found["branch"].value[0] == pytest.approx(2.27, abs=0.02)
    assert found["main"].value[0] == pytest.approx(1.55 * 0.3 - 0.09)


def test_a_cross_whose_branches_take_more_than_all_is_refused() -> None:
    kind = book.find_kind("junction-round-cross-diverging")
    given = {"Qb_over_Qc": 0.6, "Qb2_over_Qc": 0.6, "Ab_over_Ac": 0.5}
    values, _ = book.complete(kind, {**given, "Ab2_over_Ac": 0.5})
    with pytest.raises(LookupRefused, match="more than the whole flow"):
        kind.evaluate(values, float("nan"))


@pytest.mark.parametrize(
    ("entry", "common"),
    [
        (TakeoffEntry.CONICAL, Shape.ROUND),
        (TakeoffEntry.RADIUS, Shape.ROUND),
        (TakeoffEntry.RADIUS, Shape.RECTANGULAR),
    ],
)
@pytest.mark.parametrize("q", [0.2, 0.35, 0.5])
def test_a_better_entry_costs_no_more_than_a_plain_one_at_a_small_angle(
    entry: TakeoffEntry, common: Shape, q: float
) -> None:
    """Tables of one angle are held below it: the plain branch bounds them there."""
    angles = np.arange(5.0, 90.0, 0.5)
    eased = np.array(
        [
            legs(q=q, angle=a, entry=entry, common=common, branch=common)[0]
            for a in angles
        ]
    )
    plain = junctions.diverging_branch(q, 0.4, np.radians(angles)).value
    held = angles <= (30.0 if common == Shape.ROUND else 60.0)
    assert (eased[held] <= plain[held] + 1e-9).all()
    assert np.abs(np.diff(eased)).max() < 0.05
