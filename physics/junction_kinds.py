"""Kinds of junction in the book of fittings."""

from collections.abc import Callable

import numpy as np

from elbowroom.layout import Shape, TakeoffEntry

from .coefficient import Coefficient, Gathered, LookupRefused
from .converging import joining_legs
from .junction_terms import JunctionLegs
from .junctions import cross, dividing_legs
from .junctions_round import ELBOWED, round_elbowed_branch, round_main_handbook
from .junctions_symmetrical import dovetail
from .kinds import FittingKind, Legs, Parameter, Values

_Q = Parameter("Qb_over_Qc", "branch flow over common flow", 0.0, 1.0)
_F = Parameter("Ab_over_Ac", "branch area over common area", 0.02, 4.0)
_S = Parameter("As_over_Ac", "straight area over common area", 0.02, 4.0, 1.0)
_DEFLECTION = Parameter(
    "angle_deg", "deflection of the branch, degrees", 0.0, 180.0, 90.0
)
_SPEED = Parameter("Vc_m_s", "velocity in the common duct, m/s", 0.1, 40.0, 6.0)
_PART = Parameter("Ab_over_Ac", "branch area over common area", 0.02, 0.98)
_ENTRIES = {entry.words.replace(" ", "-"): entry for entry in TakeoffEntry}
_ROUND, _RECT = Shape.ROUND, Shape.RECTANGULAR


def _legs(found: Gathered, names: tuple[str, ...]) -> Legs:
    out = {}
    for row, name in enumerate(names):
        credit = found.credits[found.credit[row]]
        out[name] = Coefficient(
            found.value[row : row + 1],
            found.reynolds_factor[row : row + 1],
            credit.reference,
            credit.table,
            credit.source,
            credit.confidence,
            found.notes[row : row + 1],
        )
    return out


def _junction(
    common: Shape,
    branch: Shape,
    entry: TakeoffEntry = TakeoffEntry.PLAIN,
    *,
    symmetrical: bool = False,
    joining: bool = False,
    walled: bool = False,
) -> Callable[[Values, float], Legs]:
    """Evaluate a junction as the graph does."""

    def evaluate(values: Values, _: float) -> Legs:
        q, f = values["Qb_over_Qc"], values["Ab_over_Ac"]
        s = 1.0 - f if walled else values.get("As_over_Ac", 1.0)
        other = 1.0 - q if symmetrical else q
        legs = JunctionLegs(
            is_branch=np.array([True, symmetrical]),
            is_symmetrical=np.array([symmetrical] * 2),
            angle=np.radians([values["angle_deg"]] * 2),
            entry=np.array([int(entry)] * 2),
            common_shape=np.array([int(common)] * 2),
            branch_shape=np.array([int(branch)] * 2),
            flow_ratio=np.array([q, other]),
            area_ratio=np.array([f, f]),
            main_area_ratio=np.array([s, s]),
            shared_wall=np.array([walled] * 2),
        )
        if joining:
            found = joining_legs(legs, np.array([values.get("Vc_m_s", 6.0)] * 2))
        else:
            found = dividing_legs(legs)
        return _legs(found, ("branch", "other branch" if symmetrical else "main"))

    return evaluate


def _elbowed(fitting: str) -> Callable[[Values, float], Legs]:
    def evaluate(values: Values, _: float) -> Legs:
        q, f = values["Qb_over_Qc"], values["Ab_over_Ac"]
        return {
            "branch": round_elbowed_branch(fitting, q / f),
            "main": round_main_handbook((1.0 - q) / values["As_over_Ac"]),
        }

    return evaluate


def _dovetail(flow: str) -> Callable[[Values, float], Legs]:
    def evaluate(values: Values, _: float) -> Legs:
        q, f = values["Qb_over_Qc"], values["Ab_over_Ac"]
        return {
            "branch": dovetail(q, f, flow),
            "other branch": dovetail(1.0 - q, f, flow),
        }

    return evaluate


def _cross(shape: Shape) -> Callable[[Values, float], Legs]:
    def evaluate(values: Values, _: float) -> Legs:
        if values["Qb_over_Qc"] + values["Qb2_over_Qc"] > 1.0:
            raise LookupRefused(
                "the two branches take more than the whole flow; let Qb_over_Qc and "
                "Qb2_over_Qc add up to 1 or less"
            )
        branches, main = cross(
            np.array([[values["Qb_over_Qc"]], [values["Qb2_over_Qc"]]]),
            np.array([[values["Ab_over_Ac"]], [values["Ab2_over_Ac"]]]),
            np.array([values["As_over_Ac"]]),
            np.radians([values["angle_deg"]]),
            shape,
            shape,
        )
        return {
            **_legs(branches, ("branch", "other branch")),
            **_legs(main, ("main",)),
        }

    return evaluate


