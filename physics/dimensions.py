"""Parameters of a table from the dimensions that a shop gives."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from elbowroom.layout import Shape, sections

from .coefficient import Coefficient, LookupRefused, make
from .kinds import FittingKind, Values
from .transitions import (
    ALIKE,
    CHANGED,
    SAME_SIDE,
    included_angles,
    round_to_rect_angle,
    transition,
)

_MAY_BE_NOTHING = ("radius", "centreline_radius", "angle", "length", "branch_flow")
End = tuple[Shape, float, float]  # shape, width and height of one end


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
        Throat and centreline radius of an elbow, m; `radius` is a bellmouth's too.
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
    velocity
        In the duct, m/s.

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
    velocity: float | None = None

    def __post_init__(self) -> None:
        for entry in fields(self):
            value = getattr(self, entry.name)
            if value is None or value > 0.0:
                continue
            if not (value == 0.0 and entry.name in _MAY_BE_NOTHING):
                words = entry.name.replace("_", " ")
                raise LookupRefused(f"the {words} is {value:g}; make it more than 0")


def from_dimensions(kind: FittingKind, sizes: Dimensions) -> dict[str, float]:
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

    Raises
    ------
    LookupRefused
        If the dimensions contradict the kind or each other: a duct of another shape,
        ends that narrow where it opens, an angle beside a length that makes one.

    Examples
    --------
    >>> from elbowroom.physics import book
    >>> elbow = book.find_kind("rect-elbow-smooth")
    >>> sizes = Dimensions(width=0.4, height=0.2, radius=0.2)
    >>> from_dimensions(elbow, sizes)
    {'r_over_W': 1.0, 'H_over_W': 0.5}
    """
    _check_shape(kind, sizes)
    _check_ends(kind, sizes)
    rules = _RULES if _turns(kind) else {**_RULES, "r_over_D": _rounding}
    found = {
        parameter.name: rules[parameter.name](sizes)
        for parameter in kind.parameters
        if parameter.name in rules
    }
    if "angle_deg" in found:
        made = _angle(kind, replace(sizes, angle=None))
        if sizes.angle is None:
            found["angle_deg"] = made
        elif made is not None:
            raise LookupRefused(
                "the angle is given, and the length with both ends makes one too; "
                "keep the angle or the length"
            )
    return {name: value for name, value in found.items() if value is not None}


def dimensions_of(kind: FittingKind) -> tuple[str, ...]:
    """Dimensions beside those of the duct and its air that a kind makes use of."""
    names = {parameter.name for parameter in kind.parameters}
    used = {dimension for name in names for dimension in _TAKEN.get(name, ())}
    transition = kind.opens is not None or kind.name == "change-of-shape"
    if transition or ("angle_deg" in names and not _turns(kind) and not kind.has_legs):
        used.update(_OUTLET)
        # A change of shape has a length too, though its coefficient is the same.
        if "angle_deg" in names or kind.name == "change-of-shape":
            used.add("length")
    if not _turns(kind):
        used.discard("centreline_radius")
    return tuple(name for name in _BESIDE_THE_DUCT if name in used)


def _turns(kind: FittingKind) -> bool:
    return "elbow" in kind.name.split("-")


def reference_end(kind: FittingKind, reference: str, sizes: Dimensions) -> End | None:
    """End of a fitting whose velocity its coefficient refers to.

    Parameters
    ----------
    kind
        Of the book.
    reference
        See `Coefficient`.
    sizes
        What is known of the fitting.

    Returns
    -------
    end
        Shape, width and height, m; None where its size is not given.
    """
    duct, outlet = _ends(kind, sizes)
    if reference not in ("downstream", "small area"):
        return duct
    if kind.opens is None and duct is not None and outlet is not None:
        return min(duct, outlet, key=lambda end: float(sections.area(*end)))
    return outlet if kind.opens is False else duct


def reference_share(kind: FittingKind, values: Values, sizes: Dimensions) -> float:
    """Area at `reference_end` over that of the duct before the fitting.

    It follows from the parameters, `values`, where a contraction's are known by them
    alone.
    """
    if kind.opens is False:
        share = values.get("A_small_over_A_large")
        return 1.0 / values["A_large_over_A_small"] if share is None else share
    ratio = _outlet_over_duct(sizes)
    changes_shape = kind.name == "change-of-shape" and ratio is not None
    return min(ratio, 1.0) if changes_shape and ratio is not None else 1.0


