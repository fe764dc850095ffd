"""Changes of section against the printed tables, limits, and a reference library."""

from collections.abc import Callable

import fluids.fittings
import numpy as np
import numpy.typing as npt
import pytest
from prints import columns, rows_of

from elbowroom.layout import Shape
from elbowroom.physics import Coefficient, LookupRefused, Note, transitions

ROUND, RECT, OVAL = Shape.ROUND, Shape.RECTANGULAR, Shape.OVAL
Array = npt.NDArray[np.float64]


def test_contraction_is_read_back_at_both_ends_of_each_band() -> None:
    # SMACNA HVAC Systems Duct Design 1990, table 14-12 A.
    ratio, low, high, printed = columns(
        "contraction", {}, "A_large_over_A_small", "angle_min_deg", "angle_max_deg", "C"
    )
    for angle in (low, high, (low + high) / 2):
        found = transitions.contraction(ratio, np.radians(angle))
        np.testing.assert_allclose(found.value, printed, rtol=1e-9)
    assert found.reference == "downstream"


def test_conical_expansion_is_read_back() -> None:
    # Idelchik 1986, diagram 5-2, even profile at the inlet.
    name = "expansion_round_conical_idelchik"
    ratio, angle, printed = columns(name, {}, "A_small_over_A_large", "angle_deg", "C")
    found = transitions.expansion_round(ratio, np.radians(angle), friction=False)
    np.testing.assert_allclose(found.value, printed, rtol=1e-9)


def test_friction_of_a_cone_is_read_back() -> None:
    # Idelchik 1986, diagram 5-2, friction at a factor of 0.02.
    ratio, angle, printed = columns(
        "cone_friction_idelchik", {}, "A_small_over_A_large", "angle_deg", "C"
    )
    keep = ratio <= 0.6
    turned = np.radians(angle[keep])
    whole, bare = (
        transitions.expansion_round(ratio[keep], turned, friction=rubs).value
        for rubs in (True, False)
    )
    np.testing.assert_allclose(whole - bare, printed[keep], atol=1e-12)


@pytest.mark.parametrize("one_plane", [False, True])
def test_rectangular_expansion_is_read_back(one_plane: bool) -> None:
    # ASHRAE Handbook Fundamentals 1977-1989 and 1993-2009 (from memory).
    name = f"expansion_rect_{'one_plane' if one_plane else 'pyramidal'}"
    ratio, angle, printed = columns(name, {}, "A_large_over_A_small", "angle_deg", "C")
    found = transitions.expansion_rect(ratio, np.radians(angle), one_plane)
    np.testing.assert_allclose(found.value, printed, rtol=1e-9)
    assert found.table == name


def test_second_table_of_cones_is_read_back_and_its_misprint_noted() -> None:
    # ASHRAE Handbook Fundamentals 1977-1989 (from memory). Ratio 6 at 45 degrees and
    # Reynolds 2e5 breaks the trend.
    ratio, angle, re, printed = columns(
        "expansion_round_conical", {}, "A_large_over_A_small", "angle_deg", "Re", "C"
    )
    found = transitions.expansion_round_by_reynolds(ratio, np.radians(angle), re)
    np.testing.assert_allclose(found.value, printed, rtol=1e-9)
    doubted = (ratio == 6.0) & (angle == 45.0) & (re == 2e5)
    noted = (found.notes & int(Note.SUSPECT_PRINT)) > 0
    np.testing.assert_array_equal(noted, doubted)


def test_second_table_of_cones_is_bridged_on_the_logarithm_of_reynolds() -> None:
    at = [5e4, 1e5, 2e5, 1e7]
    found = transitions.expansion_round_by_reynolds(4.0, np.radians(30.0), at)
    # Half-way between 0.46 and 0.36 on the logarithm; above the table its end, 0.38.
    np.testing.assert_allclose(found.value, [0.46, 0.41, 0.36, 0.38], rtol=1e-9)
    assert found.notes[3] & int(Note.CLAMPED)
    with pytest.raises(LookupRefused, match="take expansion_round"):
        transitions.expansion_round_by_reynolds(4.0, np.radians(10.0), 1e5)


