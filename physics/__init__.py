"""From a classified graph to velocities and pressure losses."""

from . import (
    book,
    dampers,
    elbows,
    ends,
    equipment,
    fan_effect,
    flexible,
    friction,
    interaction,
    junctions,
    obstructions,
    sizes,
    tables,
    transitions,
    uncertainty,
)
from .air import Air, air, air_of, pressure_at
from .analysis import Analysis, analyse
from .balance import Setting, balance, open_shares
from .close_pairs import ClosePair
from .coefficient import Coefficient, LookupRefused, Note
from .compare import Comparison, Option, compare
from .conditions import Conditions, conditions_of
from .effects import Effect, effects
from .elements import DuctState, Elements, Kind
from .flows import duct_flows
from .ledger import Assumption
from .network import solve_network
from .sources import Missing, TableSource, missing, table_sources
from .system import WINDOW, System
from .uncertainty import (
    Band,
    critical_band,
    critical_draws,
    element_bands,
    path_bands,
    share_less,
)

__all__ = [
    "WINDOW",
    "Air",
    "Analysis",
    "Assumption",
    "Band",
    "ClosePair",
    "Coefficient",
    "Comparison",
    "Conditions",
    "DuctState",
    "Effect",
    "Elements",
    "Kind",
    "LookupRefused",
    "Missing",
    "Note",
    "Option",
    "Setting",
    "System",
    "TableSource",
    "air",
    "air_of",
    "analyse",
    "balance",
    "book",
    "compare",
    "conditions_of",
    "critical_band",
    "critical_draws",
    "dampers",
    "duct_flows",
    "effects",
    "elbows",
    "element_bands",
    "ends",
    "equipment",
    "fan_effect",
    "flexible",
    "friction",
    "interaction",
    "junctions",
    "missing",
    "obstructions",
    "open_shares",
    "path_bands",
    "pressure_at",
    "share_less",
    "sizes",
    "solve_network",
    "table_sources",
    "tables",
    "transitions",
    "uncertainty",
]
