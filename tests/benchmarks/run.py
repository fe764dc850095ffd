"""Speed of the main job, beside plain library calls on the same data in the same run.

    python tests/benchmarks/run.py [--json]

Each ratio is the median over several rounds of our time over the yardstick's, both
measured in turn. The aims are what the project holds itself to.
"""

import argparse
import gc
import json
import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import trimesh
from files import glb_file, ifc_file
from tree import tree_drawing

from elbowroom.layout import (
    TOLERANCE,
    Obstacle,
    Shape,
    Solids,
    Tubes,
    build,
    clearances,
    network,
    read,
    solids,
)
from elbowroom.physics import air, analyse, friction, tables
from elbowroom.physics import network as network_solver
from elbowroom.viewer import sweep

SIZES = (1_000, 10_000, 100_000)
GROWTH, MEMORY = 1.15, 1e9  # largest exponent; bytes
AIR = air()
Row = dict[str, Any]
Array = npt.NDArray[Any]


def seconds(work: Callable[[], object]) -> float:
    """Time of one call, with the garbage of the one before cleared away."""
    gc.collect()
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def ratio(
    ours: Callable[[], object], against: Callable[[], object], rounds: int
) -> tuple[float, float]:
    """Median ratio of two works measured in turn, and our median time."""
    ours(), against()
    pairs = [(seconds(ours), seconds(against)) for _ in range(rounds)]
    return (
        float(np.median([one / other for one, other in pairs])),
        float(np.median([one for one, _ in pairs])),
    )


def row(work: str, against: str, found: float, aim: float) -> Row:
    """One line of the result."""
    return {"work": work, "against": against, "ratio": round(found, 3), "aim": aim}


def plain_snapping(points: Array) -> tuple[Array, Array]:
    """Nodes and the node of each point, by scipy alone: what snapping has to give."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(points).query_pairs(TOLERANCE, output_type="ndarray")
    links = coo_array(
        (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2
    )
    count, node = connected_components(links, directed=False)
    mean = [np.bincount(node, points[:, axis], count) for axis in range(3)]
    return np.stack(mean, axis=1) / np.bincount(node)[:, None], node


def whole_analysis(sizes: tuple[int, ...]) -> list[Row]:
    """Whole analysis against snapping alone and against the bare networkx graph."""
    rows, spent = [], {}
    for size in sizes:
        drawing = tree_drawing(size)
        graph = build(drawing)
        rounds = 15 if size < 50_000 else 7

        def snapping(drawing: Any = drawing) -> object:
            return plain_snapping(drawing.points)

        def bare(graph: Any = graph) -> object:
            return network(graph)

        def ours(drawing: Any = drawing) -> object:
            return analyse(build(drawing))

        name = f"analysis of {drawing.run_count} segments"
        snap, spent[size] = ratio(ours, snapping, rounds)
        rows.append(row(name, "cKDTree snapping alone", snap, 2.0))
        alone, _ = ratio(ours, bare, rounds)
        rows.append(row(name, "bare networkx graph", alone, 1.2))
    if len(sizes) > 1:
        last, before = sizes[-1], sizes[-2]
        growth = math.log(spent[last] / spent[before]) / math.log(last / before)
        work = f"growth of the time from {before} to {last} segments"
        rows.append(row(work, "exponent", growth, GROWTH))
    return rows


def friction_factors(count: int) -> list[Row]:
    """Friction factors against four logarithms of as many numbers."""
    random = np.random.default_rng(1)
    re = 10 ** random.uniform(3.7, 7, count)
    rough = 10 ** random.uniform(-6, -2, count)

    def logarithms() -> None:
        for _ in range(4):
            np.log(re)

    found, _ = ratio(lambda: friction.friction_factor(re, rough), logarithms, 11)
    return [row(f"friction factor of {count} ducts", "four numpy logs", found, 3.0)]


def table_lookups(count: int) -> list[Row]:
    """Look-ups in a fitting's table against scipy's interpolator on the same points."""
    from scipy.interpolate import RegularGridInterpolator

    book = tables.grid(
        "rect_elbow_smooth", "r_over_W", "H_over_W", where={"angle_deg": "90"}
    )
    random = np.random.default_rng(3)
    x = random.uniform(book.x[0], book.x[-1], count)
    y = random.uniform(book.y[0], book.y[-1], count)
    plain = RegularGridInterpolator((book.x, book.y), book.values)
    points = np.stack([x, y], axis=1)
    found, _ = ratio(lambda: book.at(x, y), lambda: plain(points), 15)
    work = f"{count} look-ups in a table"
    return [row(work, "RegularGridInterpolator", found, 0.7)]


def swept_mesh(size: int) -> list[Row]:
    """Mesh of every duct in its true shape against VTK's tubes along the same rings."""
    import pyvista as pv
    from vtkmodules.vtkFiltersCore import vtkTubeFilter

    tubes = solids(build(tree_drawing(size))).tubes
    count = np.diff(tubes.offsets)
    cells = np.insert(np.arange(len(tubes.centre)), tubes.offsets[:-1], count)
    data = pv.PolyData(tubes.centre, lines=cells)

    def filtered() -> None:
        tube = vtkTubeFilter()
        tube.SetInputData(data)
        tube.SetNumberOfSides(sweep.ROUND_SIDES)
        tube.SetRadius(0.1)
        tube.Update()

    found, _ = ratio(lambda: sweep.sweep(tubes), filtered, 9)
    work = f"swept mesh of {len(tubes.centre)} rings"
    return [row(work, "vtkTubeFilter", found, 0.35)]


