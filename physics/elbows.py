"""Loss coefficients of elbows, on the velocity in the duct.

W is the side of the section in the plane of the bend, H the side along its axis;
aspect is H / W; a radius is that of the centreline. Friction along the elbow is not
in the coefficient: it is counted with the length of the duct.
"""

from .elbow_factors import (
    angle_factor,
    reynolds_factor,
)
from .elbows_rect import (
    TIGHTEST,
    rect_mitred,
    rect_mitred_area_change,
    rect_smooth,
    rect_square_heel,
    rect_square_throat,
)
from .elbows_round import (
    flat_oval_mitred,
    flat_oval_segmented,
    flat_oval_smooth,
    round_by_diameter,
    round_mitred,
    round_segmented,
    round_smooth,
    round_smooth_with_friction,
    tested_ratio,
)
from .elbows_vaned import (
    VaneRail,
    older_vane_rails,
    rect_splitters,
    rect_vaned,
    rect_vaned_older,
    vane_spacings,
)

__all__ = [
    "TIGHTEST",
    "VaneRail",
    "angle_factor",
    "flat_oval_mitred",
    "flat_oval_segmented",
    "flat_oval_smooth",
    "older_vane_rails",
    "rect_mitred",
    "rect_mitred_area_change",
    "rect_smooth",
    "rect_splitters",
    "rect_square_heel",
    "rect_square_throat",
    "rect_vaned",
    "rect_vaned_older",
    "reynolds_factor",
    "round_by_diameter",
    "round_mitred",
    "round_segmented",
    "round_smooth",
    "round_smooth_with_friction",
    "tested_ratio",
    "vane_spacings",
]
