"""Quantities as a reader wants them: metric or inch-pound."""

from dataclasses import dataclass

from elbowroom.layout import Section, units


@dataclass(frozen=True, slots=True)
class Display:
    """One way to show quantities.

    Parameters
    ----------
    name
        'metric' or 'inch-pound'.
    length, flow, velocity, pressure, rate
        Unit of each.
    pressure_digits
        Decimals of a pressure.
    """

    name: str
    length: str
    flow: str
    velocity: str
    pressure: str
    rate: str
    pressure_digits: int

    def lengths(self, value: float, digits: int = 2) -> str:
        """A length, without its unit."""
        shown = units.to_unit(value, self.length)
        return f"{shown:.{digits if self.length == 'm' else max(digits - 1, 0)}f}"

    def gaps(self, value: float) -> str:
        """A short distance with its unit."""
        if self.length == "m":
            return f"{value * 1e3:.0f} mm"
        return f"{units.to_unit(value, 'in'):.1f} in"

    def flows(self, value: float) -> str:
        """An airflow, without its unit."""
        return f"{units.to_unit(value, self.flow):.0f}"

    def velocities(self, value: float) -> str:
        """A velocity, without its unit."""
        digits = 1 if self.velocity == "m/s" else 0
        return f"{units.to_unit(value, self.velocity):.{digits}f}"

    def pressures(self, value: float) -> str:
        """A pressure, without its unit."""
        return f"{units.to_unit(value, self.pressure) + 0.0:.{self.pressure_digits}f}"

    def rates(self, value: float) -> str:
        """A friction rate with its unit."""
        digits = 2 if self.rate == "Pa/m" else 3
        return f"{units.to_unit(value, self.rate):.{digits}f} {self.rate}"

    def size(self, section: Section) -> str:
        """A section with its unit: width × height."""
        return section.words_in(self.side)

    @property
    def side(self) -> str:
        """Unit of the sides of sections."""
        return "mm" if self.length == "m" else "in"

    def side_words(self, value: float) -> str:
        """A side or diameter, without its unit."""
        scaled = units.to_unit(value, self.side)
        return f"{scaled:.0f}" if self.side == "mm" else f"{scaled:.1f}"

    def areas(self, value: float) -> str:
        """An area, without its unit."""
        return f"{units.to_unit(value, self.area):.1f}"

    @property
    def area(self) -> str:
        """Unit of areas."""
        return "m2" if self.length == "m" else "ft2"

    def masses(self, value: float) -> str:
        """A mass, without its unit."""
        return f"{value if self.length == 'm' else value / units.POUND:.1f}"

    @property
    def mass(self) -> str:
        """Unit of masses."""
        return "kg" if self.length == "m" else "lb"


METRIC = Display("metric", "m", "L/s", "m/s", "Pa", "Pa/m", 1)
INCH_POUND = Display("inch-pound", "ft", "cfm", "fpm", "in.wg", "in.wg/100 ft", 4)
DISPLAYS = {display.name: display for display in (METRIC, INCH_POUND)}


def counted(number: int, noun: str) -> str:
    """A number and what is counted: '1 loop', '2 loops'.

    Examples
    --------
    >>> counted(1, "loop"), counted(0, "loop")
    ('1 loop', '0 loops')
    """
    return f"{number} {noun}{'s' * (number != 1)}"
