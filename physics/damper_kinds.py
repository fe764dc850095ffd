"""Kinds of damper and of obstruction in the book of fittings."""

from functools import partial

import numpy as np

from . import dampers
from .coefficient import Coefficient
from .kinds import FittingKind, Parameter, Values
from .obstructions import OBSTRUCTIONS, obstruction

_BLADE = Parameter("blade_angle_deg", "blade angle from open, degrees", 0.0, 70.0)
_BLADES = Parameter("blade_angle_deg", "blade angle from open, degrees", 0.0, 80.0)
_RATIO = Parameter(
    "L_over_R", "length of all blades over the duct's perimeter", 0.1, 4.0, 1.0
)


def _blade(values: Values) -> float:
    return float(np.radians(values["blade_angle_deg"]))


def _dampers() -> list[FittingKind]:
    return [
        FittingKind(
            "damper-butterfly-round",
            "single-blade damper in a round duct",
            (_BLADE,),
            lambda v, _: dampers.butterfly(_blade(v)),
        ),
        FittingKind(
            "damper-butterfly-rect",
            "single-blade damper in a rectangular duct",
            (_BLADE,),
            lambda v, _: dampers.butterfly(_blade(v), is_round=False),
        ),
        FittingKind(
            "damper-multiblade-parallel",
            "damper of several blades that turn alike",
            (_BLADES, _RATIO),
            lambda v, _: dampers.multiblade(_blade(v), v["L_over_R"], False),
        ),
        FittingKind(
            "damper-multiblade-opposed",
            "damper of several blades that turn against each other",
            (_BLADES, _RATIO),
            lambda v, _: dampers.multiblade(_blade(v), v["L_over_R"], True),
        ),
        FittingKind(
            "damper-gate-round",
            "gate that slides into a round duct",
            (Parameter("h_over_D", "open height over diameter", 0.2, 1.0),),
            lambda v, _: dampers.gate(v["h_over_D"]),
        ),
        FittingKind(
            "damper-gate-rect",
            "gate that slides into a rectangular duct",
            (
                Parameter("h_over_H", "open height over duct height", 0.3, 1.0),
                Parameter("H_over_W", "duct height over width", 0.1, 10.0),
            ),
            lambda v, _: dampers.gate(v["h_over_H"], v["H_over_W"]),
        ),
        FittingKind(
            "damper-fire-curtain",
            f"open curtain-type fire damper, its loss alone: {dampers.FIRE_CAUTION}",
            (
                Parameter(
                    "in_airstream",
                    "1 where the folded curtain hangs in the airstream, else 0",
                    0,
                    1,
                    1.0,
                    True,
                ),
            ),
            lambda v, _: dampers.fire_curtain(v["in_airstream"] > 0.5),
        ),
        FittingKind(
            "damper-fire-and-smoke",
            "open multiblade fire and smoke damper without a declared loss, its loss "
            f"alone: {dampers.FIRE_CAUTION}",
            (),
            lambda _v, _re: dampers.fire_and_smoke(),
        ),
    ]


def _stands_in(kind: str, values: Values, _: float) -> Coefficient:
    return obstruction(kind, values["blockage_ratio"])


def _obstructions() -> list[FittingKind]:
    across = Parameter(
        "blockage_ratio", "height of the obstruction over that of the duct", 0.0, 0.5
    )
    frontal = Parameter(
        "blockage_ratio", "frontal area over the area of the duct", 0.0, 0.2
    )
    return [
        FittingKind(
            f"obstruction-{kind}",
            f"obstruction in the duct: {what}",
            (frontal if kind == "cylinder" else across,),
            partial(_stands_in, kind),
        )
        for kind, what in OBSTRUCTIONS.items()
    ]


KINDS: tuple[FittingKind, ...] = (*_dampers(), *_obstructions())
