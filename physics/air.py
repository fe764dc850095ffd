"""Air: density and viscosity from temperature, altitude and humidity."""

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


def pressure_at(altitude: float) -> float:
    """Atmospheric pressure, Pa, at an altitude in m, below 11 km.

    Raises
    ------
    ValueError
        If the altitude is below -500 m or above 11 km.

    References
    ----------
    US Standard Atmosphere, 1976.

    Examples
    --------
    >>> round(pressure_at(1500.0))
    84556
    """
    if not -500.0 <= altitude <= 11e3:
        raise ValueError(
            "the altitude must be between -500 and 11000 m (-1640 and 36089 ft), got "
            f"{length_words(altitude)}"
        )
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
        m, -500 to 11000; sets the pressure.
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
    if not 213.15 - 1e-6 <= temperature <= 423.15 + 1e-6:
        raise ValueError(
            "the air must be between -60 and 150 °C (-76 and 302 °F), got "
            f"{temperature_words(temperature)}"
        )
    if not 0.0 <= humidity <= 1.0:
        raise ValueError(f"humidity is a share from 0 to 1, got {humidity:g}")
    absolute = pressure_at(altitude) if pressure is None else pressure
    within = allowed.AIR["pressure"]
    if pressure is not None and not within.holds(pressure):
        raise ValueError(
            f"the air pressure must be between {pressure_words(within.low)} and "
            f"{pressure_words(within.high)}, got {pressure_words(pressure)}"
        )
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