@pytest.mark.parametrize("direction", ["expansion", "contraction"])
def test_sudden_change_of_area_follows_its_table(direction: str) -> None:
    # Idelchik 1986, diagrams 4-1 and 4-9, four decimals.
    rows = rows_of("abrupt_area_change", direction=direction)
    share, printed = (
        np.array([float(row[name]) for row in rows])
        for name in ("A_small_over_A_large", "C")
    )
    work = {
        "expansion": transitions.expansion_abrupt,
        "contraction": transitions.contraction_abrupt,
    }[direction]
    np.testing.assert_allclose(work(share).value, printed, atol=5e-5)
    with pytest.raises(LookupRefused, match="from 0 to 1"):
        work(1.2)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
def test_sudden_expansion_agrees_with_a_library(share: float) -> None:
    # fluids, Borda-Carnot.
    there = fluids.fittings.diffuser_sharp(Di1=share**0.5, Di2=1.0)
    ours = transitions.expansion_abrupt(share).value[0]
    assert ours == pytest.approx(there, abs=1e-12)


@pytest.mark.parametrize("share", [0.2, 0.4, 0.5])
@pytest.mark.parametrize("degrees", [6.0, 10.0, 20.0, 40.0, 90.0, 180.0])
def test_conical_expansion_agrees_with_a_library(share: float, degrees: float) -> None:
    # fluids, from Idelchik's diagram with its own reading of the friction: it keeps
    # 0.01 beyond 20 degrees, where it is left out here.
    there = fluids.fittings.diffuser_conical(
        share**0.5, 1.0, angle=degrees, Re=1e6, fd=0.02, method="Idelchik"
    )
    ours = transitions.expansion_round(share, np.radians(degrees)).value[0]
    assert ours == pytest.approx(there, abs=0.011)


@pytest.mark.parametrize("share", [0.1, 0.2, 0.4])
def test_sudden_contraction_agrees_with_a_library(share: float) -> None:
    # fluids, Idelchik's contraction; the table and the formula within 0.035 of it.
    there = fluids.fittings.contraction_conical(
        1.0, share**0.5, angle=180.0, Re=1e6, fd=0.02, method="Idelchik"
    )
    table = transitions.contraction(1.0 / share, np.pi).value[0]
    formula = transitions.contraction_abrupt(share).value[0]
    assert table == pytest.approx(there, abs=0.035)
    assert formula == pytest.approx(there, abs=0.035)


def test_sudden_expansions_of_all_tables_meet_borda_and_carnot() -> None:
    # (1 - 1/ratio)²; the cones of the table within 0.03, the recalled rectangular ones
    # within 0.1.
    ratio = np.array([2.0, 4.0, 6.0, 10.0])
    exact = (1.0 - 1.0 / ratio) ** 2
    cone = transitions.expansion_round(1.0 / ratio, np.pi).value
    np.testing.assert_allclose(cone, exact, atol=0.03)
    np.testing.assert_allclose(
        transitions.expansion_rect(ratio, np.pi).value, exact, atol=0.1
    )


def test_the_less_an_expansion_opens_the_less_it_loses() -> None:
    ratio = np.linspace(1.0, 10.0, 60)
    for degrees in (10.0, 20.0, 60.0):
        angle = np.radians(degrees)
        works: list[Callable[[Array], Coefficient]] = [
            lambda r, a=angle: transitions.expansion_round(1.0 / r, a),  # type: ignore[misc]
            lambda r, a=angle: transitions.expansion_rect(r, a),  # type: ignore[misc]
            lambda r, a=angle: transitions.expansion_rect(r, a, True),  # type: ignore[misc]
        ]
        for work in works:
            loss = work(ratio).value
            assert loss[0] == 0.0
            # 0.021: two neighbours of one recalled table are out of order by 0.02.
            assert (np.diff(loss) > -0.021).all()
            assert loss[-1] > loss[10] > loss[0]


