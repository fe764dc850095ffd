"""The book of fittings: every kind by name, its parameters, and its coefficient."""

import difflib

import numpy as np

from . import damper_kinds, elbows, ends, junction_kinds, transitions
from .coefficient import Coefficient, LookupRefused
from .kinds import Kind, Legs, Parameter, Values

__all__ = ["KINDS", "Kind", "Legs", "Parameter", "Values", "complete", "find_kind"]


_R_W = Parameter("r_over_W", "centreline radius over side in the plane", 0.5, 20.0)
_H_W = Parameter(
    "H_over_W", "side along the bend's axis over that in its plane", 0.05, 20
)
_ANGLE = Parameter("angle_deg", "angle of turn, degrees", 0.0, 180.0, 90.0)
_ACUTE = Parameter("angle_deg", "angle of turn, degrees", 0.0, 90.0, 90.0)
_R_D = Parameter("r_over_D", "centreline radius over diameter", 0.5, 20.0)
_THROAT = Parameter("throat_R_over_W", "throat radius over W", 0.0, 20.0)
_OPENING = Parameter("angle_deg", "included angle, degrees", 1.0, 180.0, 30.0)


def _one(found: Coefficient) -> Legs:
    return {"": found}


def _re(reynolds: float) -> float | None:
    return None if np.isnan(reynolds) else reynolds


def _rad(values: Values) -> float:
    return float(np.radians(values["angle_deg"]))


def _elbow_kinds() -> list[Kind]:
    turn = (_H_W, _ANGLE)
    vanes = Parameter("vane_spacing_mm", "distance of the vanes, mm", 20, 120, 38.0)
    return [
        Kind(
            "rect-elbow-smooth",
            "rectangular elbow with a radius throat and heel",
            (_R_W, *turn),
            lambda v, re: _one(
                elbows.rect_smooth(v["r_over_W"], v["H_over_W"], _rad(v), _re(re))
            ),
        ),
        Kind(
            "rect-elbow-mitred",
            "rectangular elbow with a square throat and a square heel",
            turn,
            lambda v, re: _one(elbows.rect_mitred(v["H_over_W"], _rad(v), _re(re))),
        ),
        Kind(
            "rect-elbow-square-throat",
            "rectangular elbow with a square throat and a radius heel",
            turn,
            lambda v, re: _one(
                elbows.rect_smooth(0.5, v["H_over_W"], _rad(v), _re(re))
            ),
        ),
        Kind(
            "rect-elbow-square-heel",
            "rectangular elbow with a radius throat and a square heel",
            (_THROAT, *turn),
            lambda v, _: _one(
                elbows.rect_square_heel(v["throat_R_over_W"], v["H_over_W"], _rad(v))
            ),
        ),
        Kind(
            "rect-elbow-splitters",
            "rectangular elbow with a radius throat and splitter vanes",
            (
                Parameter("splitter_count", "number of splitters", 1, 3, 1.0, True),
                Parameter("throat_R_over_W", "throat radius over W", 0.05, 20.0),
                _H_W,
                _ACUTE,
            ),
            lambda v, _: _one(
                elbows.rect_splitters(
                    int(v["splitter_count"]),
                    v["throat_R_over_W"],
                    v["H_over_W"],
                    _rad(v),
                )
            ),
        ),
        Kind(
            "rect-elbow-single-vanes",
            "mitred rectangular elbow with single-thickness turning vanes",
            (vanes, _ANGLE),
            lambda v, _: _one(
                elbows.rect_vaned(False, v["vane_spacing_mm"] / 1000, _rad(v))
            ),
        ),
        Kind(
            "rect-elbow-double-vanes",
            "mitred rectangular elbow with double-thickness turning vanes",
            (vanes, _ANGLE),
            lambda v, _: _one(
                elbows.rect_vaned(True, v["vane_spacing_mm"] / 1000, _rad(v))
            ),
        ),
        Kind(
            "round-elbow",
            "smooth round elbow",
            (_R_D, _ANGLE),
            lambda v, _: _one(elbows.round_smooth(v["r_over_D"], _rad(v))),
        ),
        Kind(
            "round-elbow-segmented",
            "round elbow of mitred pieces",
            (
                Parameter("pieces", "number of pieces", 3, 5, 5.0, True),
                _R_D,
                _ANGLE,
            ),
            lambda v, _: _one(
                elbows.round_segmented(int(v["pieces"]), v["r_over_D"], _rad(v))
            ),
        ),
        Kind(
            "round-elbow-mitred",
            "mitred round elbow",
            (_ACUTE,),
            lambda v, re: _one(elbows.round_mitred(_rad(v), _re(re))),
        ),
    ]