def _dividing() -> list[FittingKind]:
    shared = (_Q, _F, _S, _DEFLECTION)
    conical = TakeoffEntry.CONICAL
    kinds = [
        FittingKind(
            "junction-round-diverging",
            "round tee or wye that divides the flow",
            shared,
            _junction(_ROUND, _ROUND),
        ),
        FittingKind(
            "junction-round-diverging-conical",
            "round tee or wye with a conical branch that divides the flow",
            shared,
            _junction(_ROUND, _ROUND, conical),
        ),
        FittingKind(
            "junction-split-main-diverging",
            "round main that a wall parts in two, As + Ab = Ac",
            (_Q, _PART, _DEFLECTION),
            _junction(_ROUND, _ROUND, walled=True),
        ),
        FittingKind(
            "junction-rect-diverging-round-tap",
            "round branch off a rectangular main",
            shared,
            _junction(_RECT, _ROUND),
        ),
        FittingKind(
            "junction-rect-diverging-conical-tap",
            "conical round branch off a rectangular main",
            shared,
            _junction(_RECT, _ROUND, conical),
        ),
    ]
    for name in ELBOWED:
        what = ELBOWED[name].partition(",")[0].replace("deg", "degrees")
        kinds.append(
            FittingKind(
                f"junction-round-diverging-{name}",
                f"round branch with an elbow behind it: {what}",
                (_Q, _F, _S),
                _elbowed(name),
            )
        )
    for words, entry in _ENTRIES.items():
        if entry == conical:
            continue
        tail = "" if entry == TakeoffEntry.PLAIN else f"-{words}"
        kinds.append(
            FittingKind(
                f"junction-rect-diverging{tail}",
                f"rectangular branch off a rectangular main, {entry.words} opening",
                shared,
                _junction(_RECT, _RECT, entry),
            )
        )
    return kinds


def _joining() -> list[FittingKind]:
    shared = (_Q, _F, _S, _DEFLECTION)
    return [
        FittingKind(
            "junction-round-converging",
            "round tee or wye that joins flows",
            shared,
            _junction(_ROUND, _ROUND, joining=True),
        ),
        FittingKind(
            "junction-split-main-converging",
            "round main in which two flows meet behind a wall, As + Ab = Ac",
            (_Q, _PART, _DEFLECTION),
            _junction(_ROUND, _ROUND, joining=True, walled=True),
        ),
        FittingKind(
            "junction-rect-converging",
            "rectangular branch that joins a rectangular main",
            (*shared, _SPEED),
            _junction(_RECT, _RECT, joining=True),
        ),
        FittingKind(
            "junction-rect-converging-45-degree-entry",
            "rectangular branch with a 45 degree entry that joins a rectangular main",
            (*shared, _SPEED),
            _junction(_RECT, _RECT, TakeoffEntry.ENTRY_45, joining=True),
        ),
        FittingKind(
            "junction-rect-converging-round-tap",
            "round branch that joins a rectangular main",
            (*shared, _SPEED),
            _junction(_RECT, _ROUND, joining=True),
        ),
        FittingKind(
            "junction-rect-converging-radius",
            "rectangular branch with a radius that joins a rectangular main",
            shared,
            _junction(_RECT, _RECT, TakeoffEntry.RADIUS, joining=True),
        ),
    ]


def _without_main() -> list[FittingKind]:
    return [
        FittingKind(
            "junction-symmetrical-wye",
            "symmetrical wye or, at 80 degrees and more, bullhead tee",
            (_Q, _F, _DEFLECTION),
            _junction(_ROUND, _ROUND, symmetrical=True),
        ),
        FittingKind(
            "junction-symmetrical-wye-converging",
            "symmetrical wye or, at 80 degrees and more, bullhead tee that joins flows",
            (_Q, _F, _DEFLECTION),
            _junction(_ROUND, _ROUND, symmetrical=True, joining=True),
        ),
        FittingKind(
            "junction-dovetail-diverging",
            "two radius elbows back to back that divide the flow",
            (_Q, _F),
            _dovetail("diverging"),
        ),
        FittingKind(
            "junction-dovetail-converging",
            "two radius elbows back to back that join flows",
            (_Q, _F),
            _dovetail("converging"),
        ),
    ]


def _crosses() -> list[FittingKind]:
    both = (
        _Q,
        Parameter("Qb2_over_Qc", "flow of the other branch over common", 0.0, 1.0),
        _F,
        Parameter("Ab2_over_Ac", "area of the other branch over common", 0.02, 4.0),
        _S,
        _DEFLECTION,
    )
    return [
        FittingKind(
            f"junction-{word}-cross-diverging",
            f"{words} cross that divides the flow, taken as two tees",
            both,
            _cross(shape),
        )
        for word, words, shape in (
            ("round", "round", _ROUND),
            ("rect", "rectangular", _RECT),
        )
    ]


KINDS: tuple[FittingKind, ...] = (
    *_dividing(),
    *_joining(),
    *_without_main(),
    *_crosses(),
)
