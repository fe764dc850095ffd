"""What the extras of a 3D file say of a run: flat keys with the unit in the key."""

import difflib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from .allowed import ROUGHNESS
from .drawing import NOTHING_SAID, Attributes, Run
from .faults import Notice, error
from .nearest import nearest
from .plain_text import plain_number
from .quantity_words import length_words
from .sections import (
    LARGEST_SIDE,
    SMALLEST_SIDE,
    Section,
    Shape,
    flat_oval,
    rectangular,
    round_section,
)
from .units import FOOT, beyond_buildings

# key: (what it is, factor to SI)
_NUMBERS = {
    "width_m": ("width", 1.0),
    "width_mm": ("width", 1e-3),
    "width_in": ("width", FOOT / 12),
    "height_m": ("height", 1.0),
    "height_mm": ("height", 1e-3),
    "height_in": ("height", FOOT / 12),
    "diameter_m": ("diameter", 1.0),
    "diameter_mm": ("diameter", 1e-3),
    "diameter_in": ("diameter", FOOT / 12),
    "flow_m3s": ("flow", 1.0),
    "flow_m3_s": ("flow", 1.0),  # as our own results have it
    "flow_m3h": ("flow", 1 / 3600),
    "flow_ls": ("flow", 1e-3),
    "flow_l_s": ("flow", 1e-3),
    "flow_cfm": ("flow", FOOT**3 / 60),
    "roughness_m": ("roughness", 1.0),
    "bend_radius_m": ("bend_radius", 1.0),
    "bend_radius_mm": ("bend_radius", 1e-3),
    "roll_deg": ("roll", math.pi / 180),
}
_WORDS = (
    "source",
    "terminal",
    "route",
    "name",
    "role",
    "transition",
    "up",
    "shape",
    "flexible",
)
KEYS = (*_NUMBERS, *_WORDS)
_RARE = frozenset(("roughness", "bend_radius", "roll"))
# Looked for so that a key without its unit is not passed over in silence.
_SUSPECT = frozenset(
    (*(what for what, _ in _NUMBERS.values()), "airflow", "bend radius", "bendradius")
)
_TRUE, _FALSE = ("true", "yes", "1", "start", "end"), ("false", "no", "0", "")
_SHAPES = ("oval", "flat oval", "round", "circular", "rectangular", "rectangle", "")


@dataclass
class Said:
    """What the extras of a run and of what holds it say together."""

    section: Section | None = None
    flow: float = math.nan
    name: str | None = None
    attributes: Attributes = NOTHING_SAID
    unread: tuple[tuple[str, str], ...] = ()  # what is not understood, with a remedy


def read_extras(
    layers: Sequence[Mapping[str, object]], where: str, faults: list[Notice]
) -> Said:
    """Read the extras of a run.

    Parameters
    ----------
    layers
        Extras of the primitive, its node, its mesh, the nodes above: whatever is
        said first counts.
    where
        Place for messages.
    faults
        List that faults are added to.

    Returns
    -------
    said
        What they say, in SI units.
    """
    values: dict[str, float] = {}
    words: dict[str, object] = {}
    unread: list[tuple[str, str]] = []
    begun = len(faults)
    for layer in layers:
        here: dict[str, str] = {}
        for key, raw in layer.items():
            if key in _NUMBERS:
                what, _ = _NUMBERS[key]
                if what in here:
                    faults.append(
                        error(
                            where,
                            f"{here[what]} and {key} are both given",
                            "delete one of them",
                        )
                    )
                here[what] = key
                value = _quantity(key, raw, where, faults)
                if value is not None:
                    values.setdefault(what, value)
            elif key in _WORDS:
                words.setdefault(key, raw)
            elif (bare := bare_quantity(key)) is not None:
                faults.append(error(where, *bare))
            elif (meant := _meant(key)) is not None:
                unread.append((f"'{key}'", f"write '{meant}' if that is meant"))
    section = None
    if len(faults) == begun:
        section = _section(values, words, where, faults)
    flow = values.get("flow", math.nan)
    if "roll" in values and "up" in words:
        faults.append(
            error(where, "roll_deg and up are both given", "delete one of them")
        )
    if "roughness" in values and _truth(words.get("flexible")):
        faults.append(
            error(
                where,
                "roughness_m and flexible are both given",
                "delete one of them; the schedule may say the material of the run",
            )
        )
    if not words and not _RARE.intersection(values):
        return Said(section, flow, unread=tuple(unread))
    for key, raw in words.items():
        if (fault := _misfit(key, raw)) is not None:
            unread.append((f"{key} = {_shown(raw)}", fault))
    return Said(
        section,
        flow,
        _text(words, "route") or _text(words, "name"),
        Attributes(
            source=_truth(words.get("source")),
            source_at_end={"start": False, "end": True}.get(str(words.get("source"))),
            terminal=_terminal(words),
            transition=_truth(words.get("transition"))
            or words.get("role") == "transition",
            roughness=values.get("roughness"),
            roll=values.get("roll"),
            up=_vector(words, where, faults),
            bend_radius=values.get("bend_radius"),
            role=_text(words, "role"),
            flexible=_truth(words.get("flexible")),
        ),
        tuple(unread),
    )


