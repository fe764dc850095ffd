"""Kinds of transition in the book of fittings."""

from . import contractions, expansions, transitions
from .kinds import FittingKind, Parameter, radians

_LARGER = Parameter("A_large_over_A_small", "large area over small area", 1.0, 100.0)
_SMALLER = Parameter("A_small_over_A_large", "small area over large area", 0.0, 1.0)
_OPENING = Parameter("angle_deg", "included angle, degrees", 1.0, 180.0, 30.0)


KINDS: tuple[FittingKind, ...] = (
    FittingKind(
        "contraction",
        "contraction, round or rectangular",
        (_LARGER, _OPENING),
        lambda v, _: contractions.contraction(v["A_large_over_A_small"], radians(v)),
        opens=False,
    ),
    FittingKind(
        "expansion-round-conical",
        "conical expansion in round duct, with its own friction",
        (_SMALLER, _OPENING),
        lambda v, _: expansions.expansion_round(v["A_small_over_A_large"], radians(v)),
        opens=True,
    ),
    FittingKind(
        "expansion-rect-pyramidal",
        "rectangular expansion, all four sides opening",
        (_LARGER, _OPENING),
        lambda v, _: expansions.expansion_rect(v["A_large_over_A_small"], radians(v)),
        opens=True,
    ),
    FittingKind(
        "expansion-rect-one-plane",
        "rectangular expansion, two sides parallel",
        (_LARGER, _OPENING),
        lambda v, _: expansions.expansion_rect(
            v["A_large_over_A_small"], radians(v), True
        ),
        opens=True,
    ),
    FittingKind(
        "contraction-sudden",
        "sudden contraction",
        (_SMALLER,),
        lambda v, _: contractions.contraction_abrupt(v["A_small_over_A_large"]),
        opens=False,
    ),
    FittingKind(
        "expansion-sudden",
        "sudden expansion",
        (_SMALLER,),
        lambda v, _: expansions.expansion_abrupt(v["A_small_over_A_large"]),
        opens=True,
    ),
    FittingKind(
        "change-of-shape",
        "change of shape at the same area: an allowance, as nothing is published",
        (),
        lambda _v, _re: transitions.same_area(1),
    ),
)
