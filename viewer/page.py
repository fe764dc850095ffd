"""The review page: one HTML file with the layouts in 3D, their tables, no network."""

import base64
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from elbowroom.layout import (
    FloatArray,
    IntArray,
    Obstacle,
    Shape,
    Tubes,
    solids,
    units,
    writing,
)
from elbowroom.physics import Analysis, Budget, Option, critical_return

from .budget import joint_lines, pressure_lines, rate_lines, system_lines
from .check_words import CAUTIONS
from .colours import ALARM, CHOSEN, NOTHING, Scale, even_scale_for, scale_for
from .display import DIGITS, DISPLAYS, INCH_POUND, TOUCH, Display
from .gaps import Gap, in_units
from .layout_view import By, DuctSolid, pieces, seen_tubes, spent
from .outlet import printable
from .results import elements
from .tables import AS_NEW, notice_lines, pair_rows, pairs_sentence

_MOST_FACES = 200_000  # of obstacles; beyond, their boxes stand for them
_SAME_PLACE = 0.25  # m, most between the ends of pieces of two layouts that are one
_APART = 1e6  # m by which kinds of pieces stand apart, where places are compared


def write_page(path: Path, shown: Mapping[str, Any]) -> None:
    """Write the review page of what `page_data` gives, as HTML.

    Everything is in the file: a content security policy allows its own scripts and
    styles by their checksums, and nothing from anywhere else. The same input gives the
    same bytes.

    Raises
    ------
    BadInput
        If the file cannot be written.
    """
    text = _text(shown)
    with writing(path):
        path.write_text(text, encoding="utf-8")


def _text(shown: Mapping[str, Any]) -> str:
    """The review page as text, of what `page_data` gives."""
    static = files("elbowroom.viewer").joinpath("static")
    style, library, script, body = (
        static.joinpath(name).read_text(encoding="utf-8")
        for name in ("page.css", "three.bundle.js", "page.js", "page.html")
    )
    data = _json(shown)
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src {_checksum(library)} {_checksum(script)}",
            f"style-src {_checksum(style)}",
            "img-src data: blob:",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    names = ", ".join(option["name"] for option in shown["options"])
    title = escape(printable(names, one_line=True))
    return (
        "<!DOCTYPE html>\n"
        '<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title} – elbowroom</title>\n<style>{style}</style>\n</head>\n"
        f"<body>\n{body}\n"
        f'<script type="application/json" id="data">{data}</script>\n'
        f"<script>{library}</script>\n<script>{script}</script>\n</body>\n</html>\n"
    )


def page_data(
    options: Sequence[Option],
    rooms: Sequence[Sequence[Gap]],
    obstacles: Sequence[Obstacle],
    verdicts: Mapping[str, str] | None = None,
    unit_system: str = "metric",
    budget: Budget | None = None,
    returns: Sequence[Sequence[Analysis]] = (),
    by: By = "loss",
) -> dict[str, Any]:
    """What the page shows, as plain data in SI units.

    Parameters
    ----------
    options
        One layout or more, side by side; with a budget the supply and its returns.
    rooms
        Gaps around the ducts of each.
    obstacles
        Solids to draw.
    verdicts
        Outcome of a comparison in either unit system, by its name.
    unit_system
        That it opens in: 'metric' or 'inch-pound'.
    budget
        That of the first layout with the others as its returns.
    returns
        Return sides of the first layouts, of which the costliest counts.
    by
        What the colours show when it opens.
    """
    shapes = [solids(option.analysis.graph, collars=True) for option in options]
    origin = np.mean([one.tubes.centre.mean(axis=0) for one in shapes], axis=0)
    losses = [spent(option.analysis, "loss") for option in options]
    tubes = [
        seen_tubes(option.analysis.graph, shape)
        for option, shape in zip(options, shapes, strict=True)
    ]
    owners = [
        pieces(option.analysis, shape)
        for option, shape in zip(options, shapes, strict=True)
    ]
    ends = [_ends(*one) for one in zip(options, tubes, owners, strict=True)]
    rates = [spent(option.analysis, "per-metre") for option in options]
    speeds = [_speeds(option.analysis) for option in options]
    shares = [option.analysis.share_of_path for option in options]
    return {
        "verdicts": dict(verdicts or {}),
        "budget": None if budget is None else _budget(options, budget),
        "unit_system": unit_system,
        "colour_by": by.replace("-", "_"),
        "no_value": NOTHING,
        "chosen": CHOSEN,
        "alarm": ALARM,
        "touch": TOUCH,
        "origin": origin.tolist(),
        "note": AS_NEW,
        "cautions": list(CAUTIONS),
        "units": {
            name: {key: _unit(unit) for key, unit in table.items()}
            for name, table in _UNITS.items()
        },
        "scales": {
            name: {
                "loss": _scale(losses, table["pressure"]),
                "per_metre": _scale(rates, table["rate"]),
                "velocity": _scale(speeds, table["velocity"], even_scale_for),
                "share": _scale(shares, "%"),
            }
            for name, table in _UNITS.items()
        },
        "options": [
            {
                **_option(option, room, origin),
                # Beside that of supply and returns, which is one, none of their own.
                "budget": _own_budget(option.analysis) if budget is None else None,
                "return": _costliest(returns[n]) if returns[n:] else None,
                "tubes": _tubes(tubes[n], owners[n], origin),
                "same_as": _same(ends[n], ends[0]),
            }
            for n, (option, room) in enumerate(zip(options, rooms, strict=True))
        ],
        "obstacles": _obstacles(obstacles, origin),
    }


