"""What the fan draws: power, energy, and the warmth that it gives the air."""

from dataclasses import dataclass

from elbowroom.layout import allowed

# What a power rests on: the pressure of the fan itself, or that which the layout needs.
OWN = "fan"
NO_FAN = "need, no fan declared"
TOO_WEAK = "need, fan too weak"
OFF_CURVE = "need, beyond the fan's curve"


@dataclass(frozen=True, slots=True)
class FanPower:
    """Power of a fan at a duty, W; None where an efficiency is not declared.

    Parameters
    ----------
    air
        Airflow times total pressure; None, as all the rest, where either is below
        zero: no fan draws less than nothing.
    shaft
        Air power over the fan's efficiency.
    electric
        Shaft power over the efficiency of motor and drive.
    energy
        Electric energy of a year, J.
    warming
        What the air warms where fan and motor stand in it, K.
    total_pressure
        What it was reckoned from, Pa.
    basis
        Whose pressure that is: `OWN`, or what the layout needs at the airflow, with
        the reason why it is not the fan's: `NO_FAN`, `TOO_WEAK` or `OFF_CURVE`.
    seconds
        Time that it runs in a year, for which the energy is; None if not declared.
    """

    air: float | None
    shaft: float | None = None
    electric: float | None = None
    energy: float | None = None
    warming: float | None = None
    total_pressure: float = 0.0
    basis: str = OWN
    seconds: float | None = None


def fan_power(
    flow: float,
    total_pressure: float,
    *,
    efficiency: float | None = None,
    drive_efficiency: float | None = None,
    seconds: float | None = None,
    heat_capacity: float | None = None,
    basis: str = OWN,
) -> FanPower:
    """Power of a fan.

    Parameters
    ----------
    flow
        m³/s; below zero there is no power to tell of.
    total_pressure
        Pa; likewise.
    efficiency, drive_efficiency
        Of the fan, and of motor and drive; shares, above 0 and at most 1.
    seconds
        Time that it runs in a year.
    heat_capacity
        Of the air, J/(m³ K).
    basis
        Whose pressure it is; see `FanPower`.

    Raises
    ------
    ValueError
        If an efficiency is no such share.

    References
    ----------
    Definitions; the rise of temperature p / (rho cp eta) as in ASHRAE Handbook
    Fundamentals.
    """
    for what, share in (
        ("efficiency", efficiency),
        ("drive_efficiency", drive_efficiency),
    ):
        if share is not None:
            allowed.check_value(what, share, allowed.FAN[what])
    if total_pressure < 0.0 or flow < 0.0:
        return FanPower(None, total_pressure=total_pressure, basis=basis)
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
    return FanPower(
        air, shaft, electric, energy, warming, total_pressure, basis, seconds
    )
