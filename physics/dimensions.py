"""Parameters of a table from the dimensions that a shop gives."""

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from elbowroom.layout import Shape, sections

from .coefficient import LookupRefused
from .kinds import Kind
from .transitions import included_angles

_MAY_BE_NOTHING = ("radius", "centreline_radius", "angle", "length", "branch_flow")


@dataclass(frozen=True, slots=True)
class Dimensions:
    """Dimensions of a fitting, SI units; None where one is not given.

    Parameters
    ----------
    width, height, diameter
        Of the duct, m; of an elbow the width lies in the plane of the bend.
    outlet_width, outlet_height, outlet_diameter
        Of the other end of a transition, of the mouth, or of a branch, m.
    radius, centreline_radius
        Throat and centreline radius of an elbow, m.
    angle
        Angle of turn, or included angle, rad.
    length
        Length of a transition or a cone, gap under a hood, or straight length behind
        an elbow, m.
    thickness
        Of a wall, m.
    spacing
        Of turning vanes, m.
    pieces, splitters
        Numbers of them.
    flow, branch_flow
        Airflow in the common duct and in the branch, m³/s.

    Raises
    ------
    LookupRefused
        If a dimension is not above zero, or negative where it may be nothing.
    """

    width: float | None = None
    height: float | None = None
    diameter: float | None = None
    outlet_width: float | None = None
    outlet_height: float | None = None
    outlet_diameter: float | None = None
    radius: float | None = None
    centreline_radius: float | None = None
    angle: float | None = None
    length: float | None = None
    thickness: float | None = None
    spacing: float | None = None
    pieces: float | None = None
    splitters: float | None = None
    flow: float | None = None
    branch_flow: float | None = None

    def __post_init__(self) -> None:
        for entry in fields(self):
            value = getattr(self, entry.name)
            if value is None or value > 0.0:
                continue
            if not (value == 0.0 and entry.name in _MAY_BE_NOTHING):
                words = entry.name.replace("_", " ")
                raise LookupRefused(f"the {words} is {value:g}; make it more than 0")


def from_dimensions(kind: Kind, sizes: Dimensions) -> dict[str, float]:
    """Parameters of a kind that follow from dimensions.

    Parameters
    ----------
    kind
        Of the book.
    sizes
        What is known of the fitting.

    Returns
    -------
    parameters
        Value by the name of the table's column; what does not follow is left out.

    Examples
    --------
    >>> from elbowroom.physics import book
    >>> elbow = book.find_kind("rect-elbow-smooth")
    >>> sizes = Dimensions(width=0.4, height=0.2, radius=0.2)
    >>> from_dimensions(elbow, sizes)
    {'r_over_W': 1.0, 'H_over_W': 0.5}
    """
    found = {
        parameter.name: _RULES[parameter.name](sizes)
        for parameter in kind.parameters
        if parameter.name in _RULES
    }
    return {name: value for name, value in found.items() if value is not None}


def _over(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one / other


def _times(one: float | None, factor: float) -> float | None:
    return None if one is None else one * factor


def _across(sizes: Dimensions) -> float | None:
    """Side in the plane of the bend, or the diameter."""
    return sizes.width if sizes.diameter is None else sizes.diameter


def _radius(sizes: Dimensions) -> float | None:
    across = _across(sizes)
    if sizes.centreline_radius is not None or sizes.radius is None or across is None:
        return sizes.centreline_radius
    return sizes.radius + across / 2.0


def _throat(sizes: Dimensions) -> float | None:
    across, radius = _across(sizes), _radius(sizes)
    return None if across is None or radius is None else radius / across - 0.5


def _area(
    diameter: float | None, width: float | None, height: float | None
) -> float | None:
    if diameter is not None:
        return float(sections.area(Shape.ROUND, diameter, diameter))
    if width is None or height is None:
        return None
    return float(sections.area(Shape.RECTANGULAR, width, height))


def _areas(sizes: Dimensions) -> tuple[float | None, float | None]:
    return (
        _area(sizes.diameter, sizes.width, sizes.height),
        _area(sizes.outlet_diameter, sizes.outlet_width, sizes.outlet_height),
    )


def _outlet_over_duct(sizes: Dimensions) -> float | None:
    duct, outlet = _areas(sizes)
    return _over(outlet, duct)


def _large_over_small(sizes: Dimensions) -> float | None:
    ratio = _outlet_over_duct(sizes)
    return None if ratio is None else max(ratio, 1.0 / ratio)


def _small_over_large(sizes: Dimensions) -> float | None:
    ratio = _outlet_over_duct(sizes)
    return None if ratio is None else min(ratio, 1.0 / ratio)


def _angle(sizes: Dimensions) -> float | None:
    """Angle as it is given, else the included one that the length makes, degrees."""
    if sizes.angle is not None:
        return float(np.degrees(sizes.angle))
    d1, d2 = sizes.diameter, sizes.outlet_diameter
    w1, h1 = (d1, d1) if d1 is not None else (sizes.width, sizes.height)
    w2, h2 = (d2, d2) if d2 is not None else (sizes.outlet_width, sizes.outlet_height)
    run = sizes.length
    if w1 is None or h1 is None or w2 is None or h2 is None or run is None:
        return None
    return float(np.degrees(np.max(included_angles(w1, h1, w2, h2, run))))


_RULES: dict[str, Callable[[Dimensions], float | None]] = {
    "angle_deg": _angle,
    "r_over_W": lambda s: _over(_radius(s), _across(s)),
    "r_over_D": lambda s: _over(_radius(s), _across(s)),
    "throat_R_over_W": _throat,
    "H_over_W": lambda s: _over(s.height, s.width),
    "H_over_W_in": lambda s: _over(s.height, s.width),
    "W_out_over_W_in": lambda s: _over(s.outlet_width, s.width),
    "diameter_mm": lambda s: _times(s.diameter, 1000.0),
    "vane_spacing_mm": lambda s: _times(s.spacing, 1000.0),
    "pieces": lambda s: s.pieces,
    "splitter_count": lambda s: s.splitters,
    "A_large_over_A_small": _large_over_small,
    "A_small_over_A_large": _small_over_large,
    "A_out_over_A_duct": _outlet_over_duct,
    "Ab_over_Ac": _outlet_over_duct,
    "Qb_over_Qc": lambda s: _over(s.branch_flow, s.flow),
    "D_exit_over_D": lambda s: _over(s.outlet_diameter, s.diameter),
    "L_over_D": lambda s: _over(s.length, _across(s)),
    "L_after_over_W": lambda s: _over(s.length, _across(s)),
    "t_over_D": lambda s: _over(s.thickness, _across(s)),
}