_UNITS = {
    name: {
        "pressure": display.pressure,
        "rate": display.rate,
        "velocity": display.velocity,
        "flow": display.flow,
        "length": display.length,
        "gap": display.side,
    }
    for name, display in DISPLAYS.items()
}


def _unit(unit: str) -> dict[str, Any]:
    return {"name": unit, "per_si": units.to_unit(1.0, unit), "digits": DIGITS[unit]}


def _scale(
    values: Sequence[FloatArray],
    unit: str,
    bands: Callable[[FloatArray], Scale] = scale_for,
) -> dict[str, Any]:
    """Bands that are round in a unit, as those of a picture; their edges in SI too."""
    per_si = units.to_unit(1.0, unit)
    found = bands(np.concatenate(values) * per_si)
    return {
        "edges": [edge / per_si for edge in found.edges],
        "labels": list(found.edges),
        "colours": list(found.colours),
    }


def _speeds(analysis: Analysis) -> FloatArray:
    """Velocity of the air in each element itself, m/s.

    That of `elements` is the one its coefficient refers to, of a leg the main's.
    """
    return analysis.state.velocity[analysis.section_duct]


def _budget(options: Sequence[Option], budget: Budget) -> dict[str, Any]:
    """The budget of supply and returns as `analyse` prints it, in either unit."""
    supply, *returns = (option.analysis for option in options)
    flags = notice_lines(budget.notices)
    lines = {
        name: joint_lines(supply, returns, budget, display)
        for name, display in DISPLAYS.items()
    }
    return {"lines": lines, "flags": flags}


def _own_budget(analysis: Analysis) -> dict[str, Any]:
    """Budget of the critical path as `analyse` prints it, in either unit."""
    return {
        name: [*pressure_lines(analysis, one), *rate_lines(analysis, one)]
        for name, one in DISPLAYS.items()
    }


def _costliest(returns: Sequence[Analysis]) -> dict[str, Any] | None:
    """What the return that counts loses, and from where."""
    if not returns:
        return None
    back = returns[critical_return(returns)]
    return {"loss": back.critical_loss, "terminal": back.critical_terminal}


def _pairs(analysis: Analysis, display: Display) -> list[str]:
    """Elbows close together, a line each, and which of their losses counts."""
    unit = display.pressure
    lines = [
        f"{elbows}, {apart} apart: {plain} {unit} as a plain sum, "
        + (f"{together} {unit} as a pair ({known})" if pair.source else known)
        for pair, (elbows, apart, plain, together, known) in zip(
            analysis.pairs, pair_rows(analysis, display), strict=True
        )
    ]
    return [*lines, pairs_sentence(analysis, display)] if lines else []


def _ends(option: Option, tubes: Tubes, owner: IntArray) -> FloatArray:
    """First and last point of each element, and what it is, shape (e, 7).

    What has no surface of its own, as an entry, stands where its duct does.
    """
    e, graph = option.analysis.elements, option.analysis.graph
    sides = graph.ducts.start[e.duct], graph.ducts.finish[e.duct]
    ends = np.hstack([*(graph.nodes[side] for side in sides), e.kind[:, None] * _APART])
    first, last = tubes.offsets[:-1], tubes.offsets[1:] - 1
    ends[owner, :6] = np.hstack([tubes.centre[first], tubes.centre[last]])
    return ends


def _same(ends: FloatArray, others: FloatArray) -> list[int | None]:
    """Element of the first layout that stands where each of another does.

    Each is the other's nearest of its kind: a wider elbow moves the ends of the ducts
    around it a little, and they are the same ducts.
    """
    found = cKDTree(others).query(ends, distance_upper_bound=_SAME_PLACE)
    far, near = map(np.asarray, found)
    back = np.append(np.asarray(cKDTree(ends).query(others)[1]), -1)  # of no nearest
    mutual = np.isfinite(far) & (back[near] == np.arange(len(ends)))
    return [
        row if is_one else None
        for row, is_one in zip(near.tolist(), mutual, strict=True)
    ]