OPENING: dict[str, Callable[[Array, float], Coefficient]] = {
    "cone": lambda s, a: transitions.expansion_round(s, a, friction=False),
    "cone by reynolds": lambda s, a: transitions.expansion_round_by_reynolds(
        1.0 / s, a, 1e5
    ),
    "pyramid": lambda s, a: transitions.expansion_rect(1.0 / s, a),
    "one plane": lambda s, a: transitions.expansion_rect(1.0 / s, a, True),
}


@pytest.mark.parametrize("work", OPENING.values(), ids=OPENING)
@pytest.mark.parametrize("degrees", [20.0, 45.0, 90.0])
def test_a_mild_expansion_loses_what_its_table_takes_of_a_sudden_one(
    work: Callable[[Array, float], Coefficient], degrees: float
) -> None:
    # Crane TP-410 by fluids: 2.6 sin(angle/2) (1 - s)² to 45 degrees, (1 - s)² beyond;
    # over the area its share of a sudden expansion stays the same.
    shares = np.array([0.6, 0.7, 0.8, 0.9, 0.99])
    there = [
        fluids.fittings.diffuser_conical(
            s**0.5, 1.0, angle=degrees, fd=0.02, Re=1e6, method="Crane"
        )
        for s in shares
    ]
    ours = work(shares, np.radians(degrees)).value
    np.testing.assert_allclose(ours / ours[0], np.array(there) / there[0], rtol=1e-6)
    assert work(np.ones(1), np.radians(degrees)).value[0] == 0.0


def test_friction_of_a_cone_that_hardly_opens_follows_its_formula() -> None:
    # Idelchik 1986, diagram 5-2: 0.02 / (8 sin(angle/2)) (1 - s²); the print at 0.6
    # has two decimals.
    shares, turn = np.array([0.7, 0.8, 0.95]), np.radians(6.0)
    whole, bare = (
        transitions.expansion_round(shares, turn, friction=rubs).value
        for rubs in (True, False)
    )
    exact = 0.02 / (8.0 * np.sin(turn / 2)) * (1.0 - shares**2)
    np.testing.assert_allclose(whole - bare, exact, atol=0.005)


def test_little_contraction_holds_the_value_of_ratio_two_and_says_so() -> None:
    # SMACNA HVAC Systems Duct Design 1990, ch. 7, worked example: 20 to 18 in, 60
    # degrees, 0.06.
    found = transitions.contraction(1.23, np.radians(60.0))
    assert found.value[0] == pytest.approx(0.06)
    assert found.notes[0] & int(Note.CLAMPED)


def test_included_angles_of_a_piece() -> None:
    wide, tall = transitions.included_angles(0.3, 0.3, 0.5, 0.3, [0.1, 0.0])
    # Exact: 0.1 m to each side over 0.1 m is 45 degrees; over nothing, 90.
    np.testing.assert_allclose(wide, np.radians([90.0, 180.0]))
    np.testing.assert_array_equal(tall, 0.0)


def test_equivalent_angle_between_round_and_rectangular() -> None:
    # ASHRAE Handbook Fundamentals 1977-1989 (from memory): tan(angle/2) =
    # (D - 1.13 sqrt(H W)) / (2 L); 1.13 sqrt(HW) is the diameter of the same area.
    diameter = 2.0 / np.sqrt(np.pi) * 0.4
    assert transitions.round_to_rect_angle(diameter, 0.4, 0.4, 1.0) < 0.002
    angle = transitions.round_to_rect_angle(0.6, 0.4, 0.4, 0.5)
    assert np.tan(angle / 2) == pytest.approx((0.6 - 1.13 * 0.4) / 1.0)


