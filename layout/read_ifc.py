"""Read a route from IFC: duct segments and fittings, joined at their ports.

Ports and placements give the centrelines. Where there are no ports, the swept bodies
give them; where there are only faces, these do, and that is said.
"""

import math
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np

from .basis import Basis
from .collected import Collected, Found, check_finite, collected_drawing
from .drawing import Attributes, Drawing
from .faults import BadInput, Notice, and_more, error, note, refusal, warning
from .frames import is_plumb, level_frame, rotate, turn_between
from .ifc_bodies import STANDS_LEVEL
from .ifc_elements import (
    ASSUMED_ORIGINS,
    Element,
    duct_elements,
    ends_from_sweep,
    find_bend,
    find_bodies,
    measure_segment,
    say_doubts,
)
from .ifc_gaps import gaps
from .ifc_model import IfcModel, Placements, open_ifc
from .ifc_network import (
    STRAIGHT,
    Edge,
    Network,
    fill_sections,
    join,
    mark_transitions,
    pieces_of,
    take_near_ends,
)
from .polylines import chains
from .sections import FloatArray, IntArray, Section
from .units import LENGTHS, UNITS

_SLIGHT = math.radians(0.05)  # a turn smaller than this is a joint in line
_ACROSS = math.sin(math.radians(1.0))  # less of a side along another lies across it
_LEVEL = (None, STANDS_LEVEL)  # how a level duct stands, a square or round one too
_MITRE = 0.51  # of its side: the radius of a bend that has any throat


def read_ifc(path: Path, *, unit: str | None, up: str | None) -> Drawing:
    """Read a route from IFC2x3, IFC4 or IFC4x3 in STEP text.

    Parameters
    ----------
    path
        The file.
    unit
        Length unit where the file states none or states it wrongly.
    up
        Must be None or 'z': IFC has Z up.

    Returns
    -------
    drawing
        Every duct, in metres with Z up. Site, building and storey placements are
        applied; the conversion to map coordinates is not.

    Raises
    ------
    BadInput
        If it is damaged, states no length unit, or holds no duct.

    References
    ----------
    ISO 16739-1, Industry Foundation Classes: ports, placements, swept solids.
    """
    if up == "y":
        raise refusal("--up", "IFC has Z up", "leave --up away")
    model = open_ifc(path, unit)
    found = Found(path.name)
    try:
        with np.errstate(all="ignore"):  # what is not finite is looked for at the end
            _collect(model, found)
    except BadInput:
        raise
    except (
        ArithmeticError, AttributeError, LookupError, RuntimeError, TypeError,
        ValueError, np.linalg.LinAlgError,
    ):  # what an attribute left empty leads to  # fmt: skip
        what = "what it says of its elements is incomplete or damaged"
        faults = gaps(model) or [error(path.name, what, "export it again")]
        raise BadInput(faults) from None
    if found.faults:
        raise BadInput(found.faults)
    if not found.runs:
        raise refusal(
            path.name,
            "there is no duct segment with a place in it",
            "export the mechanical model with its duct segments and fittings",
        )
    return collected_drawing(
        found,
        unit=unit or _unit_word(model.metre),
        unit_origin=model.metre_origin,
        up="z",
        up_origin="the format says so",
        stated=(None if model.stated is None else _unit_word(model.stated), "z"),
    )


def _unit_word(metre: float) -> str:
    for word in LENGTHS:
        if math.isclose(UNITS[word].factor, metre, rel_tol=1e-9):
            return word
    return f"{metre:g} m"


def _collect(model: IfcModel, found: Found) -> None:
    placements = Placements(model)
    elements = duct_elements(model, placements, found)
    segments = [e for e in elements if e.kind == "segment"]
    find_bodies(model, placements, segments, found)
    for element in segments:
        measure_segment(element, found)
    say_doubts(segments, found)
    for element in elements:
        if element.kind == "fitting" and not element.ends:
            ends_from_sweep(model, placements, element)
        elif element.kind == "fitting" and len(element.ends) == 2:
            find_bend(model, placements, element)
    network = Network()
    join(model, elements, network, found)
    take_near_ends(model, elements, network, found)
    for element in elements:
        network.edges += pieces_of(element, network, found)
    fill_sections(network)
    _say_radii_of_ports(network, found)
    if placements.assumed_angles:
        found.notices.append(
            warning(
                found.file,
                "it states no unit of angle; the angles of its arcs and revolved "
                "bodies were taken as radians",
                "state the unit in the model if they are degrees",
            )
        )
    mark_transitions(network)
    _runs(network, elements, found)
    for run in found.runs:
        check_finite(run.points, f"{found.file}, {run.where}", found.faults)


