"""What is tabulated for standard air, of fans and components, in a site's air."""

from dataclasses import replace

from elbowroom.layout import (
    AirSpec,
    FanSpec,
    Notice,
    Schedule,
    density_words,
    length_words,
    pressure_words,
    warning,
)

from .air import STANDARD_DENSITY, Air, air_of

PRESSURE_AT = (
    'write pressure_at = "standard air" or "site" under [fan]: the maker says for '
    "which air it is tabulated"
)
LOSSES_AT = (
    'write losses_at = "standard air" or "site" under [air]: the maker says for which '
    "air they are tabulated"
)
NEAR = 0.02  # share by which densities may differ before it is said
_ONE_SITE = 1e-3  # of its pressure, as altitudes 8 m apart have; own choice


def density_ratio(air: Air) -> float:
    """Density of air over that of standard air."""
    return air.density / STANDARD_DENSITY


def fan_at_site(fan: FanSpec, air: Air) -> FanSpec:
    """A fan with what it gives in the air of a site.

    Parameters
    ----------
    fan
        As the schedule declares it.
    air
        The air that it moves.

    Returns
    -------
    fan
        The same where its pressure is not said to be one in standard air; else with
        every pressure times the ratio of densities, at the same airflows.

    References
    ----------
    Fan laws at one speed: airflow stays, pressure and power go with density; Stoecker
    and Jones, Refrigeration and Air Conditioning, ch. 6.
    """
    if fan.pressure_at != "standard air":
        return fan
    ratio = density_ratio(air)

    def there(pressure: float | None) -> float | None:
        return None if pressure is None else pressure * ratio

    return replace(
        fan,
        external_static_pressure=there(fan.external_static_pressure),
        total_pressure=there(fan.total_pressure),
        curve=tuple((flow, pressure * ratio) for flow, pressure in fan.curve),
        pressure_at="site",
    )


def loss_ratio(said: AirSpec, air: Air) -> float:
    """What a declared loss is multiplied by for one in a site's air.

    1 where it is not said to be one in standard air; else the ratio of densities, as
    the airflow is the same and C does not change with it.

    References
    ----------
    Loss = C ρ V²/2, the definition of C; the share of a filter that goes with the
    viscosity is not told apart.
    """
    return density_ratio(air) if said.losses_at == "standard air" else 1.0


def is_far(air: Air) -> bool:
    """Whether a site's air is so far from standard air that it has to be said."""
    return abs(density_ratio(air) - 1.0) > NEAR


def is_unsaid(fan: FanSpec, air: Air) -> bool:
    """Whether it matters for which air a fan is tabulated, and nobody says it."""
    pressures = (fan.external_static_pressure, fan.total_pressure, fan.curve or None)
    declared = any(pressure is not None for pressure in pressures)
    return declared and fan.pressure_at is None and is_far(air)


def taken_words(fan: FanSpec, air: Air) -> str:
    """What is taken of a fan where nobody says for which air it is tabulated."""
    what = "curve" if fan.curve else "pressure"
    return f"the fan's {what} as one in the site's air of {density_words(air.density)}"


def fan_air_notices(fan: FanSpec, air: Air) -> list[Notice]:
    """Say what was taken where nobody says for which air a fan is tabulated."""
    if not is_unsaid(fan, air):
        return []
    return [
        warning(
            "[fan]",
            f"{taken_words(fan, air)} was taken; one in standard air of "
            f"{density_words(STANDARD_DENSITY)} gives {density_ratio(air):.3f} of it "
            "here",
            PRESSURE_AT,
        )
    ]


def site_words(said: AirSpec) -> str:
    """Where a schedule says that the site is: its altitude, or its air pressure."""
    if said.pressure is not None:
        return f"{pressure_words(said.pressure)} of air pressure"
    if said.altitude:
        return f"{length_words(said.altitude)} above sea level"
    return "sea level"


def sites_apart(supply: Schedule, back: Schedule) -> list[Notice]:
    """Say that a supply and a return of its fan stand at two sites.

    Parameters
    ----------
    supply, back
        The schedules of both; the return's states a site of its own.
    """
    there, here = air_of(supply).pressure, air_of(back).pressure
    if abs(here - there) <= _ONE_SITE * there:
        return []
    silent = supply.air.altitude is None and supply.air.pressure is None
    return [
        warning(
            f"{back.file}, [air]",
            f"the return stands at {site_words(back.air)} and its supply at "
            f"{site_words(supply.air)}{', as its schedule says none' * silent}: each "
            "side counts in the air of its own site, and the fan in that of the supply",
            "write the site under [air] of the supply alone: its returns stand there "
            "too then",
            effect="what a side loses goes with the density of its air",
        )
    ]
