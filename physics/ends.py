"""Loss coefficients where air enters and leaves a duct, on the velocity in it."""

from .caps import entry_cap, exit_cap
from .entries import (
    entry_bellmouth,
    entry_conical,
    entry_hood,
    entry_in_wall,
)
from .exits import (
    DIFFUSERS,
    exit_abrupt,
    exit_after_elbow,
    exit_diffuser,
    exit_nozzle,
)

__all__ = [
    "DIFFUSERS",
    "entry_bellmouth",
    "entry_cap",
    "entry_conical",
    "entry_hood",
    "entry_in_wall",
    "exit_abrupt",
    "exit_after_elbow",
    "exit_cap",
    "exit_diffuser",
    "exit_nozzle",
]