def _say_radii_of_ports(network: Network, found: Found) -> None:
    """Say how many radii rest on ports: like collars at both ends do not show there."""
    by_ports = {
        id(edge.element)
        for edge in network.edges
        if edge.radius is not None
        and edge.element.body is None
        and edge.section is not None
        and edge.radius > _MITRE * min(edge.section.width, edge.section.height)
    }
    if by_ports:
        many = len(by_ports) > 1
        found.notices.append(
            note(
                found.file,
                f"the radius of {len(by_ports)} elbow{'s' * many} follows from the "
                "ports alone, as no revolved body states it; straight collars would "
                "make it too large",
                "say centreline_radius in the schedule, under [[elbows.exception]], "
                "if there are any",
            )
        )


def _runs(network: Network, elements: list[Element], found: Found) -> None:
    """Chain pieces of one section into runs, from one joint to the next."""
    network.edges = [edge for edge in network.edges if edge.spots[0] != edge.spots[1]]
    at = network.at()
    outside = _outside(elements)
    marked = _source_spots(elements, at, outside, found)
    stops = [
        spot
        for spot, met in at.items()
        if len(met) == 2 and not _goes_on(network, at, marked, spot)
    ]
    by_spots = {edge.spots: edge for edge in network.edges}
    by_spots |= {edge.spots[::-1]: edge for edge in network.edges}
    ends = np.array([edge.spots for edge in network.edges], dtype=np.int64)
    for chain in chains(
        ends.reshape(-1, 2), len(network.points), np.array(stops, dtype=np.int64)
    ):
        for part in _one_radius(chain, by_spots):
            along = [by_spots[pair] for pair in pairwise(part)]
            _add_run(part, along, network, outside, marked, found)


def _goes_on(
    network: Network, at: dict[int, list[Edge]], marked: set[int], spot: int
) -> bool:
    """Whether a run goes on through a spot at which two pieces meet."""
    one, two = at[spot]
    if one.is_transition or two.is_transition:
        return False
    if one.made and two.made and one.made != two.made:
        return False
    flows = one.element.flow, two.element.flow
    if not any(map(math.isnan, flows)) and not math.isclose(*flows, rel_tol=1e-6):
        return False
    if one.section is None or two.section is None:
        return one.section is two.section
    a, b = one.section, two.section
    if a.shape != b.shape:
        return False
    if one.up == two.up:
        return _same((a.width, a.height), (b.width, b.height))
    # A level duct that turns up or down to a free end carries its section with it.
    level, plumb = (one, two) if one.up in _LEVEL else (two, one)
    if level.up not in _LEVEL or plumb.up is None or plumb.up in _LEVEL:
        return False
    before, after = -network.away(level, spot), network.away(plumb, spot)
    angle, axis = turn_between(before[None], after[None])
    carried = rotate(level_frame(before[None])[1], axis, angle)[0]
    along = abs(float(carried @ np.array(plumb.up)))
    if along < STRAIGHT:  # else it may be written the other way round
        crossed = along < _ACROSS and _same((a.width, a.height), (b.height, b.width))
        if not crossed:
            return False
    elif not _same((a.width, a.height), (b.width, b.height)):
        return False
    here = spot
    while len(at[here]) == 2:
        here, last = plumb.far(here), plumb
        plumb = next((e for e in at[here] if e is not last), last)
        if plumb.up != last.up:
            return False
    return len(at[here]) == 1 and here not in marked


def _same(one: tuple[float, float], two: tuple[float, float]) -> bool:
    """Whether two pairs of sides are the same."""
    return all(math.isclose(*pair, rel_tol=1e-6) for pair in zip(one, two, strict=True))


def _one_radius(
    chain: IntArray, by_spots: dict[tuple[int, int], Edge]
) -> Iterator[list[int]]:
    """Parts of a chain whose bends have one radius."""
    part, radius = [int(chain[0])], None
    for a, b in pairwise(chain.tolist()):
        own = by_spots[a, b].radius
        if (
            own is not None
            and radius is not None
            and not math.isclose(own, radius, rel_tol=1e-3)
        ):
            yield part
            part, radius = [a], None
        radius = own if radius is None else radius
        part.append(b)
    yield part


