"""From a classified graph to velocities and pressure losses."""

from . import elbows, ends, friction, junctions, tables, transitions
from .air import Air, air, air_of, pressure_at
from .analysis import WINDOW, Analysis, Assumption, System, analyse
from .coefficient import Coefficient, LookupRefused, Note
from .conditions import Conditions, conditions_of
from .elements import DuctState, Elements, Kind
from .flows import downstream_sum, duct_flows

__all__ = [
    "WINDOW",
    "Air",
    "Analysis",
    "Assumption",
    "Coefficient",
    "Conditions",
    "DuctState",
    "Elements",
    "Kind",
    "LookupRefused",
    "Note",
    "System",
    "air",
    "air_of",
    "analyse",
    "conditions_of",
    "downstream_sum",
    "duct_flows",
    "elbows",
    "ends",
    "friction",
    "junctions",
    "pressure_at",
    "tables",
    "transitions",
]