def _quantity(key: str, raw: object, where: str, faults: list[Notice]) -> float | None:
    """A number in SI units; None, with a fault, for what it cannot be."""
    what, factor = _NUMBERS[key]
    number = _number(raw)
    if number is None:
        faults.append(
            error(
                where,
                f"{key} is {_shown(raw)}, which is no number",
                "write it as a number with a decimal point, without a unit",
            )
        )
        return None
    if what not in ("roll", "roughness") and number * factor <= 0.0:
        faults.append(
            error(where, f"{key} is {number:g}; it must be above zero", "correct it")
        )
        return None
    value, is_side = number * factor, what in ("width", "height", "diameter")
    slip = "" if what == "roll" else _slip(value, what)
    if slip:
        way = "check the unit: was it meant in millimetres" if is_side else "correct it"
        faults.append(error(where, f"{key} is {number:g}, {slip}", way))
        return None
    if what == "roughness" and not ROUGHNESS.holds(value):
        most = f"more than {length_words(ROUGHNESS.high)}"
        way = "check the unit: was it meant in millimetres"
        if value < ROUGHNESS.low:
            most, way = "below zero", "correct it"
        faults.append(error(where, f"{key} is {number:g}, {most}", way))
        return None
    return value


def _slip(value: float, what: str) -> str:
    """How a value in SI is none that a duct has, in words; empty where it is one."""
    if what in ("width", "height", "diameter"):
        if value < SMALLEST_SIDE:
            return f"less than {length_words(SMALLEST_SIDE)}"
        return f"a duct of {length_words(value)}" if value > LARGEST_SIDE else ""
    return beyond_buildings(value, "airflow" if what == "flow" else "length")


def bare_quantity(key: str) -> tuple[str, str] | None:
    """Fault and remedy of a key that is a quantity without its unit; None for others.

    Examples
    --------
    >>> bare_quantity("bend_radius")[1]
    "write it as 'bend_radius_m'"
    """
    if key.lower() not in _SUSPECT:
        return None
    near = difflib.get_close_matches(f"{key.lower()}_m", KEYS, n=1)
    return (
        f"the extra '{key}' has no unit in its name",
        f"write it as '{near[0] if near else key + '_m'}'",
    )


@lru_cache(maxsize=1000)  # of all runs of a file the keys are mostly the same
def _meant(key: str) -> str | None:
    """Key that another resembles."""
    return nearest(key, KEYS, close=0.8)


def _misfit(key: str, raw: object) -> str | None:
    """How to mend what is said by a word, where it says nothing; None if it does."""
    word = raw.strip().lower() if isinstance(raw, str) else None
    if raw is None or key == "up":  # a bad `up` is refused
        return None
    if key in ("source", "transition", "flexible"):
        fits = raw in (0, 1) if word is None else word in (*_TRUE, *_FALSE)
        return None if fits else "write true or false"
    if key == "shape":
        return None if word in _SHAPES else "write oval, or leave it out"
    fits = word is not None or (key == "terminal" and isinstance(raw, (int, float)))
    return None if fits else "write a text"