def _add_run(
    part: list[int],
    along: list[Edge],
    network: Network,
    outside: dict[int, Element],
    marked: set[int],
    found: Found,
) -> None:
    ducts = [edge for edge in along if edge.element.kind == "segment"]
    lead = min(ducts or along, key=lambda edge: int(edge.element.entity.id()))
    more = len({id(edge.element) for edge in along}) - 1
    flow = next((e.element.flow for e in along if e.element.flow > 0.0), math.nan)
    terminal = None
    for spot in (part[0], part[-1]):
        stands = outside.get(spot)
        if stands is not None and stands.kind == "terminal":
            terminal = stands.name or None
            if math.isnan(flow):
                flow = stands.flow
    radii = [edge.radius for edge in along if edge.radius is not None]
    # One that lies level says how a run stands, and names its sides.
    level = next((e for e in (lead, *along) if e.up in _LEVEL), lead)
    section, radius = level.section, radii[0] if radii else None
    ways = np.array([network.away(edge, edge.spots[0]) for edge in along])
    is_upright = level.up == STANDS_LEVEL and is_plumb(ways).all()
    at_source = [spot in marked for spot in (part[0], part[-1])]
    said = Attributes(
        source=any(at_source),
        source_at_end=at_source[1] if any(at_source) else None,
        terminal=terminal,
        transition=lead.is_transition,
        up=None if is_upright else level.up,
        bend_radius=_real_radius(radius, section, along, network, found),
        flexible=lead.is_flexible and not lead.is_transition,
    )
    found.runs.append(
        Collected(
            lead.element.name,
            _corners(np.array([network.points[spot] for spot in part])),
            section,
            lead.origin,
            f"element {lead.element.entity.GlobalId}{and_more(more)}",
            flow,
            said,
            Basis.ASSUMED if lead.origin in ASSUMED_ORIGINS else Basis.DRAWN,
        )
    )


def _corners(points: FloatArray) -> FloatArray:
    """Ends of a polyline and the points at which it turns, shape (n, 3)."""
    way = np.diff(points, axis=0)
    way /= np.linalg.norm(way, axis=1)[:, None]
    turns = np.linalg.norm(np.diff(way, axis=0), axis=1) > _SLIGHT
    return np.asarray(points[np.concatenate([[True], turns, [True]])])


def _real_radius(
    radius: float | None,
    section: Section | None,
    along: list[Edge],
    network: Network,
    found: Found,
) -> float | None:
    """Radius of a run's bends; None where the ports leave no room for one."""
    if radius is None or not 0.0 < radius < np.inf:  # the ports of a bend coincide
        return None
    if section is None:
        return radius
    bend = next(edge for edge in along if edge.radius is not None)
    legs = [edge for edge in along if edge.element is bend.element]
    side = min(section.width, section.height)
    if len(legs) == 2:
        ways = [network.away(edge, edge.spots[0]) for edge in legs]
        axis = np.cross(ways[0], ways[1])
        level = abs(axis[2]) > 0.7 * float(np.sqrt(axis @ axis) or 1.0)
        side = section.width if level else section.height
    if radius > _MITRE * side:
        return radius
    found.notices.append(
        note(
            f"{found.file}, {bend.element.words}",
            "its ports stand where the two ducts meet, as on a mitred elbow",
            "say its construction in the schedule",
        )
    )
    return None


def _outside(elements: list[Element]) -> dict[int, Element]:
    """Terminal or fan at each spot."""
    return {
        end.spot: element
        for element in elements
        if element.kind in ("terminal", "source")
        for end in element.ends
    }


def _source_spots(
    elements: list[Element],
    at: dict[int, list[Edge]],
    outside: dict[int, Element],
    found: Found,
) -> set[int]:
    """Free ends at which the air enters: at the fan, or as the ports say.

    Where no port says that it enters anywhere else, they say that this is a supply.
    """
    free = {spot for spot, met in at.items() if len(met) == 1}
    flow = {
        end.spot: end.flow
        for element in elements
        if element.kind not in ("terminal", "source")
        for end in element.ends
        if end.spot in free
    }
    enters = {spot for spot, way in flow.items() if way == "SINK"}
    leaves = {spot for spot, way in flow.items() if way == "SOURCE"}
    fans = {spot for spot, one in outside.items() if one.kind == "source"} & free
    blown = fans & enters or fans - leaves
    if not blown and len(enters) == 1 and leaves:
        blown = enters
    if blown:
        found.is_supply = blown == enters
        if enters and not found.is_supply:
            found.notices.append(_mixed(found, len(enters), len(leaves)))
        return blown
    if len(leaves) == 1 and len(enters) > 1:
        found.notices.append(
            warning(
                found.file,
                f"its ports say that the air leaves at one end and enters at "
                f"{len(enters)}: this is a return or an extract",
                'write side = "return" under [source] in the schedule; without it the '
                "route counts as a supply",
            )
        )
        return leaves
    return set()


def _mixed(found: Found, enters: int, leaves: int) -> Notice:
    """Say that the ports of free ends do not tell the side."""
    return note(
        found.file,
        f"its ports say that the air enters at {enters} free end{'s' * (enters > 1)} "
        f"and leaves at {leaves}, not that it enters at the source alone: no side was "
        "taken from them",
        'write side = "supply" or "return" under [source] in the schedule',
    )
