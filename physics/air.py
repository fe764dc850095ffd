"""Air: density and viscosity from temperature, altitude and humidity."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from elbowroom.layout import (
    Schedule,
    allowed,
    length_words,
    pressure_words,
    refusal,
    temperature_words,
)

SEA_LEVEL = 101325.0  # Pa
ROOM = 293.15  # K
STANDARD_DENSITY = 1.2  # kg/m³, of standard air; 0.075 lb/ft³ is 1.2014
_DRY = 287.055  # J/(kg K)
_VAPOUR = 461.52  # J/(kg K)


@dataclass(frozen=True, slots=True)
class Air:
    """Air in the ducts.

    Parameters
    ----------
    temperature
        K.
    pressure
        Absolute, Pa.
    humidity
        Share of saturation, 0 to 1.
    density
        kg/m³.
    viscosity
        Dynamic, Pa s.
    """

    temperature: float
    pressure: float
    humidity: float
    density: float
    viscosity: float

    @property
    def kinematic_viscosity(self) -> float:
        """Viscosity over density, m²/s."""
        return self.viscosity / self.density


def _check(what: str, value: float, words: Callable[[float], str]) -> None:
    """Refuse what no air has, in the words of its unit."""
    within = allowed.AIR[what]
    if not within.holds(value):
        raise ValueError(
            f"the {what} must be between {words(within.low)} and "
            f"{words(within.high)}, got {words(value)}"
        )


def pressure_at(altitude: float) -> float:
    """Atmospheric pressure, Pa, at an altitude in m.

    Raises
    ------
    ValueError
        If there is no site so high or so low (`allowed.AIR`). The formula itself holds
        up to 11 km.

    References
    ----------
    US Standard Atmosphere, 1976.

    Examples
    --------
    >>> round(pressure_at(1500.0))
    84556
    """
    _check("altitude", altitude, length_words)
    return float(SEA_LEVEL * (1.0 - 2.25577e-5 * altitude) ** 5.2559)


def air(
    temperature: float = ROOM,
    *,
    altitude: float = 0.0,
    pressure: float | None = None,
    humidity: float = 0.0,
) -> Air:
    """Air of a temperature.

    Parameters
    ----------
    temperature
        K, 213.15 to 423.15: -60 to 150 °C.
    altitude
        m, -500 to 6000; sets the pressure.
    pressure
        Absolute, Pa, 30 to 120 kPa; instead of the altitude.
    humidity
        Share of saturation, 0 to 1.

    Returns
    -------
    air
        With density by the ideal gas law of dry air and vapour, viscosity by
        Sutherland's formula.

    Raises
    ------
    ValueError
        If the temperature, the altitude, the pressure or the humidity is out of
        range.

    References
    ----------
    Gas constants and saturation (Magnus form, from memory, within 0.3 % from -20 to
    60 °C) as in the tables of moist air; Sutherland: US Standard Atmosphere, 1976.

    Examples
    --------
    >>> round(air().density, 4), round(air().viscosity * 1e5, 3)
    (1.2041, 1.813)
    """
    _check("temperature", temperature, temperature_words)
    _check("humidity", humidity, "{:g}".format)
    if pressure is not None:
        _check("pressure", pressure, pressure_words)
    absolute = pressure_at(altitude) if pressure is None else pressure
    celsius = temperature - 273.15
    saturation = 611.2 * np.exp(17.62 * celsius / (243.12 + celsius))
    vapour = humidity * saturation
    if not vapour < absolute:
        raise ValueError(
            f"air of {temperature_words(temperature)} cannot be {humidity:.0%} humid "
            f"at {pressure_words(absolute)}: it would be all vapour"
        )
    density = (absolute - vapour) / (_DRY * temperature) + vapour / (
        _VAPOUR * temperature
    )
    viscosity = 1.458e-6 * temperature**1.5 / (temperature + 110.4)
    return Air(temperature, absolute, humidity, float(density), float(viscosity))


def air_of(schedule: Schedule) -> Air:
    """Air of a schedule: 20 °C at sea level and dry where it is silent.

    Raises
    ------
    BadInput
        If there is no such air, as where it would be all vapour.
    """
    said = schedule.air
    try:
        return air(
            ROOM if said.temperature is None else said.temperature,
            altitude=said.altitude or 0.0,
            pressure=said.pressure,
            humidity=said.humidity or 0.0,
        )
    except ValueError as problem:
        raise refusal(
            f"{schedule.file}, [air]",
            str(problem),
            "correct its temperature, its humidity or the altitude",
        ) from None