def test_each_transition_takes_its_own_table() -> None:
    sections = [
        # in, out, length, table
        ((ROUND, 0.3, 0.3), (ROUND, 0.2, 0.2), 0.3, "contraction"),
        ((ROUND, 0.2, 0.2), (ROUND, 0.3, 0.3), 0.3, "expansion_round_conical_idelchik"),
        ((RECT, 0.3, 0.3), (RECT, 0.4, 0.4), 0.3, "expansion_rect_pyramidal"),
        ((RECT, 0.3, 0.3), (RECT, 0.5, 0.3), 0.3, "expansion_rect_one_plane"),
        ((RECT, 0.3, 0.3), (ROUND, 0.5, 0.5), 0.3, "expansion_rect_pyramidal"),
        ((ROUND, 0.3, 0.3), (RECT, 0.5, 0.5), 0.3, "expansion_rect_pyramidal"),
        ((RECT, 0.5, 0.5), (ROUND, 0.3, 0.3), 0.3, "contraction"),
        ((RECT, 0.3, 0.3), (RECT, 0.6, 0.15), 0.3, "allowance"),
        ((OVAL, 0.3, 0.2), (OVAL, 0.3, 0.2), 0.3, "formula: no change of section"),
        ((OVAL, 0.3, 0.2), (OVAL, 0.2, 0.2), 0.3, "contraction"),
    ]
    before = np.array([one for one, _, _, _ in sections])
    after = np.array([two for _, two, _, _ in sections])
    length = np.array([run for _, _, run, _ in sections])
    (s1, w1, h1), (s2, w2, h2) = before.T, after.T
    found = transitions.transition(s1, w1, h1, s2, w2, h2, length)
    names = [found.credits[credit].table for credit in found.credit]
    assert names == [table for *_, table in sections]
    for row, (one, two, run, _) in enumerate(sections):
        alone = transitions.transition(*one, *two, run)
        assert alone.value[0] == found.value[row]
    assert found.value[7] == transitions.SAME_AREA
    assert found.value[8] == 0.0
    borrowed = [bool(note & int(Note.FALLBACK)) for note in found.notes]
    assert borrowed == [False] * 7 + [True, False, True]


def test_transition_of_two_rectangles_is_the_expansion_it_is() -> None:
    found = transitions.transition(RECT, 0.3, 0.3, RECT, 0.5, 0.3, 0.4)
    angle = 2 * np.arctan(0.1 / 0.4)
    same = transitions.expansion_rect(5.0 / 3.0, angle, True)
    assert found.value[0] == pytest.approx(same.value[0], rel=1e-12)


def test_a_flat_oval_has_two_sides_where_it_goes_on_in_a_rectangle() -> None:
    """300x300 to 800x300, either way: one pair of sides stays parallel."""
    angle = 2 * np.arctan(0.25 / 0.5)
    for one, other in ((RECT, OVAL), (OVAL, RECT)):
        found = transitions.transition(one, 0.3, 0.3, other, 0.8, 0.3, 0.5)
        names = [found.credits[credit].table for credit in found.credit]
        assert names == ["expansion_rect_one_plane"]
        curved = 0.3**2 * (1 - np.pi / 4)
        areas = [w * 0.3 - curved * (s == OVAL) for s, w in ((one, 0.3), (other, 0.8))]
        same = transitions.expansion_rect(areas[1] / areas[0], angle, True)
        assert found.value[0] == pytest.approx(same.value[0], rel=1e-12)


def test_a_flat_oval_is_as_wide_to_a_round_duct_as_the_round_one_of_its_area() -> None:
    area = 0.3 * 0.2 + np.pi / 4 * 0.2**2
    twin = 1.13 * np.sqrt(area)
    assert twin == pytest.approx(np.sqrt(4 / np.pi * area), rel=2e-3)
    angle = 2 * np.arctan((twin - 0.2) / 2 / 0.3)
    found = transitions.transition(ROUND, 0.2, 0.2, OVAL, 0.5, 0.2, 0.3)
    same = transitions.expansion_rect(area / (np.pi / 4 * 0.2**2), angle)
    assert found.value[0] == pytest.approx(same.value[0], rel=1e-12)