def _option(option: Option, room: Sequence[Gap], origin: FloatArray) -> dict[str, Any]:
    analysis = option.analysis
    graph, system = analysis.graph, analysis.system
    return {
        "name": option.name,
        "file": graph.drawing.file,
        "is_return": graph.is_return,
        "critical_loss": analysis.critical_loss,
        "critical_terminal": analysis.critical_terminal,
        "fitting_loss": system.fitting_loss,
        "spare": system.spare,
        "rate": system.rate,
        "clearance": option.clearance,
        "faults": {
            name: list(in_units([option], [room], display)[0].faults_in(display.side))
            for name, display in DISPLAYS.items()
        },
        "system": {name: system_lines(analysis, d) for name, d in DISPLAYS.items()},
        "pairs": {name: _pairs(analysis, one) for name, one in DISPLAYS.items()},
        "flags": notice_lines(option.flags),
        "elements": elements(analysis),
        "sizes_in": [
            INCH_POUND.size(graph.section(duct))
            for duct in analysis.section_duct.tolist()
        ],
        "speeds": _speeds(analysis).tolist(),
        "critical": analysis.path(analysis.critical).tolist(),
        "ends": _named_ends(analysis, origin),
        "gaps": [
            {
                "duct": gap.duct,
                "beside": gap.beside,
                "distance": gap.distance,
                "required": gap.required,
                "kept": gap.is_kept,
                "at": [round(p - o, 4) for p, o in zip(gap.place, origin, strict=True)],
            }
            for gap in room
        ],
    }


def _named_ends(analysis: Analysis, origin: FloatArray) -> list[dict[str, Any]]:
    """Source or fan, then the terminals, those whose air loses most first."""
    graph = analysis.graph
    order = [
        analysis.critical,
        *(
            r
            for r in np.argsort(-analysis.path_loss).tolist()
            if r != analysis.critical
        ),
    ]
    nodes = graph.ducts.finish[graph.terminals.duct[order]]
    at = (graph.nodes[[graph.source.node, *nodes]] - origin).round(4).tolist()
    names = ["fan" if graph.is_return else "source"]
    names += [graph.terminals.name[row] for row in order]
    kinds = ["source", "critical", *["terminal"] * (len(order) - 1)]
    return [
        {"name": name, "is": kind, "at": point}
        for name, kind, point in zip(names, kinds, at, strict=True)
    ]


def _tubes(tubes: Tubes, owner: IntArray, origin: FloatArray) -> dict[str, Any]:
    return {
        "centre": _packed(tubes.centre - origin),
        "across": _packed(tubes.across),
        "upright": _packed(tubes.upright),
        "half": _packed(np.stack([tubes.width, tubes.height], axis=1) / 2),
        "round": [int(s) for s in tubes.shape != Shape.RECTANGULAR],
        "offsets": tubes.offsets.tolist(),
        "element": owner.tolist(),
    }


def _obstacles(
    obstacles: Sequence[Obstacle], origin: FloatArray
) -> list[dict[str, Any]]:
    import trimesh

    many = sum(len(solid.faces) for solid in obstacles) > _MOST_FACES
    out = []
    for solid in obstacles:
        vertices, faces = solid.vertices, solid.faces
        if many:
            box: Any = trimesh.creation.box(
                bounds=[vertices.min(axis=0), vertices.max(axis=0)]
            )
            vertices, faces = np.asarray(box.vertices), np.asarray(box.faces)
        out.append(
            {
                "name": solid.name,
                "is_duct": isinstance(solid, DuctSolid),
                "points": _packed(vertices - origin),
                "faces": base64.b64encode(faces.astype("<u4").tobytes()).decode(),
                "outline": _packed(_outline(vertices, faces) - origin),
            }
        )
    return out


def _outline(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Ends of the edges that a picture draws of a solid, m, shape (2 e, 3).

    Those at which its faces turn by more than 30 degrees, or that are not of two faces.
    """
    import trimesh

    mesh: Any = trimesh.Trimesh(vertices, faces)  # vertices at one place as one
    sharp = mesh.face_adjacency_edges[mesh.face_adjacency_angles > np.radians(30.0)]
    edges, count = np.unique(mesh.edges_sorted, axis=0, return_counts=True)
    ends = np.vstack([sharp, edges[count != 2]])
    return np.asarray(mesh.vertices[ends.ravel()])


def _packed(values: npt.ArrayLike) -> str:
    """Numbers in single precision, as base64."""
    return base64.b64encode(np.asarray(values, dtype="<f4").tobytes()).decode()


def _json(data: Mapping[str, Any]) -> str:
    """JSON that no text in it can break out of."""
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _checksum(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"