def as_drawn(
    kind: FittingKind, values: Values, sizes: Dimensions
) -> Coefficient | None:
    """Coefficient of a transition by its two ends, as an analysis takes it.

    There a pair of sides that hardly changes counts in part, which the parameters of a
    table do not say.

    Parameters
    ----------
    kind
        Of the book.
    values
        Its parameters, whole: the angle stands in where no length is given.
    sizes
        What is known of the fitting.

    Returns
    -------
    coefficient
        Shape (1,); None for another fitting, or where an end is not known.
    """
    duct, outlet = _ends(kind, sizes)
    of_one = _angle(kind, replace(sizes, length=1.0))
    if duct is None or outlet is None or of_one is None or kind.opens is None:
        return None
    if "angle_deg" not in values:  # sudden, by a formula of its own
        return None
    half = np.radians([of_one / 2, values["angle_deg"] / 2])
    length = np.tan(half[0]) / np.tan(half[1]) if sizes.length is None else sizes.length
    found = transition(*duct, *outlet, length, friction=True)
    credit = found.credits[int(found.credit[0])]
    return make(
        found.value,
        found.notes,
        reference=credit.reference,
        table=credit.table,
        source=credit.source,
        confidence=credit.confidence,
    )


def duct_area(sizes: Dimensions) -> float | None:
    """Area of the duct before a fitting, m²; None where its size is not given."""
    return _areas(sizes)[0]


def _ends(kind: FittingKind, sizes: Dimensions) -> tuple[End | None, End | None]:
    """The duct and the other end, where they are given."""
    return (
        _end(kind, sizes.diameter, sizes.width, sizes.height),
        _end(kind, sizes.outlet_diameter, sizes.outlet_width, sizes.outlet_height),
    )


def _end(
    kind: FittingKind, diameter: float | None, width: float | None, height: float | None
) -> End | None:
    if diameter is not None:
        return Shape.ROUND, diameter, diameter
    if width is None or height is None:
        return None
    oval = kind.shape == Shape.OVAL
    return Shape.OVAL if oval else Shape.RECTANGULAR, width, height


def _check_shape(kind: FittingKind, sizes: Dimensions) -> None:
    is_round = sizes.diameter is not None
    flat = sizes.width is not None or sizes.height is not None
    if kind.shape == Shape.ROUND and flat:
        raise LookupRefused(f"{kind.name} has a round duct; give its diameter")
    # A rectangular expansion may begin round, at the angle that stands in for its own.
    if kind.shape in (Shape.RECTANGULAR, Shape.OVAL) and is_round and not kind.opens:
        raise LookupRefused(f"{kind.name} has no diameter; give its width and height")


def _check_ends(kind: FittingKind, sizes: Dimensions) -> None:
    """Refuse ends that are not those of this kind of transition or diffuser."""
    duct, outlet = _ends(kind, sizes)
    ratio = _outlet_over_duct(sizes)
    if duct is None or outlet is None or ratio is None:
        return
    widens = f"the outlet has {ratio:.3g} of the duct's area"
    if kind.opens is True and ratio < 1.0:
        raise LookupRefused(
            f"{widens}, and {kind.name} widens along the air; take a contraction, or "
            "change the two ends round"
        )
    if kind.opens is False and ratio > 1.0:
        raise LookupRefused(
            f"{widens}, and {kind.name} narrows along the air; take an expansion, or "
            "change the two ends round"
        )
    if kind.name == "change-of-shape" and abs(ratio - 1.0) >= ALIKE:
        other = "an expansion" if ratio > 1.0 else "a contraction"
        raise LookupRefused(f"{widens}, and {kind.name} keeps it; take {other}")
    is_round = [end[0] == Shape.ROUND for end in (duct, outlet)]
    if kind.name == "expansion-round-conical" and not all(is_round):
        raise LookupRefused(
            "expansion-round-conical is round at both ends; take "
            "expansion-rect-pyramidal"
        )
    less, more = sorted(abs(outlet[side] / duct[side] - 1.0) for side in (1, 2))
    flat = kind.name in ("expansion-rect-one-plane", "exit-diffuser-plane")
    full = kind.name in ("expansion-rect-pyramidal", "exit-diffuser-pyramidal")
    # Between the two an expansion is something of both: see `as_drawn`.
    if flat and (less >= (CHANGED if kind.opens else SAME_SIDE) or any(is_round)):
        stem = kind.name.removesuffix("one-plane").removesuffix("plane")
        raise LookupRefused(
            f"all four sides change, and {kind.name} keeps two of them parallel; take "
            f"{stem}pyramidal"
        )
    if full and not any(is_round) and less < SAME_SIDE <= more:
        stem = kind.name.removesuffix("pyramidal")
        raise LookupRefused(
            f"two sides stay parallel, and all four of {kind.name} open; take "
            f"{stem}{'one-plane' if kind.opens else 'plane'}"
        )


