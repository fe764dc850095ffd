"""The book of fittings: every kind by name, from dimensions to a coefficient."""

import numpy as np
import pytest

from elbowroom.physics import Coefficient, LookupRefused, book, elbows

REFERENCES = {"upstream", "downstream", "small area", "duct", "common"}


def _middle(kind: book.FittingKind) -> dict[str, float]:
    """Parameters in the middle of their ranges, whole where they count things."""
    out = {}
    for p in kind.parameters:
        if p.default is None:
            middle = (p.low + min(p.high, p.low + 1.0)) / 2.0
            out[p.name] = float(round(middle)) if p.whole else middle
    return out


@pytest.mark.parametrize("name", book.KINDS)
def test_every_fitting_of_the_book_has_a_coefficient_with_its_source(name: str) -> None:
    kind = book.find_kind(name)
    values, _ = book.complete(kind, _middle(kind))
    for found in kind.evaluate(values, 1e5).values():
        assert isinstance(found, Coefficient)
        assert found.value.shape == (1,)
        assert np.isfinite(found.value).all()
        assert found.reynolds_factor[0] >= 1.0
        assert found.source
        assert found.reference in REFERENCES
        assert found.confidence in {
            "cross-checked",
            "seen",
            "common practice",
            "memory",
            "low",
        }


@pytest.mark.parametrize("name", book.KINDS)
def test_every_name_is_words_with_dashes_and_explains_itself(name: str) -> None:
    kind = book.KINDS[name]
    assert name == name.lower().strip("-")
    assert " " not in name
    assert "_" not in name
    assert len(kind.what) > len("elbow")
    for parameter in kind.parameters:
        assert parameter.what
        assert parameter.low < parameter.high


@pytest.mark.parametrize(
    "text", ["rect elbow smooth", "RECT_ELBOW_SMOOTH", " rect-elbow  smooth "]
)
def test_a_fitting_is_found_however_its_words_are_joined(text: str) -> None:
    assert book.find_kind(text).name == "rect-elbow-smooth"


def test_a_misspelt_fitting_gets_the_nearest_name() -> None:
    with pytest.raises(LookupRefused, match="did you mean 'round-elbow-mitred'"):
        book.find_kind("round elbow mitered")


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({}, "needs r_over_W"),
        ({"r_over_W": 0.3, "H_over_W": 1.0}, "takes 0.5 to 20"),
        ({"r_over_W": float("nan"), "H_over_W": 1.0}, "takes 0.5 to 20"),
        ({"r_over_W": 1.0, "H_overW": 1.0}, "did you mean 'H_over_W'"),
    ],
)
def test_wrong_parameters_are_refused(given: dict[str, float], message: str) -> None:
    with pytest.raises(LookupRefused, match=message):
        book.complete(book.find_kind("rect-elbow-smooth"), given)


def test_a_right_angle_is_assumed_and_said() -> None:
    kind = book.find_kind("rect-elbow-smooth")
    values, assumed = book.complete(kind, {"r_over_W": 1.0, "H_over_W": 1.0})
    assert values["angle_deg"] == 90.0
    assert assumed == ("angle_deg",)


@pytest.mark.parametrize(
    ("name", "sizes", "expected"),
    [
        (
            "rect-elbow-smooth",
            book.Dimensions(width=0.4, height=0.2, radius=0.2, angle=np.pi / 4),
            {"r_over_W": 1.0, "H_over_W": 0.5, "angle_deg": 45.0},
        ),
        (
            "rect-elbow-splitters",
            book.Dimensions(width=0.4, height=0.2, centreline_radius=0.3, splitters=2),
            {"splitter_count": 2.0, "throat_R_over_W": 0.25, "H_over_W": 0.5},
        ),
        (
            "round-elbow-segmented",
            book.Dimensions(diameter=0.3, centreline_radius=0.45, pieces=4),
            {"pieces": 4.0, "r_over_D": 1.5},
        ),
        (
            "round-elbow-pleated-by-diameter",
            book.Dimensions(diameter=0.2),
            {"diameter_mm": 200.0},
        ),
        (
            # 0.2 m to 0.4 m over 0.1 m opens by 90 degrees; the areas are as 1 to 4.
            "expansion-round-conical",
            book.Dimensions(diameter=0.2, outlet_diameter=0.4, length=0.1),
            {"A_small_over_A_large": 0.25, "angle_deg": 90.0},
        ),
        (
            "contraction",
            book.Dimensions(
                width=0.4, height=0.4, outlet_width=0.2, outlet_height=0.2, length=0.1
            ),
            {"A_large_over_A_small": 4.0, "angle_deg": 90.0},
        ),
        (
            "rect-elbow-mitred-area-change",
            book.Dimensions(width=0.4, height=0.2, outlet_width=0.5),
            {"W_out_over_W_in": 1.25, "H_over_W_in": 0.5},
        ),
        (
            "exit-after-elbow",
            book.Dimensions(width=0.4, height=0.2, radius=0.0, length=0.4),
            {"r_over_W": 0.5, "L_after_over_W": 1.0},
        ),
        (
            "entry-duct-in-wall",
            book.Dimensions(diameter=0.2, thickness=0.01, length=0.1),
            {"t_over_D": 0.05, "L_over_D": 0.5},
        ),
        (
            "exit-diffuser-conical",
            book.Dimensions(diameter=0.2, outlet_diameter=0.4, angle=np.pi / 12),
            {"A_out_over_A_duct": 4.0, "angle_deg": 15.0},
        ),
        ("exit-abrupt", book.Dimensions(diameter=0.2), {}),
        ("contraction", book.Dimensions(diameter=0.2), {}),
    ],
)
def test_dimensions_of_the_shop_become_parameters_of_the_table(
    name: str, sizes: book.Dimensions, expected: dict[str, float]
) -> None:
    found = book.from_dimensions(book.find_kind(name), sizes)
    assert found == pytest.approx(expected)


def test_a_branch_is_known_by_its_flow_and_size() -> None:
    kind = next(k for n, k in book.KINDS.items() if n.startswith("junction-round"))
    sizes = book.Dimensions(
        diameter=0.4, outlet_diameter=0.2, flow=0.5, branch_flow=0.1
    )
    found = book.from_dimensions(kind, sizes)
    assert found["Qb_over_Qc"] == pytest.approx(0.2)
    assert found["Ab_over_Ac"] == pytest.approx(0.25)


def test_from_the_shop_to_the_loss() -> None:
    # ASHRAE Handbook Fundamentals 2005, p. 35.52: r/W 0.75, H/W 1, 0.44.
    kind = book.find_kind("rect elbow smooth")
    sizes = book.Dimensions(width=0.4, height=0.4, radius=0.1)
    values, _ = book.complete(kind, book.from_dimensions(kind, sizes))
    found = kind.evaluate(values, float("nan"))[""]
    assert found.value[0] == pytest.approx(0.44)
    assert found.reynolds_factor[0] == 1.0


def test_the_book_gives_what_the_functions_give() -> None:
    kind = book.find_kind("round elbow pleated by diameter")
    values, _ = book.complete(kind, {"diameter_mm": 250.0, "angle_deg": 60.0})
    alone = elbows.round_by_diameter("pleated", 0.25, np.pi / 3)
    assert kind.evaluate(values, 1e5)[""].value[0] == alone.value[0]


@pytest.mark.parametrize(
    "given", [{"width": 0.0}, {"height": -1.0}, {"angle": float("nan")}]
)
def test_a_size_that_cannot_be_is_refused(given: dict[str, float]) -> None:
    with pytest.raises(LookupRefused, match="make it more than 0"):
        book.Dimensions(**given)