def clashes(count: int) -> list[Row]:
    """Overlaps of as many ducts and obstacles against fcl on the same boxes."""
    try:
        import fcl
    except ImportError:
        print("python-fcl is not installed: clashes left out", file=sys.stderr)
        return []
    random = np.random.default_rng(1)
    angle = random.uniform(0, np.pi, (2, count))
    turn = np.zeros((2, count, 3, 3))  # of boxes as buildings have them: about Z
    turn[..., 0, 0] = turn[..., 1, 1] = np.cos(angle)
    turn[..., 0, 1], turn[..., 1, 0] = np.sin(angle), -np.sin(angle)
    turn[..., 2, 2] = 1.0
    centre = random.uniform(0, 60, (2, count, 3)) * [1, 1, 0.1]
    size = random.uniform(0.2, 3, (2, count, 3))
    ends = turn[0, :, 0] * size[0, :, :1] / 2
    rings = np.stack([centre[0] - ends, centre[0] + ends], axis=1).reshape(-1, 3)
    rows = np.repeat(np.arange(count), 2)
    tubes = Tubes(
        rings, turn[0, rows, 1], turn[0, rows, 2], size[0, rows, 1], size[0, rows, 2],
        np.full(2 * count, int(Shape.RECTANGULAR)), 2 * np.arange(count + 1), rows,
    )  # fmt: skip
    ducts = Solids(tubes, ("duct",) * count, np.arange(count))
    unit = trimesh.creation.box()
    bodies = [
        Obstacle(str(row), at + (unit.vertices * sides) @ way, unit.faces, True)
        for row, (at, sides, way) in enumerate(
            zip(centre[1], size[1], turn[1], strict=True)
        )
    ]

    def ours() -> object:
        return clearances(ducts, bodies)

    def theirs() -> object:
        managers = []
        for place, sides, way in zip(centre, size, turn, strict=True):
            manager = fcl.DynamicAABBTreeCollisionManager()
            manager.registerObjects(
                [
                    fcl.CollisionObject(fcl.Box(*s), fcl.Transform(w.T, p))
                    for p, s, w in zip(place, sides, way, strict=True)
                ]
            )
            manager.setup()
            managers.append(manager)
        wanted = fcl.CollisionRequest(num_max_contacts=10**7, enable_contact=True)
        data = fcl.CollisionData(request=wanted)
        managers[0].collide(managers[1], data, fcl.defaultCollisionCallback)
        return {(id(c.o1), id(c.o2)) for c in data.result.contacts}

    found, _ = ratio(ours, theirs, 9)
    work = f"clashes of {count} ducts with {count} solids"
    return [row(work, "python-fcl", found, 0.25)]


def tree_case(count: int) -> dict[str, Any]:
    """A tree of ducts between one pressure and many open ends, for the solver."""
    random = np.random.default_rng(2)
    parent = (np.arange(count) - 1) // 3
    feeds = np.zeros(count)
    for i in range(count - 1, -1, -1):  # terminals behind each duct
        feeds[i] = max(feeds[i], 1.0)
        if i:
            feeds[parent[i]] += feeds[i]
    ends = np.bincount(parent[1:], minlength=count) == 0
    fixed = {"in": 300.0} | {f"n{i}": 0.0 for i in np.flatnonzero(ends).tolist()}
    ducts = [
        {
            "id": f"d{i}",
            "from": "in" if i == 0 else f"n{parent[i]}",
            "to": f"n{i}",
            "length_m": 2.0 + 3.0 * float(random.random()),
            "diameter_m": 0.15 * float(feeds[i]) ** 0.4,
            "roughness_m": 9e-5,
            "sum_C": 0.5 + float(random.random()),
        }
        for i in range(count)
    ]
    return {"ducts": ducts, "fixed_node_pressures_Pa": fixed}