def _over(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one / other


def _times(one: float | None, factor: float) -> float | None:
    return None if one is None else float(one * factor)


def _across(sizes: Dimensions) -> float | None:
    """Side in the plane of the bend, or the diameter."""
    return sizes.width if sizes.diameter is None else sizes.diameter


def _diameter(sizes: Dimensions) -> float | None:
    """Diameter of a duct's end; the hydraulic one if rectangular (from memory)."""
    if sizes.diameter is not None or sizes.width is None or sizes.height is None:
        return sizes.diameter
    shape = Shape.RECTANGULAR
    return float(sections.hydraulic_diameter(shape, sizes.width, sizes.height))


def _rounding(sizes: Dimensions) -> float | None:
    """Radius of a bellmouth's edge over the diameter: it has no centreline."""
    return _over(sizes.radius, _diameter(sizes))


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


def _angle(kind: FittingKind, sizes: Dimensions) -> float | None:
    """Included angle that the length and both ends make, degrees."""
    duct, outlet = _ends(kind, sizes)
    if duct is None or outlet is None or sizes.length is None or kind.has_legs:
        return None
    if kind.opens and (duct[0] == Shape.ROUND) != (outlet[0] == Shape.ROUND):
        (_, diameter, _), (_, w, h) = sorted((duct, outlet))
        return float(np.degrees(round_to_rect_angle(diameter, w, h, sizes.length)))
    both = included_angles(*duct[1:], *outlet[1:], sizes.length)
    return float(np.degrees(np.max(both)))


def _velocity(sizes: Dimensions) -> float | None:
    duct, _ = _areas(sizes)
    return _over(sizes.flow, duct) if sizes.velocity is None else sizes.velocity


_RULES: dict[str, Callable[[Dimensions], float | None]] = {
    "angle_deg": lambda s: _times(s.angle, 180.0 / np.pi),
    "Vc_m_s": _velocity,
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
    "L_over_D": lambda s: _over(s.length, _diameter(s)),
    "L_after_over_W": lambda s: _over(s.length, _across(s)),
    "t_over_D": lambda s: _over(s.thickness, _diameter(s)),
}

_OUTLET = ("outlet_width", "outlet_height", "outlet_diameter")
_RADII = ("radius", "centreline_radius")
# What each parameter follows from, beside the size of the duct and its airflow.
_TAKEN: dict[str, tuple[str, ...]] = {
    "angle_deg": ("angle",),
    "r_over_W": _RADII,
    "r_over_D": _RADII,
    "throat_R_over_W": _RADII,
    "W_out_over_W_in": ("outlet_width",),
    "vane_spacing_mm": ("spacing",),
    "A_large_over_A_small": _OUTLET,
    "A_small_over_A_large": _OUTLET,
    "A_out_over_A_duct": _OUTLET,
    "Ab_over_Ac": _OUTLET,
    "Qb_over_Qc": ("branch_flow",),
    "D_exit_over_D": ("outlet_diameter",),
    "L_over_D": ("length",),
    "L_after_over_W": ("length",),
    "t_over_D": ("thickness",),
}
_BESIDE_THE_DUCT = (
    *_OUTLET,
    *_RADII,
    "angle",
    "length",
    "thickness",
    "spacing",
    "branch_flow",
)
