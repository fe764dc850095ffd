"""From a classified graph to velocities and pressure losses."""

from . import (
    book,
    caps,
    dampers,
    elbows,
    entries,
    equipment,
    exits,
    fan_effect,
    flexible,
    friction,
    interaction,
    junctions,
    leakage,
    network,
    noise,
    obstructions,
    power,
    sizes,
    tables,
    takeoff_entries,
    transitions,
    uncertainty,
    warming,
)
from .air import Air, air, pressure_at
from .analysis import Analysis, analyse
from .balance import WORTH, Setting, balance, damper_words, open_shares
from .budget import (
    Budget,
    budget,
    critical_return,
    plan_with_returns,
    with_returns,
)
from .check import Check, CheckDimension
from .checks import checks, power_of
from .close_pairs import ClosePair
from .coefficient import Coefficient, Credit, LookupRefused, Note
from .compare import Comparison, Option, compare, unbuildable
from .conditions import Conditions, conditions_of
from .duct_schedule import DuctRow, duct_schedule
from .effects import Effect, effects
from .elements import DuctState, Elements, Kind
from .fan_curve import crossings, pressure_of
from .flags import dust_flags, too_fast
from .flows import duct_flows
from .ledger import CRITICAL_PATH, Assumption
from .loops import settled, settled_audit
from .network import solve_network
from .one_outlet import with_one_outlet
from .operate import DAMPER_STATES, Operation, operate
from .own_changes import own_part
from .power import FanPower, fan_power
from .pressure_checks import static_pressure, surface_of, terminal_static
from .proportion import Proportions, proportion
from .quantities import (
    ALLOWANCE,
    STOCK,
    LengthRow,
    Quantities,
    gauges,
    quantities,
    sheet_mass,
)
from .remedies import LEAST_WON, Remedy, kept_from_trying, remedies
from .rooms import with_airflows
from .run_sizes import METHODS, UNMET, Aim, Choice, regained
from .site_air import sites_apart
from .sizing_notices import sizing_notices
from .sources import Missing, TableSource, missing, table_sources
from .straight_after import straight_after
from .system import USUAL_RATE, WINDOW, System, outside_window
from .tables import doubts
from .uncertainty import (
    Band,
    critical_band,
    critical_draws,
    element_bands,
    path_bands,
)
from .velocity_checks import velocity_limits

__all__ = [
    "ALLOWANCE",
    "CRITICAL_PATH",
    "DAMPER_STATES",
    "LEAST_WON",
    "METHODS",
    "STOCK",
    "UNMET",
    "USUAL_RATE",
    "WINDOW",
    "WORTH",
    "Aim",
    "Air",
    "Analysis",
    "Assumption",
    "Band",
    "Budget",
    "Check",
    "CheckDimension",
    "Choice",
    "ClosePair",
    "Coefficient",
    "Comparison",
    "Conditions",
    "Credit",
    "DuctRow",
    "DuctState",
    "Effect",
    "Elements",
    "FanPower",
    "Kind",
    "LengthRow",
    "LookupRefused",
    "Missing",
    "Note",
    "Operation",
    "Option",
    "Proportions",
    "Quantities",
    "Remedy",
    "Setting",
    "System",
    "TableSource",
    "air",
    "analyse",
    "balance",
    "book",
    "budget",
    "caps",
    "checks",
    "compare",
    "conditions_of",
    "critical_band",
    "critical_draws",
    "critical_return",
    "crossings",
    "damper_words",
    "dampers",
    "doubts",
    "duct_flows",
    "duct_schedule",
    "dust_flags",
    "effects",
    "elbows",
    "element_bands",
    "entries",
    "equipment",
    "exits",
    "fan_effect",
    "fan_power",
    "flexible",
    "friction",
    "gauges",
    "interaction",
    "junctions",
    "kept_from_trying",
    "leakage",
    "missing",
    "network",
    "noise",
    "obstructions",
    "open_shares",
    "operate",
    "outside_window",
    "own_part",
    "path_bands",
    "plan_with_returns",
    "power",
    "power_of",
    "pressure_at",
    "pressure_of",
    "proportion",
    "quantities",
    "regained",
    "remedies",
    "settled",
    "settled_audit",
    "sheet_mass",
    "sites_apart",
    "sizes",
    "sizing_notices",
    "solve_network",
    "static_pressure",
    "straight_after",
    "surface_of",
    "table_sources",
    "tables",
    "takeoff_entries",
    "terminal_static",
    "too_fast",
    "transitions",
    "unbuildable",
    "uncertainty",
    "velocity_limits",
    "warming",
    "with_airflows",
    "with_one_outlet",
    "with_returns",
]