@pytest.mark.parametrize("one", [ROUND, RECT, OVAL])
@pytest.mark.parametrize("other", [ROUND, RECT, OVAL])
def test_which_side_is_called_the_width_changes_nothing(one: int, other: int) -> None:
    sides = np.array([0.15, 0.3, 0.31, 0.4, 0.8])
    w1, h1, w2, h2, length = (
        axis.ravel() for axis in np.meshgrid(*[sides] * 4, [0.0, 0.2, 1.0])
    )
    h1 = w1 if one == ROUND else h1
    h2 = w2 if other == ROUND else h2
    found = transitions.transition(one, w1, h1, other, w2, h2, length)
    turned = transitions.transition(one, h1, w1, other, h2, w2, length)
    np.testing.assert_allclose(turned.value, found.value, rtol=1e-12)
    np.testing.assert_array_equal(turned.notes, found.notes)


def test_longer_transition_never_loses_more_while_it_is_steep() -> None:
    length = np.linspace(0.0, 0.4, 50)
    for out in ((ROUND, 0.4, 0.4), (ROUND, 0.15, 0.15)):
        found = transitions.transition(ROUND, 0.2, 0.2, *out, length).value
        # A cone of 60 to 90 degrees loses a little more than a sudden expansion.
        assert (np.diff(found[length > 0.2]) <= 1e-12).all()


def _lost(w1: float, h1: float, w2: float, h2: float, length: float) -> float:
    """Coefficient of a change between two rectangles."""
    r = int(Shape.RECTANGULAR)
    return float(transitions.transition(r, w1, h1, r, w2, h2, length).value[0])


@pytest.mark.parametrize("length", [0.0, 0.1, 0.3, 1.0])
def test_the_more_a_duct_is_squeezed_the_more_it_loses(length: float) -> None:
    """No step at 1 % of a side or at 2 % of the area, and no way back."""
    heights = np.linspace(0.296, 0.15, 293)
    squeezed = np.array([_lost(0.6, 0.3, 0.6, h, length) for h in heights])
    widened = np.array([_lost(0.6, h, 0.6, 0.3, length) for h in heights])
    for lost in (squeezed, widened):
        assert (np.diff(lost) >= -1e-12).all()
        assert (np.diff(lost) < 0.01).all()
    # Idelchik 1986, diagram 4-9: no more than a sudden contraction.
    share = heights / 0.3
    assert (squeezed <= 0.5 * (1 - share) ** 0.75 + 1e-12).all()


def test_a_change_of_shape_gives_way_to_the_change_of_area() -> None:
    """600 by 300 to 450 by 400 has one area; more of a change never loses less."""
    heights = np.linspace(0.40, 0.48, 161)
    opens = np.array([_lost(0.6, 0.3, 0.45, h, 0.3) for h in heights])
    closes = np.array([_lost(0.45, h, 0.6, 0.3, 0.3) for h in heights])
    assert (np.abs(np.diff(opens)) < 0.002).all()
    assert (np.abs(np.diff(closes)) < 0.002).all()
    assert opens[0] == closes[0] == transitions.SAME_AREA
    assert np.diff(opens).min() >= 0.0


@pytest.mark.parametrize("length", [0.0, 0.3, 0.6, 2.0])
@pytest.mark.parametrize("turned", [False, True])
def test_a_change_of_shape_loses_no_less_as_its_area_changes(
    length: float, turned: bool
) -> None:
    """D400 to a rectangle 300 high: at 10 % more area an eighth was left of it."""
    ratio = np.linspace(1.0, 1.5, 251)
    wide = np.pi * 0.04 * (ratio if not turned else 1.0 / ratio) / 0.3
    found = transitions.transition(ROUND, 0.4, 0.4, RECT, wide, 0.3, length).value
    assert found[0] == transitions.SAME_AREA
    assert np.diff(found).min() >= 0.0
    assert np.diff(found).max() < 0.01


