"""What the fan draws: power, energy, and the warmth that it gives the air."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FanPower:
    """Power of a fan at a duty, W; None where an efficiency is not declared.

    Parameters
    ----------
    air
        Airflow times total pressure; None, as all the rest, where that is below zero:
        no fan draws less than nothing.
    shaft
        Air power over the fan's efficiency.
    electric
        Shaft power over the efficiency of motor and drive.
    energy
        Electric energy of a year, J.
    warming
        What the air warms where fan and motor stand in it, K.
    """

    air: float | None
    shaft: float | None = None
    electric: float | None = None
    energy: float | None = None
    warming: float | None = None


def fan_power(
    flow: float,
    total_pressure: float,
    *,
    efficiency: float | None = None,
    drive_efficiency: float | None = None,
    seconds: float | None = None,
    heat_capacity: float | None = None,
) -> FanPower:
    """Power of a fan.

    Parameters
    ----------
    flow
        m³/s.
    total_pressure
        Pa; below zero there is no power to tell of.
    efficiency, drive_efficiency
        Of the fan, and of motor and drive; shares.
    seconds
        Time that it runs in a year.
    heat_capacity
        Of the air, J/(m³ K).

    References
    ----------
    Definitions; the rise of temperature p / (rho cp eta) as in ASHRAE Handbook
    Fundamentals.
    """
    if total_pressure < 0.0:
        return FanPower(None)
    air = flow * total_pressure
    shaft = None if efficiency is None else air / efficiency
    electric = None
    if shaft is not None and drive_efficiency is not None:
        electric = shaft / drive_efficiency
    energy = None if electric is None or seconds is None else electric * seconds
    warming = None
    drawn = electric if electric is not None else shaft
    if drawn is not None and heat_capacity is not None and flow > 0.0:
        warming = drawn / (flow * heat_capacity)
    return FanPower(air, shaft, electric, energy, warming)
