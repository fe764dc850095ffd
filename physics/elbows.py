"""Loss coefficients of elbows, on the velocity in the duct.

W is the side of the section in the plane of the bend, H the side along its axis;
aspect is H / W; a radius is that of the centreline. Friction along the elbow is not
in the coefficient: it is counted with the length of the duct.
"""

from .elbow_factors import angle_factor as angle_factor
from .elbow_factors import reynolds_factor as reynolds_factor
from .elbows_rect import TIGHTEST as TIGHTEST
from .elbows_rect import rect_mitred as rect_mitred
from .elbows_rect import rect_mitred_area_change as rect_mitred_area_change
from .elbows_rect import rect_smooth as rect_smooth
from .elbows_rect import rect_square_heel as rect_square_heel
from .elbows_rect import rect_square_throat as rect_square_throat
from .elbows_round import flat_oval_mitred as flat_oval_mitred
from .elbows_round import flat_oval_segmented as flat_oval_segmented
from .elbows_round import flat_oval_smooth as flat_oval_smooth
from .elbows_round import round_by_diameter as round_by_diameter
from .elbows_round import round_mitred as round_mitred
from .elbows_round import round_segmented as round_segmented
from .elbows_round import round_smooth as round_smooth
from .elbows_round import round_smooth_with_friction as round_smooth_with_friction
from .elbows_vaned import VaneRail as VaneRail
from .elbows_vaned import older_vane_rails as older_vane_rails
from .elbows_vaned import rect_splitters as rect_splitters
from .elbows_vaned import rect_vaned as rect_vaned
from .elbows_vaned import rect_vaned_older as rect_vaned_older
from .elbows_vaned import vane_spacings as vane_spacings
