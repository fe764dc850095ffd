"""Kinds of entry, exit, screen and plate in the book of fittings."""

from functools import partial

from . import caps, entries, equipment, exits
from .coefficient import Coefficient
from .kinds import FittingKind, Parameter, Values, radians

_GAP = Parameter("L_over_D", "gap under the hood over diameter", 0.1, 1.0)
_INCLUDED = Parameter("angle_deg", "included angle, degrees", 0.0, 180.0)


_PLAIN: tuple[FittingKind, ...] = (
    FittingKind(
        "entry-duct-in-wall",
        "plain duct end at or through a wall, air coming in",
        (
            Parameter("t_over_D", "wall thickness over diameter", 0.0, 1.0, 0.05),
            Parameter("L_over_D", "projection over diameter", 0.0, 10.0, 0.0),
        ),
        lambda v, _: entries.entry_in_wall(v["t_over_D"], v["L_over_D"]),
    ),
    FittingKind(
        "entry-bellmouth",
        "bellmouth in an end wall, air coming in",
        (Parameter("r_over_D", "bellmouth radius over diameter", 0.0, 1.0),),
        lambda v, _: entries.entry_bellmouth(v["r_over_D"], True),
    ),
    FittingKind(
        "entry-bellmouth-free",
        "bellmouth without a wall, air coming in",
        (Parameter("r_over_D", "bellmouth radius over diameter", 0.0, 1.0),),
        lambda v, _: entries.entry_bellmouth(v["r_over_D"], False),
    ),
    FittingKind(
        "entry-conical",
        "conical entry in an end wall",
        (
            Parameter("L_over_D", "length of the cone over diameter", 0.025, 10.0),
            Parameter("angle_deg", "included angle, degrees", 0.0, 180.0),
        ),
        lambda v, _: entries.entry_conical(v["L_over_D"], radians(v), True),
    ),
    FittingKind(
        "exit-abrupt",
        "plain duct end, air going out into a room",
        (),
        lambda _v, _re: exits.exit_abrupt(),
    ),
    FittingKind(
        "entry-conical-free",
        "conical entry without a wall",
        (
            Parameter("L_over_D", "length of the cone over diameter", 0.025, 10.0),
            _INCLUDED,
        ),
        lambda v, _: entries.entry_conical(v["L_over_D"], radians(v), False),
    ),
    FittingKind(
        "entry-hood-round",
        "round tapered hood, air coming in",
        (_INCLUDED,),
        lambda v, _: entries.entry_hood(radians(v)),
    ),
    FittingKind(
        "entry-hood-rect",
        "rectangular tapered hood, air coming in",
        (Parameter("angle_deg", "larger included angle, degrees", 0.0, 180.0),),
        lambda v, _: entries.entry_hood(radians(v), False),
    ),
    FittingKind(
        "exit-nozzle",
        "nozzle at the end of a duct",
        (Parameter("D_exit_over_D", "diameter of its mouth over the duct's", 0.3, 1),),
        lambda v, _: exits.exit_nozzle(v["D_exit_over_D"]),
    ),
    FittingKind(
        "exit-after-elbow",
        "elbow of 90 degrees near an open end, elbow and exit together",
        (
            Parameter("r_over_W", "radius over side, 0 if mitred", 0.0, 20.0),
            Parameter("L_after_over_W", "straight length behind it over W", 0, 100.0),
        ),
        lambda v, _: exits.exit_after_elbow(v["r_over_W"], v["L_after_over_W"]),
    ),
    FittingKind(
        "screen",
        "wire screen across a duct",
        (Parameter("free_area_ratio", "free area over area of the duct", 0.3, 1.0),),
        lambda v, _: equipment.screen(v["free_area_ratio"]),
    ),
    FittingKind(
        "perforated-plate",
        "perforated plate across a duct",
        (
            Parameter("free_area_ratio", "free area over area of the duct", 0.2, 0.9),
            Parameter("t_over_d", "thickness over hole diameter", 0.0, 10.0, 0.015),
        ),
        lambda v, _: equipment.perforated_plate(v["free_area_ratio"], v["t_over_d"]),
    ),
)


def _diffuser(kind: str, values: Values, _: float) -> Coefficient:
    return exits.exit_diffuser(kind, values["A_out_over_A_duct"], radians(values))


def _capped(entry: bool, flared: bool, values: Values, _: float) -> Coefficient:
    cap = caps.entry_cap if entry else caps.exit_cap
    return cap(values["L_over_D"], flared)


def _families() -> list[FittingKind]:
    wider = Parameter("A_out_over_A_duct", "area of its mouth over the duct's", 1, 100)
    kinds = [
        FittingKind(
            f"exit-diffuser-{kind}",
            f"{kind} diffuser at the end of a duct",
            (wider, _INCLUDED),
            partial(_diffuser, kind),
        )
        for kind in exits.DIFFUSERS
    ]
    for entry, name in ((True, "intake"), (False, "exhaust")):
        for flared in (False, True):
            end = "flared" if flared else "straight"
            kinds.append(
                FittingKind(
                    f"{'entry' if entry else 'exit'}-cap-{end}",
                    f"{name} shaft under a hood, its end {end}",
                    (_GAP,),
                    partial(_capped, entry, flared),
                )
            )
    return kinds


KINDS: tuple[FittingKind, ...] = (*_PLAIN, *_families())
