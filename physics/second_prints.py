"""What other publications say of a kind of fitting, as a second opinion at the desk."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from elbowroom.layout import length_words

from . import elbows, equipment, expansions
from .coefficient import Coefficient, LookupRefused, make
from .junction_terms import REFERENCE
from .kinds import Values, radians
from .tables import chosen

_RUNNERS = {
    "none": "",
    "embossed_runner": ", embossed runner",
    "push_on_runner": ", push-on runner",
}


@dataclass(frozen=True, slots=True)
class SecondPrint:
    """The coefficient of the same fitting by another publication.

    Parameters
    ----------
    what
        What that publication's differs in, in words.
    found
        Its coefficient, of one fitting.
    """

    what: str
    found: Coefficient


_Found = list[SecondPrint]


def second_prints(
    kind: str, values: Values, reynolds: float, velocity: float
) -> tuple[SecondPrint, ...]:
    """Coefficients of the same fitting by other publications; none is ever taken.

    Parameters
    ----------
    kind
        Name of a kind in the book.
    values
        Its parameters, whole.
    reynolds
        Reynolds number at the reference section; NaN if not known.
    velocity
        Velocity there, m/s; NaN if not known.
    """
    look = _ELSEWHERE.get(kind)
    if look is None:
        return ()
    try:
        return tuple(look(values, reynolds, velocity))
    except LookupRefused:  # the other publication has not this one
        return ()


def _round_elbow(values: Values, _re: float, _velocity: float) -> _Found:
    found = elbows.round_smooth_with_friction(values["r_over_D"], radians(values))
    return [SecondPrint("with the friction along the bend, very smooth", found)]


def _vanes(thickness: str, values: Values, _re: float, velocity: float) -> _Found:
    angle = radians(values)
    found = []
    for rail in elbows.older_vane_rails():
        if rail.thickness != thickness:
            continue
        radius, spacing = (length_words(mm / 1e3) for mm in (rail.radius, rail.spacing))
        one = elbows.rect_vaned_older(rail, velocity, angle)
        if np.isfinite(one.value[0]):  # those of double vanes go by the velocity
            words = f"vanes of {radius} radius, {spacing} apart{_RUNNERS[rail.runner]}"
            found.append(SecondPrint(f"before the retest: {words}", one))
    return found


def _cone(values: Values, reynolds: float, _velocity: float) -> _Found:
    if math.isnan(reynolds):
        return []
    found = expansions.expansion_round_by_reynolds(
        1.0 / values["A_small_over_A_large"],
        radians(values),
        reynolds,
    )
    return [SecondPrint("by the Reynolds number", found)]


def _plate(values: Values, _re: float, _velocity: float) -> _Found:
    found = equipment.perforated_plate_by_formula(
        values["free_area_ratio"], values["t_over_d"]
    )
    return [SecondPrint("by formula in place of the table", found)]


_AS_PRINTED = 1.0  # degrees: how far from its angle a single value is still shown


def _one_value(fitting: str, values: Values, _re: float, _velocity: float) -> _Found:
    """The single value that is known of a publication, with what it is of."""
    (row,) = chosen("junction_second_source_points", {"fitting": fitting})
    if abs(values["angle_deg"] - float(row["angle_deg"])) > _AS_PRINTED:
        return []
    found = make(
        np.array([float(row["C"])]),
        0,
        reference=REFERENCE,
        table="junction_second_source_points",
        source=row["source"],
        confidence=row["confidence"],
    )
    of = (
        f"area ratio {row['area_ratio_Ab_Ac']}, airflow share {row['flow_ratio_Qb_Qc']}"
    )
    return [
        SecondPrint(
            f"of the branch, its one value: {row['angle_deg']} degrees, {of}", found
        )
    ]


def _round_branch(values: Values, reynolds: float, velocity: float) -> _Found:
    found = _one_value("supply 45 deg branch, round", values, reynolds, velocity)
    q, f = values["Qb_over_Qc"], values["Ab_over_Ac"]
    if abs(values["angle_deg"] - 90.0) > _AS_PRINTED or f > 1.0:
        return found
    grows = 1.0 if f <= 2.0 / 3.0 else 1.0 + 0.3 * q * q
    tee = make(
        np.array([grows * (1.0 + (1.0 if f < 1.0 else 0.3) * (q / f) ** 2)]),
        0,
        reference=REFERENCE,
        table="formula: dividing branch of a pipe tee",
        source="Crane TP-410, 2009",
        confidence="seen",
    )
    return [*found, SecondPrint("branch of a pipe tee", tee)]


_ELSEWHERE: dict[str, Callable[[Values, float, float], _Found]] = {
    "round-elbow": _round_elbow,
    "rect-elbow-single-vanes": partial(_vanes, "single"),
    "rect-elbow-double-vanes": partial(_vanes, "double"),
    "expansion-round-conical": _cone,
    "perforated-plate": _plate,
    "junction-round-diverging": _round_branch,
    "junction-round-diverging-conical": partial(
        _one_value, "supply 90 deg conical branch, round"
    ),
    "junction-round-converging": partial(_one_value, "extract 45 deg branch, round"),
    "junction-symmetrical-wye": partial(
        _one_value, "supply T with two equal outlets, round"
    ),
    "junction-symmetrical-wye-converging": partial(
        _one_value, "extract T with two equal inlets, round"
    ),
}
