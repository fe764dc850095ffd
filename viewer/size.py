"""The desk's sizes: of one duct for a friction rate, or like another duct."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from elbowroom.layout import (
    Section,
    Shape,
    length_words,
    rate_words,
    rectangular,
    refusal,
    units,
    velocity_words,
)
from elbowroom.physics import USUAL_RATE, Air, sizes

from .display import Display
from .limits import check_range, option_of
from .results import section_of, section_result
from .terminal import TerminalTable, right

# What is taken where nothing is said; common practice, no published source.
USUAL_VELOCITY = "900 fpm"
# Friction over the other's from which a rule of thumb is said to fall short.
_FALLS_SHORT = 1.05
# What may be said of a size, and what it measures.
SIZE_MEASURES = {
    "flow": "airflow",
    "rate": "friction rate",
    "max_height": "length",
    "max_width": "length",
    "max_velocity": "velocity",
}


def size_result(
    given: Mapping[str, float], like: Section | None, series: str, air: Air
) -> dict[str, Any]:
    """Work out the sizes of one duct.

    Parameters
    ----------
    given
        SI values by name: `flow`, `rate`, `max_height`, `max_width`, `max_velocity`;
        what was not said is left out.
    like
        A duct whose friction the new one is to have; None to size for the rate.
    series
        'mm' or 'in'.
    air
        The air.

    Returns
    -------
    result
        Plain data in SI units, as `size.schema.json` says.

    Raises
    ------
    BadInput
        If neither an airflow nor a duct to be like is given, or nothing does.
    """
    flow, notes = given.get("flow"), []
    if like is not None and flow is None:
        speed = units.quantity(USUAL_VELOCITY, "velocity", "size")
        flow = speed * like.area
        notes.append(
            f"no airflow was given: {velocity_words(speed)} in the duct was taken"
        )
    if flow is None:
        raise refusal(
            "size", "neither --flow nor --like is given", 'write --flow "900 cfm"'
        )
    for name in ("rate", "max_velocity"):
        if like is not None and name in given:
            raise refusal(
                "size", f"{option_of(name)} does not go with --like", "keep one"
            )
    try:
        if like is not None:
            rate = sizes.gradient_of(like, flow, air)
            said = f"the friction of that duct, {rate_words(rate)},"
            check_range(rate, said, "friction rate", "size, --like")
            rows, exact = _like(like, flow, given, series, air, notes)
        else:
            rate = given.get("rate", 0.0)
            if rate == 0.0:
                rate = USUAL_RATE
                notes.append(
                    f"no friction rate was given: {rate_words(rate)} was taken"
                )
            rows, exact = _for_rate(flow, rate, given, series, air, notes), None
    except sizes.NoSize as problem:
        raise refusal("size", str(problem), "raise the limits") from None
    rows = [row for row in rows if _longest(row) <= sizes.LONGEST * (1 + 1e-9)]
    if not rows:
        raise refusal(
            "size",
            f"no size of the series up to {length_words(sizes.LONGEST)} keeps all "
            "limits",
            "raise --max-height, --max-width, --max-velocity or the friction rate, or "
            "share the airflow among several ducts",
        )
    return {
        "schema": "elbowroom.size/1",
        "flow_m3_s": flow,
        "rate_pa_m": rate,
        "series": series,
        "air_density_kg_m3": air.density,
        "like": None if like is None else _section(like),
        "equivalent_diameter_m": None
        if like is None
        else sizes.equivalent_diameter(like),
        "exact": None if exact is None else _section(exact),
        "sizes": rows,
        "notes": notes,
    }


def _for_rate(
    flow: float,
    rate: float,
    given: Mapping[str, float],
    series: str,
    air: Air,
    notes: list[str],
) -> list[dict[str, Any]]:
    highest, widest = given.get("max_height"), given.get("max_width")
    fastest = given.get("max_velocity")
    found = []
    narrow = min(highest or np.inf, widest or np.inf)
    try:
        one = sizes.round_size(flow, rate, air, series=series, fastest=fastest)
    except sizes.NoSize as problem:
        notes.append(str(problem))
    else:
        if one.section.width <= narrow * (1 + 1e-9):
            found.append(one)
    for shape in (Shape.RECTANGULAR, Shape.OVAL):
        found += sizes.sided_sizes(
            flow,
            rate,
            air,
            highest=highest,
            widest=widest,
            shape=shape,
            series=series,
            fastest=fastest,
        )
    return [
        {
            **_section(size.section),
            "velocity_m_s": size.velocity,
            "friction_pa_m": size.gradient,
            "aspect": size.aspect,
            "bound_by": size.limit,
            "friction_over_like": None,
        }
        for size in found
    ]


def _like(
    like: Section,
    flow: float,
    given: Mapping[str, float],
    series: str,
    air: Air,
    notes: list[str],
) -> tuple[list[dict[str, Any]], Section]:
    """Widths of a height around that of equal friction by the formulas."""
    height = given.get("max_height")
    if height is None:
        raise refusal("size, --like", "no height is given", "write --max-height 6in")
    wanted = sizes.equivalent_diameter(like)
    exact = sizes.width_for(wanted, height)
    step = units.INCH if series == "in" else 0.05
    same_area = like.area / height
    # In a high duct the same area may be narrower than a step of the series.
    first = max(np.floor(min(same_area, exact) / step + 1e-9), 1.0) * step
    last = sizes.up_to_step(exact, series)
    widths = np.arange(first, last + step / 2, step)
    widest = min(given.get("max_width", np.inf), sizes.LONGEST)
    nominal = sizes.gradient_of(like, flow, air)
    rows = []
    for width in widths.tolist():
        if width > widest * (1 + 1e-9):
            continue
        section = Section(Shape.RECTANGULAR, width, height)
        gradient = sizes.gradient_of(section, flow, air)
        rows.append(
            {
                **_section(section),
                "velocity_m_s": flow / section.area,
                "friction_pa_m": gradient,
                "aspect": max(width, height) / min(width, height),
                "bound_by": "friction rate" if gradient <= nominal else "too narrow",
                "friction_over_like": gradient / nominal,
            }
        )
    # One step above the same area is what rules of thumb come to.
    thumb = rows[1] if len(rows) > 1 else None
    if thumb is not None and thumb["friction_over_like"] >= _FALLS_SHORT:
        words = rectangular(thumb["width_m"], height).words_in(series)
        notes.append(
            "a rule of thumb that goes little above the same area falls short: "
            f"{words} rubs {_percent(thumb)} more (rule of thumb: common practice, no "
            "published source)"
        )
    flat = sum(_is_flat(row) for row in rows)
    if flat:
        are = "is" if flat == 1 else "are"
        notes.append(
            f"{flat} of these {len(rows)} sizes {are} flatter than "
            f"{sizes.FLATTEST:g} to 1, as asked by --max-height; `analyse` flags such "
            "a duct, and for a friction rate none is offered (common practice, no "
            "published source)"
        )
    if widest == sizes.LONGEST < exact:
        notes.append(
            f"the series ends at {length_words(widest)}, which is too narrow: raise "
            "--max-height, or share the airflow among several ducts"
        )
    return rows, Section(Shape.RECTANGULAR, exact, height)


def _is_flat(row: Mapping[str, Any]) -> bool:
    return bool(row["aspect"] > sizes.FLATTEST * (1 + 1e-9))


def _percent(row: Mapping[str, Any]) -> str:
    """How much more a size rubs than the duct that it is to be like."""
    return f"{round(100 * (row['friction_over_like'] - 1))} %"


def _longest(row: Mapping[str, Any]) -> float:
    return max(row[key] or 0.0 for key in ("width_m", "height_m", "diameter_m"))


def _section(section: Section) -> dict[str, Any]:
    sides = dict.fromkeys(("width_m", "height_m", "diameter_m"))
    found = section_result(section.shape, section.width, section.height)
    return {**sides, **(found or {})}


def print_size(result: dict[str, Any], display: Display, console: Any) -> None:
    """Print the sizes of one duct."""
    flow = f"{display.flows(result['flow_m3_s'])} {display.flow}"
    if result["like"] is not None:
        wide = display.size(section_of(result["exact"]))
        by = "Huebscher's formula"
        if result["like"]["shape"] == "oval":  # its diameter has a formula of its own
            by = "the formulas of Heyt and Diaz and of Huebscher"
        console.print(
            f"With the friction of {display.size(section_of(result['like']))}, by "
            f"{by}: [bold]{wide}[/bold]"
        )
    else:
        console.print(f"{flow} at {display.rates(result['rate_pa_m'])} or less")
    table = TerminalTable(
        f"Sizes for {flow}",
        "width × height",
        *map(right, (f"velocity, {display.velocity}", "friction", "aspect")),
        "bound by" if result["like"] is None else "friction over the other's",
    )
    for row in result["sizes"]:
        last = row["bound_by"]
        if row["friction_over_like"] is not None:
            more = _percent(row)
            last = more if more[0] in "-0" else f"+{more}"
        if _is_flat(row):
            last += f", flatter than {sizes.FLATTEST:g} to 1"
        table.add_row(
            display.size(section_of(row)),
            display.velocities(row["velocity_m_s"]),
            display.rates(row["friction_pa_m"]),
            f"{row['aspect']:.1f}",
            last,
        )
    console.print(table)
    if any(row["bound_by"] == "square" for row in result["sizes"]):
        console.print(
            "  square: a narrower one would do too; none is offered higher than wide"
        )
    for note in result["notes"]:
        console.print(f"  note         {note}")
