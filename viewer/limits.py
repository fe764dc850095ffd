"""How large the quantities of an option may be, and the ports that there are."""

from elbowroom.layout import refusal

_PORTS = 65535
# Beyond these no duct is built; nearer to the ends of floating point no formula holds.
_WITHIN = {
    "length": (1e-6, 1e3, "0.001 mm to 1000 m (0.00004 in to 3281 ft)"),
    "airflow": (1e-9, 1e6, "1e-9 to 1e6 m3/s (2.1e-6 to 2.1e9 cfm)"),
    "velocity": (1e-6, 1e3, "1e-6 to 1000 m/s (0.0002 to 196850 fpm)"),
    "friction rate": (1e-9, 1e6, "1e-9 to 1e6 Pa/m (1.2e-10 to 1.2e5 in.wg/100 ft)"),
}


def option_of(name: str) -> str:
    """Option by which a quantity of this name is given."""
    return f"--{name.replace('_', '-')}"


def check_range(value: float, text: str, dimension: str, where: str) -> None:
    """Refuse a quantity beyond any duct; `text` is how it was written.

    Raises
    ------
    BadInput
        If an SI value above zero lies outside the range of its dimension.
    """
    low, high, words = _WITHIN.get(dimension, (-float("inf"), float("inf"), ""))
    if not low <= value <= high:
        raise refusal(where, f"{text} lies outside {words}", "correct it")


def check_port(port: int) -> None:
    """Refuse a port that there cannot be."""
    if not 0 <= port <= _PORTS:
        raise refusal(
            "--port",
            f"{port} is no port",
            f"write 1 to {_PORTS}, or 0 for any free one",
        )
