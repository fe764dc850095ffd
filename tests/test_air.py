"""Air against published tables and two reference libraries."""

import fluids
import numpy as np
import pytest

from elbowroom.physics import Air, air, pressure_at

CFT = 16.018463  # kg/m³ in a lb/ft³, exact to the figures given


def test_standard_air_has_the_density_of_the_books() -> None:
    # 20 °C, 101325 Pa, dry: 1.2041 kg/m³ and 1.8134e-5 Pa s (US Standard Atmosphere
    # 1976 for the viscosity; CoolProp and psychrolib agree). Printed to four figures.
    standard = air()
    assert isinstance(standard, Air)
    assert standard.density == pytest.approx(1.2041, abs=5e-5)
    assert standard.viscosity == pytest.approx(1.8134e-5, abs=5e-10)
    assert standard.kinematic_viscosity == pytest.approx(1.50603e-5, abs=5e-10)


@pytest.mark.parametrize(
    ("celsius", "altitude", "dry", "half_humid", "viscosity"),
    [
        # psychrolib 2.5 at half saturation; viscosity US Standard Atmosphere 1976.
        (-20, 0, 1.39436, 1.39415, 1.61533e-5),
        (0, 0, 1.29226, 1.29085, 1.71608e-5),
        (20, 0, 1.2041, 1.1989, 1.81341e-5),
        (40, 0, 1.1272, 1.11172, 1.90757e-5),
        (60, 0, 1.05953, 1.02015, 1.99882e-5),
        (20, 500, 1.13441, 1.12921, 1.81341e-5),
        (50, 500, 1.02910, 1.00398, 1.95355e-5),
    ],
)
def test_density_follows_temperature_altitude_and_humidity(
    celsius: float, altitude: float, dry: float, half_humid: float, viscosity: float
) -> None:
    kelvin = celsius + 273.15
    # 2e-4: the two pressure formulas differ by as much.
    assert air(kelvin, altitude=altitude).density == pytest.approx(dry, rel=2e-4)
    moist = air(kelvin, altitude=altitude, humidity=0.5)
    # 3e-4: the saturation formula here is good to 0.3 % of the vapour's own share.
    assert moist.density == pytest.approx(half_humid, rel=3e-4)
    assert moist.viscosity == pytest.approx(viscosity, rel=1e-5)


def test_pressure_falls_with_altitude_as_in_the_standard_atmosphere() -> None:
    # US Standard Atmosphere 1976, geometric altitude; 15 Pa is what the short formula
    # leaves out.
    for altitude, pressure in (
        (0, 101325),
        (500, 95461),
        (1000, 89876),
        (1500, 84560),
        (2000, 79501),
        (3000, 70121),
    ):
        assert pressure_at(altitude) == pytest.approx(pressure, abs=15)


@pytest.mark.parametrize("altitude", [0.0, 1000.0, 3000.0, 5000.0])
def test_standard_atmosphere_agrees_with_a_library(altitude: float) -> None:
    # fluids, US Standard Atmosphere 1976.
    there = fluids.ATMOSPHERE_1976(altitude)
    ours = air(there.T, altitude=altitude)
    assert ours.pressure == pytest.approx(there.P, rel=1e-3)
    assert ours.density == pytest.approx(there.rho, rel=1e-3)
    assert ours.viscosity == pytest.approx(there.mu, rel=1e-4)


def test_air_of_a_high_city() -> None:
    # ASHRAE duct design worksheet (2021), example at 5430 ft and 70 F: 0.061 lb/ft³.
    density = air((70 - 32) / 1.8 + 273.15, altitude=5430 * 0.3048).density
    assert density / CFT == pytest.approx(0.061, abs=0.0005)


def test_a_given_pressure_stands_in_place_of_the_altitude() -> None:
    assert air(pressure=90_000.0).density == pytest.approx(
        air().density * 90_000.0 / 101_325.0, rel=1e-12
    )


def test_humid_air_is_lighter_than_dry_air() -> None:
    densities = [air(303.15, humidity=h).density for h in np.linspace(0, 1, 5)]
    assert (np.diff(densities) < 0).all()


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"temperature": 500.0}, "between -60 °C .* and 150 °C"),
        ({"temperature": float("nan")}, "between -60 °C .* and 150 °C"),
        ({"humidity": 1.2}, "between 0 and 1, got 1.2"),
        ({"altitude": 7000.0}, "between -500 m .* and 6000 m .*, got 7000 m "),
        ({"pressure": 101.3}, "between 30000 Pa .* and 120000 Pa .*, got 101.3 Pa"),
        ({"temperature": 400.0, "humidity": 1.0}, "all vapour"),
    ],
)
def test_air_that_cannot_be_is_refused(given: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        air(**given)
