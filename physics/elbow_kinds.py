"""Kinds of elbow in the book of fittings."""

from functools import partial

import numpy as np

from elbowroom.layout import ELBOW_PIECES

from . import elbows
from .coefficient import Coefficient
from .kinds import FittingKind, Parameter, Values, radians

_R_W = Parameter("r_over_W", "centreline radius over side in the plane", 0.5, 20.0)
_H_W = Parameter(
    "H_over_W", "side along the bend's axis over that in its plane", 0.05, 20
)
_ANGLE = Parameter("angle_deg", "angle of turn, degrees", 0.0, 180.0, 90.0)
_ACUTE = Parameter("angle_deg", "angle of turn, degrees", 0.0, 90.0, 90.0)
_R_D = Parameter("r_over_D", "centreline radius over diameter", 0.5, 20.0)
_THROAT = Parameter("throat_R_over_W", "throat radius over W", 0.0, 20.0)
_PIECES = Parameter(
    "pieces", "number of pieces", min(ELBOW_PIECES), max(ELBOW_PIECES), 5.0, True
)
_DIAMETER = Parameter("diameter_mm", "diameter, mm", 50.0, 2000.0)
_DETAILS = {
    "stamped": "stamped round elbow, r/D 1.5, by its size",
    "pleated": "pleated round elbow, r/D 1.5, by its size",
    "3_gore": "round elbow of 3 gores, r/D 1.5, by its size",
    "5_gore": "round elbow of 5 gores, r/D 1.5, by its size",
    "7_gore": "round elbow of 7 gores, r/D 2.5, by its size",
}


def _re(reynolds: float) -> float | None:
    return None if np.isnan(reynolds) else reynolds


def _rectangular() -> list[FittingKind]:
    turn = (_H_W, _ANGLE)

    def vanes(double: bool) -> Parameter:
        closest = 1000 * elbows.vane_spacings(double)[0]
        name, words = "vane_spacing_mm", "distance of the vanes, mm"
        return Parameter(name, words, 20, 120, closest)

    return [
        FittingKind(
            "rect-elbow-smooth",
            "rectangular elbow with a radius throat and heel",
            (_R_W, *turn),
            lambda v, re: elbows.rect_smooth(
                v["r_over_W"], v["H_over_W"], radians(v), _re(re)
            ),
        ),
        FittingKind(
            "rect-elbow-mitred",
            "rectangular elbow with a square throat and a square heel",
            turn,
            lambda v, re: elbows.rect_mitred(v["H_over_W"], radians(v), _re(re)),
        ),
        FittingKind(
            "rect-elbow-square-throat",
            "rectangular elbow with a square throat and a radius heel",
            turn,
            lambda v, re: elbows.rect_square_throat(v["H_over_W"], radians(v), _re(re)),
        ),
        FittingKind(
            "rect-elbow-square-heel",
            "rectangular elbow with a radius throat and a square heel",
            (_THROAT, *turn),
            lambda v, _: elbows.rect_square_heel(
                v["throat_R_over_W"], v["H_over_W"], radians(v)
            ),
        ),
        FittingKind(
            "rect-elbow-splitters",
            "rectangular elbow with a radius throat and splitter vanes",
            (
                Parameter("splitter_count", "number of splitters", 1, 3, 1.0, True),
                Parameter("throat_R_over_W", "throat radius over W", 0.05, 20.0),
                _H_W,
                _ACUTE,
            ),
            lambda v, _: elbows.rect_splitters(
                int(v["splitter_count"]),
                v["throat_R_over_W"],
                v["H_over_W"],
                radians(v),
            ),
        ),
        FittingKind(
            "rect-elbow-single-vanes",
            "mitred rectangular elbow with single-thickness turning vanes",
            (vanes(double=False), _ANGLE),
            lambda v, _: elbows.rect_vaned(
                False, v["vane_spacing_mm"] / 1000, radians(v)
            ),
        ),
        FittingKind(
            "rect-elbow-double-vanes",
            "mitred rectangular elbow with double-thickness turning vanes",
            (vanes(double=True), _ANGLE),
            lambda v, _: elbows.rect_vaned(
                True, v["vane_spacing_mm"] / 1000, radians(v)
            ),
        ),
        FittingKind(
            "rect-elbow-mitred-area-change",
            "mitred rectangular elbow of 90 degrees with an outlet of another width",
            (
                Parameter(
                    "W_out_over_W_in", "width of the outlet over that before", 0.3, 4.0
                ),
                Parameter("H_over_W_in", "side along the axis over width", 0.05, 20.0),
            ),
            lambda v, re: elbows.rect_mitred_area_change(
                v["W_out_over_W_in"], v["H_over_W_in"], _re(re)
            ),
        ),
    ]


def _round() -> list[FittingKind]:
    return [
        FittingKind(
            "round-elbow",
            "smooth round elbow",
            (_R_D, _ANGLE),
            lambda v, _: elbows.round_smooth(v["r_over_D"], radians(v)),
        ),
        FittingKind(
            "round-elbow-segmented",
            "round elbow of mitred pieces",
            (_PIECES, _R_D, _ANGLE),
            lambda v, _: elbows.round_segmented(
                int(v["pieces"]), v["r_over_D"], radians(v)
            ),
        ),
        FittingKind(
            "round-elbow-mitred",
            "mitred round elbow",
            (_ACUTE,),
            lambda v, re: elbows.round_mitred(radians(v), _re(re)),
        ),
        FittingKind(
            "flat-oval-elbow-smooth",
            "smooth flat oval elbow; the round one stands in",
            (_R_W, _ANGLE),
            lambda v, _: elbows.flat_oval_smooth(v["r_over_W"], radians(v)),
        ),
        FittingKind(
            "flat-oval-elbow-segmented",
            "flat oval elbow of pieces; the round one stands in",
            (_PIECES, _R_W, _ANGLE),
            lambda v, _: elbows.flat_oval_segmented(
                int(v["pieces"]), v["r_over_W"], radians(v)
            ),
        ),
        FittingKind(
            "flat-oval-elbow-mitred",
            "mitred flat oval elbow; the rectangular one stands in",
            (_H_W, _ANGLE),
            lambda v, re: elbows.flat_oval_mitred(v["H_over_W"], radians(v), _re(re)),
        ),
    ]


def _sized(detail: str, values: Values, _: float) -> Coefficient:
    size = values["diameter_mm"] / 1000.0
    return elbows.round_by_diameter(detail, size, radians(values))


def _by_size() -> list[FittingKind]:
    return [
        FittingKind(
            f"round-elbow-{detail.replace('_', '-')}-by-diameter",
            what,
            (_DIAMETER, _ANGLE),
            partial(_sized, detail),
        )
        for detail, what in _DETAILS.items()
    ]


KINDS: tuple[FittingKind, ...] = (*_rectangular(), *_round(), *_by_size())