def _section(
    values: Mapping[str, float],
    words: Mapping[str, object],
    where: str,
    faults: list[Notice],
) -> Section | None:
    sides = "width" in values, "height" in values
    if "diameter" in values:
        if any(sides):
            faults.append(
                error(
                    where,
                    "both a diameter and a width or height are given",
                    "delete the ones that do not apply",
                )
            )
            return None
        return _made(round_section, values["diameter"])
    if all(sides):
        make = flat_oval if _is_oval(words.get("shape")) else rectangular
        return _made(make, values["width"], values["height"])
    if any(sides):
        given, missing = ("width", "height") if sides[0] else ("height", "width")
        faults.append(
            error(
                where, f"a {given} without a {missing} is given", f"add {missing}_m too"
            )
        )
    return None


@lru_cache(maxsize=1000)  # of all runs of a file the sections are mostly the same
def _made(make: Callable[..., Section], *sides: float) -> Section:
    """A section, which is checked as it is made."""
    return make(*sides)


def _is_oval(shape: object) -> bool:
    return isinstance(shape, str) and shape.strip().lower() in ("oval", "flat oval")


def _number(raw: object) -> float | None:
    if isinstance(raw, bool):
        return None
    if isinstance(raw, (int, float, str)):
        try:
            number = plain_number(raw) if isinstance(raw, str) else float(raw)
        except (ValueError, OverflowError):  # OverflowError: an integer of 400 digits
            return None
        return number if math.isfinite(number) else None
    return None


def _truth(raw: object) -> bool:
    if isinstance(raw, str):
        return raw.strip().lower() in _TRUE
    return raw is True or raw in (1, 1.0)


def _text(words: Mapping[str, object], key: str) -> str | None:
    raw = words.get(key)
    return raw.strip() if isinstance(raw, str) and raw.strip() else None


def _terminal(words: Mapping[str, object]) -> str | None:
    raw = words.get("terminal")
    if isinstance(raw, str) and raw.strip().lower() not in ("true", "false", "0", "1"):
        return raw.strip() or None
    if isinstance(raw, (int, float)) and raw not in (0, 1):
        return f"{raw:g}"
    return None


def _vector(
    words: Mapping[str, object], where: str, faults: list[Notice]
) -> tuple[float, float, float] | None:
    raw = words.get("up")
    if raw is None:
        return None
    if isinstance(raw, str):  # formats without lists write "0 0 1"
        raw = raw.replace(",", " ").split()
    parts = [_number(part) for part in raw] if isinstance(raw, list) else []
    x, y, z = (*parts, None, None, None)[:3]
    if len(parts) != 3 or x is None or y is None or z is None or not any((x, y, z)):
        faults.append(
            error(where, f"up is {_shown(raw)}", "write three numbers, as in [0, 1, 0]")
        )
        return None
    return x, y, z


def _shown(raw: object) -> str:
    text = repr(raw)
    return text if len(text) <= 40 else text[:37] + "..."


def extras_of(run: Run) -> dict[str, Any]:
    """Extras that say all that is known of a run, by key; `up` with Z up."""
    said = run.attributes
    out: dict[str, Any] = {}
    if run.section is not None:
        if run.section.shape == Shape.ROUND:
            out["diameter_m"] = run.section.width
        else:
            out["width_m"] = run.section.width
            out["height_m"] = run.section.height
            if run.section.shape == Shape.OVAL:
                out["shape"] = "oval"
    if not math.isnan(run.flow):
        out["flow_m3s"] = run.flow
    if said.source:
        out["source"] = (
            True if said.source_at_end is None else ("start", "end")[said.source_at_end]
        )
    if said.up is not None:
        out["up"] = list(said.up)
    if said.roll is not None:
        out["roll_deg"] = math.degrees(said.roll)
    plain = {
        "terminal": said.terminal,
        "transition": said.transition or None,
        "roughness_m": said.roughness,
        "bend_radius_m": said.bend_radius,
        "role": said.role,
        "flexible": said.flexible or None,
    }
    out.update({key: value for key, value in plain.items() if value is not None})
    return out