def plain_newton(ducts: Any, fixed: Array) -> Array:
    """Flows by Newton's method on flows and pressures at once, with scipy's splu."""
    from scipy.sparse import block_array, coo_array, diags_array
    from scipy.sparse.linalg import splu

    count, free = len(ducts.start), np.isnan(fixed)
    row, one = np.arange(count), np.ones(count)
    incidence = coo_array(
        (
            np.concatenate([one, -one]),
            (np.concatenate([row, row]), np.concatenate([ducts.start, ducts.finish])),
        ),
        shape=(count, len(fixed)),
    ).tocsc()
    inner = incidence[:, free]
    drive = incidence[:, ~free] @ fixed[~free]
    area = np.pi / 4 * ducts.diameter**2

    def loss(flow: Array) -> Array:
        speed = np.maximum(np.abs(flow) / area, 1e-9)
        f = friction.friction_factor(
            AIR.density * speed * ducts.diameter / AIR.viscosity,
            ducts.roughness / ducts.diameter,
        )
        total = f * ducts.length / ducts.diameter + ducts.loss_sum
        return np.asarray(np.sign(flow) * total * AIR.density / 2 * speed**2)

    flow = 3.0 * area
    pressure = np.zeros(int(free.sum()))
    for step_number in range(60):
        now = loss(flow)
        slope = (loss(flow * (1 + 1e-6)) - now) / (1e-6 * flow)
        if step_number == 0:  # a line through the origin: the flow may turn round
            slope = now / flow
        wrong = np.concatenate([inner @ pressure + drive - now, inner.T @ flow])
        if np.abs(wrong[:count]).max() < 1e-10 and np.abs(wrong[count:]).max() < 1e-12:
            break
        blocks: Any = [[diags_array(-slope), inner], [inner.T, None]]
        jacobian = block_array(blocks)
        step = splu(jacobian.tocsc()).solve(-wrong)
        flow, pressure = flow + step[:count], pressure + step[count:]
    return np.asarray(flow)


def tree_solver(count: int) -> list[Row]:
    """The network solver against a general sparse Newton, from arrays to arrays."""
    ducts, _, fixed, entering = network_solver._read(tree_case(count))

    def ours() -> Array:
        flow, _ = network_solver.solved(
            ducts, fixed, entering, None, AIR.density, AIR.viscosity
        )
        return flow

    apart = np.abs(ours() / plain_newton(ducts, fixed) - 1.0).max()
    assert apart < 1e-6, apart
    found, _ = ratio(ours, lambda: plain_newton(ducts, fixed), 5)
    work = f"airflow of a tree of {count} ducts"
    return [row(work, "Newton with scipy's splu", found, 0.5)]


def reading_glb(count: int) -> list[Row]:
    """Reading a GLB against json and numpy taking the same accessors apart."""
    with tempfile.TemporaryDirectory() as folder:
        path = glb_file(Path(folder), count)

        def plain() -> object:
            data = path.read_bytes()
            length = int.from_bytes(data[12:16], "little")
            content = json.loads(data[20 : 20 + length])
            return [
                np.frombuffer(
                    data,
                    {5126: "<f4", 5125: "<u4", 5123: "<u2"}[a["componentType"]],
                    a["count"] * {"VEC3": 3, "SCALAR": 1}[a["type"]],
                    28 + length + content["bufferViews"][a["bufferView"]]["byteOffset"],
                )
                for a in content["accessors"]
            ]

        found, _ = ratio(lambda: read(path), plain, 3)
    return [row(f"reading a GLB of {count} runs", "json and numpy", found, 3.0)]


def reading_ifc(count: int) -> list[Row]:
    """Reading swept ducts of an IFC file against ifcopenshell's geometry iterator."""
    import ifcopenshell
    import ifcopenshell.geom

    geometry: Any = ifcopenshell.geom
    with tempfile.TemporaryDirectory() as folder:
        path = ifc_file(Path(folder), count)

        def iterator() -> object:
            model: Any = ifcopenshell.open(str(path))
            settings = geometry.settings()
            settings.set("use-world-coords", True)
            ducts = model.by_type("IfcDuctSegment")
            shapes = geometry.iterator(settings, model, 1, include=ducts)
            meshes, going = [], shapes.initialize()
            while going:
                meshes.append(np.array(shapes.get().geometry.verts))
                going = shapes.next()
            return meshes

        found, _ = ratio(lambda: read(path), iterator, 5)
    work = f"reading an IFC of {count} swept ducts"
    return [row(work, "geometry iterator", found, 0.1)]


def peak_memory(size: int) -> list[Row]:
    """Largest memory of a process that analyses a tree, over the aim."""
    code = (
        f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); "
        "import resource; from tree import tree_drawing; "
        "from elbowroom.layout import build; from elbowroom.physics import analyse; "
        f"analyse(build(tree_drawing({size}))); "
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout
    unit = 1 if sys.platform == "darwin" else 1024  # ru_maxrss counts so
    work = f"peak memory of {size} segments"
    return [row(work, "1 GB", int(out) * unit / MEMORY, 1.0)]


def main() -> None:
    """Measure, and print a table or JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="a list in JSON")
    as_json = parser.parse_args().json
    rows = [
        *whole_analysis(SIZES),
        *friction_factors(1_000_000),
        *table_lookups(100_000),
        *swept_mesh(10_000),
        *clashes(2_000),
        *tree_solver(SIZES[-1]),
        *reading_glb(SIZES[-1]),
        *reading_ifc(5_000),
        *peak_memory(SIZES[-1]),
    ]
    if as_json:
        print(json.dumps(rows, indent=1))
        return
    for found in rows:
        mark = "" if found["ratio"] <= found["aim"] else "  above the aim"
        print(
            f"{found['work']:45} {found['against']:24} {found['ratio']:7.3f} "
            f"(aim {found['aim']:g}){mark}"
        )


if __name__ == "__main__":
    main()