def _other_kinds() -> list[Kind]:
    larger = Parameter("A_large_over_A_small", "large area over small area", 1.0, 100.0)
    smaller = Parameter("A_small_over_A_large", "small area over large area", 0.0, 1.0)
    return [
        Kind(
            "contraction",
            "contraction, round or rectangular",
            (larger, _OPENING),
            lambda v, _: _one(
                transitions.contraction(v["A_large_over_A_small"], _rad(v))
            ),
        ),
        Kind(
            "expansion-round-conical",
            "conical expansion in round duct, with its own friction",
            (smaller, _OPENING),
            lambda v, _: _one(
                transitions.expansion_round(v["A_small_over_A_large"], _rad(v))
            ),
        ),
        Kind(
            "expansion-rect-pyramidal",
            "rectangular expansion, all four sides opening",
            (larger, _OPENING),
            lambda v, _: _one(
                transitions.expansion_rect(v["A_large_over_A_small"], _rad(v))
            ),
        ),
        Kind(
            "expansion-rect-one-plane",
            "rectangular expansion, two sides parallel",
            (larger, _OPENING),
            lambda v, _: _one(
                transitions.expansion_rect(v["A_large_over_A_small"], _rad(v), True)
            ),
        ),
        Kind(
            "entry-duct-in-wall",
            "plain duct end at or through a wall, air coming in",
            (
                Parameter("t_over_D", "wall thickness over diameter", 0.0, 1.0, 0.05),
                Parameter("L_over_D", "projection over diameter", 0.0, 10.0, 0.0),
            ),
            lambda v, _: _one(ends.entry_in_wall(v["t_over_D"], v["L_over_D"])),
        ),
        Kind(
            "entry-bellmouth",
            "bellmouth in an end wall, air coming in",
            (Parameter("r_over_D", "bellmouth radius over diameter", 0.0, 1.0),),
            lambda v, _: _one(ends.entry_bellmouth(v["r_over_D"], True)),
        ),
        Kind(
            "entry-bellmouth-free",
            "bellmouth without a wall, air coming in",
            (Parameter("r_over_D", "bellmouth radius over diameter", 0.0, 1.0),),
            lambda v, _: _one(ends.entry_bellmouth(v["r_over_D"], False)),
        ),
        Kind(
            "entry-conical",
            "conical entry in an end wall",
            (
                Parameter("L_over_D", "length of the cone over diameter", 0.025, 10.0),
                Parameter("angle_deg", "included angle, degrees", 0.0, 180.0),
            ),
            lambda v, _: _one(ends.entry_conical(v["L_over_D"], _rad(v), True)),
        ),
        Kind(
            "exit-abrupt",
            "plain duct end, air going out into a room",
            (),
            lambda _v, _re: _one(ends.exit_abrupt()),
        ),
    ]


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        *_elbow_kinds(),
        *_other_kinds(),
        *junction_kinds.KINDS,
        *damper_kinds.KINDS,
    )
}


def find_kind(text: str) -> Kind:
    """Kind of a name; blanks, dashes and underscores are the same.

    Raises
    ------
    LookupRefused
        If there is none; the message names the nearest.
    """
    name = "-".join(text.replace("_", " ").replace("-", " ").lower().split())
    if name in KINDS:
        return KINDS[name]
    near = difflib.get_close_matches(name, list(KINDS), n=1, cutoff=0.3)
    hint = f"did you mean '{near[0]}'" if near else "see fitting --list"
    raise LookupRefused(f"there is no kind of fitting '{text}'; {hint}")


def complete(kind: Kind, given: Values) -> tuple[dict[str, float], tuple[str, ...]]:
    """Every parameter of a kind, checked, and the names of those that were assumed.

    Raises
    ------
    LookupRefused
        If one is missing, unknown or out of its range; the message says the range.
    """
    names = [parameter.name for parameter in kind.parameters]
    for name in given:
        if name not in names and name != "Re":
            near = difflib.get_close_matches(name, names, n=1, cutoff=0.3)
            hint = f"did you mean '{near[0]}'" if near else f"it has {', '.join(names)}"
            raise LookupRefused(f"{kind.name} has no parameter '{name}'; {hint}")
    values: dict[str, float] = {}
    assumed = []
    for parameter in kind.parameters:
        value = given.get(parameter.name, parameter.default)
        if value is None:
            raise LookupRefused(
                f"{kind.name} needs {parameter.name}, the {parameter.what}; give it "
                f"with --set {parameter.name}=..., or dimensions that it follows from"
            )
        if parameter.name not in given:
            assumed.append(parameter.name)
        if not parameter.low <= value <= parameter.high or (
            parameter.whole and value != int(value)
        ):
            raise LookupRefused(
                f"{parameter.name} is {value:g}; {kind.name} takes "
                f"{parameter.low:g} to {parameter.high:g} for the {parameter.what}"
            )
        values[parameter.name] = float(value)
    return values, tuple(assumed)