@pytest.mark.parametrize("length", [0.0, 0.3, 2.0])
@pytest.mark.parametrize(("wide", "height"), [(0.8, 0.25), (0.41, 0.25), (0.38, 0.25)])
def test_no_millimetre_of_the_second_side_makes_a_jump(
    wide: float, height: float, length: float
) -> None:
    """400 by 250: neither two tables nor the allowance begin at once."""
    heights = height * np.linspace(0.93, 1.07, 701)
    lost = [_lost(0.4, height, wide, h, length) for h in heights]
    assert np.abs(np.diff(lost)).max() < 0.004


@pytest.mark.parametrize("length", [0.0, 0.02, 0.3, 2.0])
@pytest.mark.parametrize("shape", [ROUND, RECT])
def test_no_tenth_of_a_millimetre_makes_a_contraction_begin_at_once(
    shape: Shape, length: float
) -> None:
    """A side of 400 mm down to 360: 1 % of it was a step of 0.016 to 0.026."""
    sizes = 0.4 * np.linspace(1.0, 0.9, 401)
    height = sizes if shape == ROUND else np.full(401, 0.25)
    found = transitions.transition(
        shape, 0.4, height[0], shape, sizes, height, length
    ).value
    assert np.abs(np.diff(found)).max() < 0.0015
    assert (np.diff(found) >= -1e-12).all()
    # From 5 % on it is the table's own.
    angle = transitions.included_angles(0.4, height[0], sizes, height, length)
    table = transitions.contraction(
        (0.4 / sizes) * (height[0] / height), np.maximum(*angle)
    ).value
    whole = sizes <= 0.38
    np.testing.assert_allclose(found[whole], table[whole], rtol=1e-12)
    assert (found[sizes > 0.396] == 0.0).all()


@pytest.mark.parametrize(
    ("width", "note"),  # 5 % of the side is 380 mm
    [(0.392, Note.EXTENDED), (0.381, Note.EXTENDED), (0.379, Note.CLAMPED)],
)
def test_a_contraction_that_counts_in_part_is_not_called_its_tables_end(
    width: float, note: Note
) -> None:
    found = transitions.transition(RECT, 0.4, 0.2, RECT, width, 0.2, 0.01)
    assert Note(int(found.notes[0])) & (Note.EXTENDED | Note.CLAMPED) == note


@pytest.mark.parametrize(("share", "beyond"), [(0.59, False), (0.61, True)])
def test_a_cone_past_the_last_row_is_said_to_be_outside_the_table(
    share: float, beyond: bool
) -> None:
    """Idelchik's cones end at small over large 0.6, rectangular ones at 1 : 2."""
    turn = np.radians(10.0)
    of_round = transitions.expansion_round(share, turn)
    assert bool(of_round.notes[0] & int(Note.EXTENDED)) == beyond
    ratio = 1.99 if beyond else 2.01
    for flat in (True, False):
        rect = transitions.expansion_rect(ratio, turn, flat)
        assert bool(rect.notes[0] & int(Note.EXTENDED)) == beyond


def test_between_one_plane_and_two_the_tables_are_blended() -> None:
    r = int(Shape.RECTANGULAR)
    found = [
        transitions.transition(r, 0.4, 0.25, r, 0.8, h, 0.3)
        for h in (0.2524, 0.2575, 0.2626)
    ]
    names = [one.credits[one.credit[0]].table for one in found]
    plane, pyramid = "expansion_rect_one_plane", "expansion_rect_pyramidal"
    assert names == [plane, f"{pyramid} and {plane}", pyramid]
    assert found[1].notes[0] & int(Note.INTERPOLATED)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_the_friction_of_a_cone_fades_out_where_its_table_ends(share: float) -> None:
    turn = np.radians(np.linspace(15.0, 35.0, 401))
    cone = transitions.expansion_round(share, turn).value
    assert np.abs(np.diff(cone)).max() < 0.006
