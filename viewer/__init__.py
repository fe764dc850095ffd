"""From pressures to pictures, reports and commands."""

from .cli import main

__all__ = ["main"]
