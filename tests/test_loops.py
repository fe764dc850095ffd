"""Loops in a drawing: the pressure is the same by every way, and no air is lost."""

import importlib
import json
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, product
from pathlib import Path

import numpy as np
import pytest
from routes import Run, about_z
from schemas import validate

from elbowroom.layout import (
    Attributes,
    BadInput,
    ChecksSpec,
    Drawing,
    DuctGraph,
    FanSpec,
    FloatArray,
    Schedule,
    Severity,
    SourceSpec,
    TerminalSpec,
    audit,
    build,
    drawing_from_runs,
    duct_clearances,
    read,
    rectangular,
    round_section,
    solids,
    write_gltf,
)
from elbowroom.physics import (
    Aim,
    Analysis,
    Kind,
    Note,
    analyse,
    balance,
    checks,
    conditions_of,
    junctions,
    operate,
    proportion,
    quantities,
    settled_audit,
    solve_network,
    static_pressure,
    surface_of,
    warming,
)
from elbowroom.viewer import main

DATA = Path(__file__).parent / "data"
FLAT, DROP = rectangular(0.6, 0.3), round_section(0.25)
SOURCE = Attributes(source=True)
# An invented ring main with five branches; its far side is longer by a metre.
RING: list[Run] = [
    ("riser", [[0, 0, 3], [2, 0, 3]], FLAT),
    (
        "ring",
        [[2, 0, 3], [2, 4, 3], [10, 4, 3], [10, -5, 3], [2, -5, 3], [2, 0, 3]],
        rectangular(0.45, 0.25),
    ),
    ("t1", [[4, 4, 3], [4, 6, 3]], DROP),
    ("t2", [[8, 4, 3], [8, 6, 3]], DROP),
    ("t3", [[10, 1, 3], [12, 1, 3]], DROP),
    ("t4", [[4, -5, 3], [4, -7, 3]], DROP),
    ("t5", [[8, -5, 3], [8, -7, 3]], DROP),
]
FLOWS = {f"t{number}": 0.2 for number in range(1, 6)}


def drawn(runs: Sequence[Run] = RING, turn: FloatArray | None = None) -> Drawing:
    matrix = np.eye(3) if turn is None else turn
    return drawing_from_runs(
        [(name, np.array(points) @ matrix.T, cut) for name, points, cut in runs],
        attributes={name: SOURCE for name, _, _ in runs if name == "riser"},
    )


def analysed(
    runs: Sequence[Run] = RING, flows: dict[str, float] = FLOWS, **said: object
) -> Analysis:
    terminals = {name: TerminalSpec(flow) for name, flow in flows.items()}
    schedule = replace(Schedule(terminals=terminals), **said)  # type: ignore[arg-type]
    return analyse(build(drawn(runs), schedule))


def spent(analysis: Analysis) -> FloatArray:
    """What each duct spends with all that stands at it, Pa."""
    e = analysis.elements
    count = len(analysis.graph.ducts.run)
    return np.bincount(e.duct, e.loss, count).astype(np.float64)


def up_to(graph: DuctGraph, duct: int, paid: FloatArray) -> float:
    """Loss from the source to the end of a duct, along the tree."""
    total = 0.0
    while duct >= 0:
        total += float(paid[duct])
        duct = int(graph.ducts.parent[duct])
    return total


def apart(analysis: Analysis) -> FloatArray:
    """How far the losses differ by the ways to each meeting, Pa."""
    graph, paid = analysis.graph, spent(analysis)
    met = graph.meetings.duct
    nodes = graph.ducts.finish[met]
    loss = np.array([up_to(graph, int(duct), paid) for duct in met])
    return np.array([np.ptp(loss[nodes == node]) for node in np.unique(nodes)])


def lost_air(analysis: Analysis) -> float:
    """Largest imbalance of a joint over the whole airflow."""
    graph, flow = analysis.graph, analysis.state.flow
    ducts = graph.ducts
    balance = np.zeros(len(graph.nodes))
    np.add.at(balance, ducts.finish, flow)
    inner = ducts.parent >= 0
    np.subtract.at(balance, ducts.finish[ducts.parent[inner]], flow[inner])
    ends = ducts.finish[graph.terminals.duct]
    balance[ends] -= graph.terminals.flow
    return float(np.abs(balance).max() / flow.max())


def meeting_at(analysis: Analysis) -> list[list[float]]:
    """Where air meets, m."""
    graph = analysis.graph
    where = graph.nodes[graph.ducts.finish[graph.meetings.duct]].round(6)
    return [list(place) for place in sorted(set(map(tuple, where.tolist())))]


def test_both_ways_round_a_ring_lose_the_same() -> None:
    found = analysed()
    assert apart(found).max() < 1e-9 * found.critical_loss
    assert lost_air(found) <= 1e-12
    assert meeting_at(found) == [[10.0, 1.0, 3.0]]
    assert found.state.flow.min() > 0.0


def test_a_ring_as_a_network_of_fixed_coefficients() -> None:
    """`solve_network`, itself checked with network_reference.json, on the same ring.

    Given what the fittings of each duct lose at the airflows that settled, it has to
    find the same airflows.
    """
    ring = [(n, p, round_section(0.4)) for n, p, _ in RING[:2]]
    found = analysed([*ring, *RING[2:]])
    graph, state = found.graph, found.state
    ducts, air = graph.ducts, found.conditions.air
    fitted = spent(found) - state.gradient * ducts.length
    before = np.where(ducts.parent < 0, graph.source.node, ducts.finish[ducts.parent])
    case = {
        "fluid": {"density_kg_m3": air.density, "viscosity_Pa_s": air.viscosity},
        "ducts": [
            {
                "id": str(duct),
                "from": str(before[duct]),
                "to": str(ducts.finish[duct]),
                "length_m": float(ducts.length[duct]),
                "diameter_m": float(ducts.width[duct]),
                "roughness_m": float(found.conditions.roughness[duct]),
                "sum_C": max(float(fitted[duct] / state.velocity_pressure[duct]), 0.0),
            }
            for duct in range(len(ducts.run))
        ],
        "fixed_node_pressures_Pa": {str(graph.source.node): 200.0},
        "node_flows_m3_s": {
            str(node): -0.2 for node in ducts.finish[graph.terminals.duct]
        },
    }
    assert fitted.min() > -1e-9
    solved = [duct["flow_m3_s"] for duct in solve_network(case)["ducts"].values()]
    assert solved == pytest.approx(state.flow.tolist(), rel=1e-6)


def test_equal_sides_share_the_air_equally() -> None:
    """By symmetry; the far tee takes half from each side."""
    runs: list[Run] = [
        RING[0],
        ("left", [[2, 0, 3], [2, 4, 3], [10, 4, 3], [10, 0, 3]], FLAT),
        ("right", [[2, 0, 3], [2, -4, 3], [10, -4, 3], [10, 0, 3]], FLAT),
        ("t1", [[10, 0, 3], [12, 0, 3]], FLAT),
    ]
    found = analysed(runs, {"t1": 0.5})
    around = found.state.flow[np.isin(found.graph.ducts.run, [1, 2])]
    assert around == pytest.approx(np.full(len(around), 0.25), rel=1e-9)
    met = found.elements.kind == Kind.MEETING
    # Bullhead that joins at equal flows: A (1 + (1 + 3 (q² - q)) / f²), with f = 1 and
    # q = 0.5; A = 0.55 beyond q = 0.45 (Idelchik, diagram 7-29).
    assert found.elements.coefficient[met] == pytest.approx([0.55 * 1.25] * 2)


def test_a_wider_side_carries_more() -> None:
    def of_left(width: float) -> float:
        wide = rectangular(width, 0.25)
        runs: list[Run] = [
            RING[0],
            ("left", [[2, 0, 3], [2, 4, 3], [10, 4, 3], [10, 0, 3]], wide),
            ("right", [[2, 0, 3], [2, -4, 3], [10, -4, 3], [10, 0, 3]], FLAT),
            ("t1", [[10, 0, 3], [12, 0, 3]], FLAT),
        ]
        found = analysed(runs, {"t1": 0.5})
        return float(found.state.flow[found.graph.ducts.run == 1][0])

    shares = [of_left(width) for width in (0.2, 0.3, 0.4, 0.5, 0.6)]
    assert all(one < two for one, two in pairwise(shares))


@pytest.mark.parametrize(
    ("strong", "place"), [("t2", [8.0, 4.0, 3.0]), ("t5", [8.0, -5.0, 3.0])]
)
def test_the_air_meets_where_most_of_it_leaves(strong: str, place: list[float]) -> None:
    """The first guess knows no airflows: the meeting moves to where it belongs."""
    guess = build(drawn(), Schedule(terminals={n: TerminalSpec(0.2) for n in FLOWS}))
    found = analysed(flows=dict.fromkeys(FLOWS, 0.15) | {strong: 0.6})
    assert meeting_at(found) == [place]
    assert guess.nodes[guess.ducts.finish[guess.meetings.duct[0]]].tolist() != place
    assert apart(found).max() < 1e-9 * found.critical_loss


def by_terminal(found: Analysis) -> dict[str, float]:
    names = found.graph.terminals.name
    return dict(zip(names, found.path_loss.tolist(), strict=True))


@pytest.mark.parametrize("angle", [0.3, 1.9, -2.4])
def test_turning_reordering_reversing_and_dividing_change_nothing(angle: float) -> None:
    base = by_terminal(analysed())
    cut = [[2, 0, 3], [2, 4, 3], [6, 4, 3], [10, 4, 3], [10, -5, 3], [2, -5, 3]]
    others = [
        [(n, points[::-1], section) for n, points, section in RING],
        [RING[2], RING[1], RING[5], RING[0], RING[4], RING[6], RING[3]],
        [RING[0], ("ring", [*cut, [2, 0, 3]], RING[1][2]), *RING[2:]],
    ]
    terminals = {name: TerminalSpec(flow) for name, flow in FLOWS.items()}
    for runs in others:
        drawing = drawn(runs, about_z(angle))
        found = analyse(build(drawing, Schedule(terminals=terminals)))
        assert by_terminal(found) == pytest.approx(base, rel=1e-9)


BRIDGED: list[Run] = [
    RING[0],
    ("left", [[2, 0, 3], [2, 4, 3], [10, 4, 3], [10, 0, 3]], FLAT),
    ("right", [[2, 0, 3], [2, -4, 3], [10, -4, 3], [10, 0, 3]], FLAT),
    ("bridge", [[6, 4, 3], [6, -4, 3]], FLAT),
    ("t1", [[10, 0, 3], [12, 0, 3]], FLAT),
]


def test_air_stands_still_in_a_bridge_between_equal_sides() -> None:
    found = analysed(BRIDGED, {"t1": 0.5})
    bridge = found.state.flow[found.graph.ducts.run == 3]
    assert bridge.max() < 1e-5 * 0.5
    said = [flag.sentence for flag in found.flags if "stands still" in flag.sentence]
    assert len(said) == 1
    assert "'bridge'" in said[0]


def test_four_ducts_at_a_meeting_count_as_a_box() -> None:
    """C = 1 for what opens into it and 0.5 for what leaves it, each on its own."""
    tee: Run = ("t6", [[10, 1, 3], [8, 1, 3]], DROP)
    found = analysed([*RING, tee], {**FLOWS, "t6": 0.2})
    rows = found.elements.kind == Kind.MEETING
    assert found.elements.coefficient[rows].tolist() == [1.0, 1.0]
    away = np.isin(found.elements.kind, (Kind.BRANCH, Kind.MAIN))
    names = [found.name(int(row)) for row in np.flatnonzero(away)]
    c = dict(zip(names, found.elements.coefficient[away].tolist(), strict=True))
    assert (c["t3 from ring"], c["t6 from ring"]) == (0.5, 0.5)
    assert any("another fitting stands in" in flag.sentence for flag in found.flags)
    assert apart(found).max() < 1e-9 * found.critical_loss


def test_a_return_with_a_loop() -> None:
    """Two ducts side by side draw from one: the air divides there, and joins again."""
    found = analysed(source=SourceSpec(is_return=True))
    assert found.graph.is_return
    assert apart(found).max() < 1e-9 * found.critical_loss
    assert lost_air(found) <= 1e-12


def mesh(seed: int) -> tuple[Drawing, Schedule]:
    """An invented grid of 3 by 3 joints, each with a terminal, of random sizes."""
    random = np.random.default_rng(seed)
    x, y = np.cumsum(random.uniform(3, 6, (2, 3)), axis=1)
    runs: list[Run] = [("riser", [[x[0] - 3, y[0], 3], [x[0], y[0], 3]], FLAT)]
    flows = {}
    for i in range(3):
        for j in range(3):
            here = [x[i], y[j], 3]
            for a, b in ((i + 1, j), (i, j + 1)):
                if a < 3 and b < 3:
                    cut = round_section(random.uniform(0.25, 0.5))
                    runs.append((f"{i}{j} to {a}{b}", [here, [x[a], y[b], 3]], cut))
            name = f"t{i}{j}"
            runs.append((name, [here, [x[i], y[j], 2]], DROP))
            flows[name] = TerminalSpec(float(random.uniform(0.02, 0.2)))
    return drawn(runs), Schedule(terminals=flows)


@pytest.mark.parametrize("seed", range(6))
def test_meshes_settle_with_equal_losses_by_every_way(seed: int) -> None:
    """Conservation: any two paths between the same points, mass at each joint."""
    found = analyse(build(*mesh(seed)))
    moving = not any("stands still" in flag.sentence for flag in found.flags)
    assert lost_air(found) <= 1e-12
    assert len(found.graph.meetings.duct) > 4
    if moving:
        assert apart(found).max() < 1e-9 * found.critical_loss


def test_the_air_that_settles_at_a_fan() -> None:
    """Every open path loses what the fan gives, by whichever way round."""
    found = analysed(fan=FanSpec(total_pressure=60.0))
    air = operate(found)
    assert float(air.flow.sum()) == pytest.approx(air.total_flow, rel=1e-12)
    names = found.graph.terminals.name
    flows = dict(zip(names, air.flow.tolist(), strict=True))
    settled = analysed(flows=flows)
    assert settled.path_loss == pytest.approx(np.full(5, 60.0), rel=1e-6)
    assert lost_air(settled) <= 1e-12


def test_dampers_even_out_a_ring() -> None:
    found = analysed(fan=FanSpec(total_pressure=100.0))
    shares = [setting.open_share for setting in balance(found)]
    assert min(shares) < 1.0 < max(shares)
    of_design = operate(found, "set").flow / found.graph.terminals.flow
    assert np.ptp(of_design) < 0.02 * of_design.mean()


def test_one_terminal_fed_by_two_ways_makes_no_main() -> None:
    """A branch leads to one terminal, whichever way round its air goes."""
    runs: list[Run] = [
        ("riser", [[0, 0, 3], [3, 0, 3]], DROP),
        ("left", [[3, 0, 3], [3, 2, 3], [8, 2, 3], [8, 0, 3]], DROP),
        ("right", [[3, 0, 3], [3, -3, 3], [8, -3, 3], [8, 0, 3]], DROP),
        ("end", [[8, 0, 3], [11, 0, 3]], DROP),
    ]
    said = ChecksSpec(use="residential")
    alone = checks(analysed(runs, {"end": 0.2}, checks=said))
    assert "velocity in branches, residential" in [one.rule for one in alone]
    assert "velocity in mains, residential" not in [one.rule for one in alone]
    runs.append(("tap", [[5, 2, 3], [5, 5, 3]], DROP))
    two = checks(analysed(runs, {"end": 0.1, "tap": 0.1}, checks=said))
    (mains,) = (one for one in two if one.rule == "velocity in mains, residential")
    assert mains.at == "riser"


def test_sizes_around_a_ring_settle() -> None:
    sized = proportion(
        drawn(),
        Schedule(terminals={name: TerminalSpec(flow) for name, flow in FLOWS.items()}),
        Aim(rate=1.0),
    )
    assert apart(sized.after).max() < 1e-9 * sized.after.critical_loss
    ring = next(choice for choice in sized.choices if choice.run == "ring")
    mine = sized.after.graph.ducts.run == 1
    assert ring.flow == pytest.approx(float(sized.after.state.flow[mine].max()))


def test_pressure_and_warmth_around_a_ring() -> None:
    spec = ChecksSpec(around=303.15, transmission=2.0)
    found = analysed(checks=spec)
    graph, static = found.graph, static_pressure(found)
    met = graph.meetings.duct
    total = static + found.state.velocity_pressure
    # Both ducts that lead to the meeting end at the same pressure.
    rub = (found.state.gradient * graph.ducts.length)[met] / 2
    into = found.elements.loss[found.elements.kind == Kind.MEETING]
    order = found.elements.duct[found.elements.kind == Kind.MEETING]
    at_end = dict(zip(order.tolist(), into.tolist(), strict=True))
    left = [total[d] - r - at_end[d] for d, r in zip(met.tolist(), rub, strict=True)]
    assert left[0] == pytest.approx(left[1], rel=1e-9)
    (warmth,) = (c for c in checks(found) if c.rule.startswith("change of the air"))
    assert 0.0 < warmth.value < 10.0


def test_the_air_of_a_return_ring_parts_with_one_temperature() -> None:
    """What the ducts give it is what it brings to the fan: energy is kept."""
    spec = ChecksSpec(around=303.15, transmission=2.0)
    found = analysed(source=SourceSpec(is_return=True), checks=spec)
    (warmth,) = (c for c in checks(found) if c.rule.startswith("change of the air"))
    assert "up to the fan, by the surface" in warmth.rule
    flow, air = found.state.flow, found.conditions.air
    ntu = warming.transfer_units(
        2.0, surface_of(found, 0.0), flow * air.density, 1006.0
    )
    enters, leaves = warming.temperatures_in(
        found.graph, ntu, flow, air.temperature, 303.15
    )
    brought = float((flow * (leaves - enters)).sum())
    assert warmth.value == pytest.approx(brought / flow[0], rel=1e-6)
    (one, other) = enters[found.graph.meetings.duct]
    assert one == pytest.approx(other)


def test_the_tee_of_a_meeting_is_ordered() -> None:
    rows = quantities(analysed()).fittings
    (meets,) = (row for row in rows if "air of a loop meets" in row.what)
    assert (meets.what.split(",")[0], meets.count) == ("leg of a bullhead tee", 2)


def test_the_ducts_of_a_meeting_do_not_clash() -> None:
    graph = analysed().graph
    found = duct_clearances(graph, solids(graph), required=0.05)
    assert len(found.distance) == 0


@pytest.mark.parametrize(
    "runs",
    [
        [RING[0], RING[1]],  # a ring at the end of the riser
        [*BRIDGED[:4]],  # two rings side by side
    ],
)
def test_a_loop_that_nothing_leaves_is_refused(runs: list[Run]) -> None:
    with pytest.raises(BadInput, match="no branch draws air around it"):
        build(drawn(runs))


def test_a_loop_is_listed_with_its_corners() -> None:
    said = [notice.sentence for notice in audit(drawn()).findings]
    assert any("the ducts form a loop through" in sentence for sentence in said)
    found = analysed()
    (loop,) = (f.sentence for f in found.flags if "form a loop" in f.sentence)
    assert "its air meets at (10, 1, 3) m" in loop


def test_a_drawn_airflow_within_a_loop_is_not_held_against_it() -> None:
    drawing = drawing_from_runs(
        RING, flows={**FLOWS, "ring": 0.9}, attributes={"riser": SOURCE}
    )
    found = analyse(build(drawing))
    assert found.state.flow[0] == pytest.approx(1.0)
    (said,) = [one for one in found.flags if one.effect.endswith("is not used")]
    assert "run 'ring': the drawing writes 900 L/s (1907 cfm) there" in said.sentence
    assert said in settled_audit(audit(drawing))[0].findings


def test_a_loop_of_one_run_may_be_drawn_with_the_airflow_of_either_way() -> None:
    around = [[2, 0, 3], [2, 4, 3], [10, 4, 3], [10, -2, 3], [2, -2, 3], [2, 0, 3]]
    runs: list[Run] = [
        RING[0],
        ("ring", around, FLAT),
        ("t1", [[10, 1, 3], [12, 1, 3]], DROP),
        ("t2", [[6, 4, 3], [6, 6, 3]], DROP),
    ]

    def unused(flow: float) -> list[str]:
        drawing = drawing_from_runs(
            runs,
            flows={"ring": flow, "t1": 0.3, "t2": 0.2},
            attributes={"riser": SOURCE},
        )
        flags = analyse(build(drawing)).flags
        return [one.what for one in flags if one.effect.endswith("is not used")]

    found = analyse(
        build(
            drawing_from_runs(
                runs, flows={"t1": 0.3, "t2": 0.2}, attributes={"riser": SOURCE}
            )
        )
    )
    ducts = found.graph.ducts
    one, other = found.state.flow[ducts.start == ducts.finish[0]].tolist()
    assert one + other == pytest.approx(0.5)
    assert unused(one) == unused(other) == []
    assert len(unused(0.5)) == 1


@pytest.mark.parametrize("other", [0.02, 0.2, 0.9])
def test_an_airflow_of_a_run_that_leaves_its_loop_is_not_that_of_its_end(
    other: float,
) -> None:
    """Wherever the air meets: at the run's joint, or not as most leaves elsewhere."""
    runs: list[Run] = [
        RING[0],
        ("ring", [[2, 0, 3], [2, 4, 3], [10, 4, 3], [14, 4, 3]], FLAT),
        ("back", [[2, 0, 3], [2, -4, 3], [10, -4, 3], [10, 4, 3]], FLAT),
        ("t1", [[6, -4, 3], [6, -6, 3]], DROP),
    ]
    drawing = drawing_from_runs(
        runs, flows={"ring": 0.3, "t1": other}, attributes={"riser": SOURCE}
    )
    with pytest.raises(BadInput, match="written at the run need not be those of this"):
        build(drawing)
    said = Schedule(terminals={"ring": TerminalSpec(0.3)})
    found = analyse(build(drawing, said))
    assert found.flow == pytest.approx(0.3 + other)


def test_a_bad_file_with_a_loop_is_solved_once_it_is_told_enough(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """cycle.glb: reject, or solve as a loop and list it (BAD.json)."""
    schedule = tmp_path / "schedule.toml"
    schedule.write_text(
        '[source]\nat = ["0 m", "0 m", "3 m"]\n'
        '[terminals."600x300 (3)"]\nflow = "1200 m3/h"\n'
    )
    file = str(DATA / "bad" / "cycle.glb")
    assert main(["analyse", file, "--schedule", str(schedule)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "form a loop through (8, 4, 3) m" in said
    assert "(4, 0, 3) m" in said
    assert "its air meets at (8, 4, 3) m" in said
    assert main(["analyse", file, "--schedule", str(schedule), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, "result")
    kinds = [e["kind"] for e in result["elements"] if e["id"].startswith("meeting")]
    assert len(kinds) == 2
    assert all("where the air of a loop meets" in kind for kind in kinds)


def test_conditions_follow_their_runs() -> None:
    """A rough ring stays rough when its ducts are put in another order."""
    flows = dict.fromkeys(FLOWS, 0.02) | {"t1": 1.0}
    found = analysed(flows=flows, run_roughness={"ring": 3e-3})
    assert set(found.conditions.roughness[found.graph.ducts.run == 1]) == {3e-3}
    assert found.conditions.roughness == pytest.approx(
        conditions_of(found.graph).roughness
    )


def test_a_branch_that_runs_back_into_its_main_is_named() -> None:
    """An end by mistake on another run: it is no terminal any more."""
    runs: list[Run] = [
        RING[0],
        ("main", [[2, 0, 3], [12, 0, 3]], FLAT),
        ("a", [[4, 0, 3], [4, 3, 3], [8, 3, 3], [8, 0, 3]], DROP),
    ]
    terminals = {"a": TerminalSpec(0.1), "main": TerminalSpec(0.4)}
    with pytest.raises(BadInput, match=r"that run ends on .* and on .*, in a loop"):
        build(drawn(runs), Schedule(terminals=terminals))
    found = audit(drawn(runs), Schedule(terminals={"main": TerminalSpec(0.4)}))
    (loop,) = (n for n in found.findings if "form a loop" in n.sentence)
    assert "in 'main', 'a'" in loop.sentence
    assert loop.severity == Severity.WARNING
    assert loop.place is not None


def test_check_tells_where_air_stands_still() -> None:
    schedule = Schedule(terminals={"t1": TerminalSpec(0.5)})
    found, flow = settled_audit(audit(drawn(BRIDGED), schedule))
    assert found.graph is not None
    assert flow is not None
    assert set(flow[found.graph.ducts.run == 3]) == {0.0}
    assert any("'bridge': the air stands still" in n.sentence for n in found.findings)


def test_check_says_each_thing_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_gltf(drawn(BRIDGED), tmp_path / "bridged.glb")
    (tmp_path / "bridged.schedule.toml").write_text(
        '[terminals.t1]\nflow = "0.5 m3/s"\n'
    )
    assert main(["check", str(tmp_path / "bridged.glb"), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    validate(result, "check")
    said = [problem["what"] for problem in result["problems"]]
    assert len(said) == len(set(said))
    assert sum("stands still" in what for what in said) == 1
    flow = {run["name"]: run["flow_m3_s"] for run in result["runs"]}
    assert flow["bridge"] == 0.0
    assert flow["t1"] == pytest.approx(0.5)


@pytest.mark.parametrize("order", [[0, 1, 2, 3, 4], [3, 2, 4, 1, 0], [4, 3, 2, 1, 0]])
def test_the_order_of_lines_does_not_decide_where_air_stands_still(
    order: list[int],
) -> None:
    base = analysed(BRIDGED, {"t1": 0.5})
    found = analysed([BRIDGED[row] for row in order], {"t1": 0.5})
    assert found.critical_loss == pytest.approx(base.critical_loss, rel=1e-9)


def test_a_duct_behind_a_meeting_may_be_wider_than_those_that_join() -> None:
    sized = proportion(
        drawn(BRIDGED[:3] + BRIDGED[4:]),
        Schedule(terminals={"t1": TerminalSpec(0.8)}),
        Aim(rate=1.0),
    )
    chosen = {choice.run: choice.chosen.area for choice in sized.choices}
    assert chosen["t1"] == chosen["riser"] > chosen["left"]


def test_the_words_of_a_return_say_that_its_air_parts() -> None:
    found = analysed(source=SourceSpec(is_return=True))
    row = int(np.flatnonzero(found.elements.kind == Kind.MEETING)[0])
    assert found.name(row) == "ring from t3"
    assert "where the air of a loop parts" in found.words(row)
    assert any("its air parts at" in flag.sentence for flag in found.flags)


def test_a_wye_carries_on_to_other_areas_by_momentum() -> None:
    """By hand at 45 degrees, f = 0.8, g = 0.4, q = 0.6: v = 0.75, w = 1."""
    turn = np.radians(45.0)

    def by_hand(v: float, w: float, f: float, g: float) -> float:
        return 1 + v * v - 2 * float(np.cos(turn)) * (f * v * v + g * w * w)

    print_of = junctions.symmetrical_joining(0.6, 0.5, turn).value[0]
    found = junctions.symmetrical_joining(0.6, 0.8, turn, 0.4)
    moved = by_hand(0.75, 1.0, 0.8, 0.4) - by_hand(1.2, 0.8, 0.5, 0.5)
    assert found.value[0] == pytest.approx(print_of + moved)
    assert int(found.notes[0]) & int(Note.EXTENDED)


# An invented ring main that is the same on both sides of its axis.
MIRRORED: list[Run] = [
    ("riser", [[-3, 0, 3], [0, 0, 3]], round_section(0.315)),
    (
        "ring",
        [[0, 0, 3], [0, 4, 3], [8, 4, 3], [8, -4, 3], [0, -4, 3], [0, 0, 3]],
        DROP,
    ),
    ("north near", [[3, 4, 3], [3, 7, 3]], round_section(0.16)),
    ("north far", [[6, 4, 3], [6, 7, 3]], round_section(0.16)),
    ("south near", [[3, -4, 3], [3, -7, 3]], round_section(0.16)),
    ("south far", [[6, -4, 3], [6, -7, 3]], round_section(0.16)),
]
OPENED: list[Run] = [
    MIRRORED[0],
    ("north", [[0, 0, 3], [0, 4, 3], [6, 4, 3]], DROP),
    ("south", [[0, 0, 3], [0, -4, 3], [6, -4, 3]], DROP),
    *MIRRORED[2:],
]
ENDS = {name: 0.1 for name, _, _ in MIRRORED[2:]}


def by_name(analysis: Analysis, values: FloatArray) -> dict[str, float]:
    names = analysis.graph.terminals.name
    return dict(zip(names, values.tolist(), strict=True))


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize("runs", [MIRRORED, MIRRORED[::-1]])
def test_equal_sides_of_a_ring_lose_the_same(runs: list[Run], is_return: bool) -> None:
    found = analysed(runs, ENDS, source=SourceSpec(is_return=is_return))
    lost = by_name(found, found.path_loss)
    assert lost["north far"] == pytest.approx(lost["south far"], rel=1e-4)
    assert lost["north near"] == pytest.approx(lost["south near"], rel=1e-4)
    angle = {
        found.graph.terminals.name[one.terminal]: one.angle for one in balance(found)
    }
    assert angle["north far"] is None
    assert angle["south far"] is None


def test_both_ends_of_a_dead_way_are_taps_at_a_closed_end() -> None:
    """SMACNA 1990, section 8: 1.2 on the velocity of a tap that takes all the air.

    The same layout without the duct in which nothing flows, its ends declared closed.
    """
    found = analysed(MIRRORED, ENDS)
    rows = np.isin(found.elements.kind, (Kind.BRANCH, Kind.MEETING))
    name = {found.name(int(row)): int(row) for row in np.flatnonzero(rows)[::-1]}
    pv = 0.5 * 1.2041 * (0.1 / (np.pi / 4 * 0.16**2)) ** 2
    sides = [
        next(row for words, row in name.items() if side in words)
        for side in ("north far", "south far")
    ]
    assert found.elements.loss[sides] == pytest.approx([1.2 * pv] * 2, rel=1e-4)
    words = {found.words(row) for row in sides}
    assert any("past air of a loop that stands still" in said for said in words)
    opened = analysed(OPENED, ENDS, closed_ends={"north far": True, "south far": True})
    for end, loss in by_name(opened, opened.path_loss).items():
        assert by_name(found, found.path_loss)[end] == pytest.approx(loss, rel=1e-4)


def test_a_dead_way_is_told_and_where_to_delete_it() -> None:
    found = analysed(MIRRORED, ENDS)
    (said,) = (flag for flag in found.flags if "stands still" in flag.what)
    assert "own choice" in said.what
    assert "as the pressure is the same at both ends of its way" in said.what
    assert "less than 10 % of the air that meets there" in said.what
    assert "lack" not in said.what  # both of its ends agree on what dead air is worth
    assert "more or less" not in said.what
    assert not [flag for flag in found.flags if "laminar" in flag.what]
    ends = sorted(("(6, 4, 3) m", "(6, -4, 3) m"))
    assert said.remedy.startswith("delete the duct from")
    assert all(end in said.remedy + said.what for end in ends)


# Invented: the air up to 'c' turns round near 29 L/s to 'a'.
EDGE: list[Run] = [
    ("feed", [[-3, 0, 3], [0, 0, 3]], round_section(0.4)),
    (
        "ring",
        [[0, 0, 3], [0, 5, 3], [10, 5, 3], [10, -5, 3], [0, -5, 3], [0, 0, 3]],
        round_section(0.3),
    ),
    ("a", [[5, 5, 3], [5, 8, 3]], round_section(0.2)),
    ("b", [[4, -5, 3], [4, -8, 3]], round_section(0.2)),
    ("c", [[10, 0.3, 3], [13, 0.3, 3]], round_section(0.2)),
]
# Invented: of several sections, with branches that slant.
UNEVEN: list[Run] = [
    ("feed", [[-3, 0, 3], [0, 0, 3]], rectangular(0.5, 0.3)),
    ("north", [[0, 0, 3], [0, 4, 3], [8, 4, 3], [8, 1, 3]], rectangular(0.35, 0.25)),
    ("south", [[0, 0, 3], [0, -5, 3], [8, -5, 3], [8, 1, 3]], rectangular(0.4, 0.3)),
    ("end", [[8, 1, 3], [10, 3, 3]], DROP),
    ("slant", [[3, 4, 3], [5, 6, 3]], rectangular(0.25, 0.25)),
    ("tap", [[5, -5, 3], [5, -8, 3]], rectangular(0.3, 0.25)),
]


@pytest.mark.parametrize("is_return", [False, True])
@pytest.mark.parametrize(
    ("runs", "flows", "name", "between"),
    [
        (EDGE, {"b": 0.15, "c": 0.1}, "a", (0.01, 0.04)),
        (MIRRORED, ENDS, "north far", (0.091, 0.11)),
        (UNEVEN, {"end": 0.1, "slant": 0.1}, "tap", (0.2, 0.4)),
    ],
)
def test_no_loss_jumps_where_the_air_of_a_leg_turns_round(
    runs: list[Run],
    flows: dict[str, float],
    name: str,
    between: tuple[float, float],
    is_return: bool,
) -> None:
    """Sought to half a thousandth of an airflow, and told on both sides of it."""

    def at(flow: float) -> Analysis:
        said = SourceSpec(is_return=is_return)
        return analysed(runs, {**flows, name: flow}, source=said)

    def turned(found: Analysis) -> bool:
        """Direction of the weakest of the ways that meet others."""
        graph, flow = found.graph, found.state.flow
        assert graph.loops is not None
        into = graph.meetings.duct
        way = graph.loops.of_duct[into[flow[into].argmin()]]
        return bool(graph.loops.signed(flow)[way] > 0.0)

    low, high = between
    assert turned(at(low)) != turned(at(high))
    while high / low > 1.0005:
        middle = (low + high) / 2.0
        if turned(at(middle)) == turned(at(low)):
            low = middle
        else:
            high = middle
    every = [at(low * share) for share in (0.99, 0.999, 1.0)]
    every += [at(high * share) for share in (1.0, 1.001, 1.01)]
    for one in every:
        (said,) = (flag for flag in one.flags if "so that none jumps" in flag.what)
        assert "at once" not in said.what
    for one, two in pairwise(every[1:-1]):  # a thousandth apart
        before, after = by_name(one, one.path_loss), by_name(two, two.path_loss)
        assert after == pytest.approx(before, rel=0.005)


def test_a_meeting_counts_the_section_behind_it_as_that_stands() -> None:
    """The same duct, written in two ways, past two legs of which one is weak."""

    def lost(section: tuple[float, float], roll: float) -> float:
        runs: list[Run] = [
            ("trunk", [[0, 0, 3], [4, 0, 3]], rectangular(0.4, 0.3)),
            (
                "left",
                [[4, 0, 3], [4, 4, 3], [16, 4, 3], [16, 0, 3]],
                rectangular(0.3, 0.2),
            ),
            (
                "right",
                [[4, 0, 3], [4, -4, 3], [10, -4, 3], [10, 0, 3], [16, 0, 3]],
                rectangular(0.3, 0.2),
            ),
            ("office", [[8, 4, 3], [8, 7, 3]], rectangular(0.2, 0.15)),
            ("hall", [[16, 0, 3], [20, 0, 3]], rectangular(*section)),
        ]
        drawing = drawing_from_runs(
            runs,
            flows={"office": 0.23, "hall": 0.15},
            attributes={"trunk": SOURCE, "hall": Attributes(roll=roll)},
        )
        found = analyse(build(drawing))
        assert found.state.flow[found.graph.meetings.duct].min() < 0.1 * 0.15
        return by_name(found, found.path_loss)["hall"]

    lying, turned = lost((0.25, 0.2), 0.0), lost((0.2, 0.25), np.pi / 2)
    assert turned == pytest.approx(lying, rel=1e-9)


def test_a_jump_where_four_ducts_meet_is_told_on_both_sides() -> None:
    """No coefficients are published for it: as its air turns round it is no cross."""
    tee: Run = ("d", [[10, 0.3, 3], [7, 0.3, 3]], round_section(0.2))
    steps = []
    for flow, turned in ((0.33, False), (0.35, True)):
        flows = {"a": flow, "b": 0.15, "c": 0.1, "d": 0.05}
        found = analysed([*EDGE, tee], flows, source=SourceSpec(is_return=True))
        boxed = found.graph.meetings.common == found.graph.meetings.duct
        assert boxed.all() != turned
        (said,) = (flag.what for flag in found.flags if "at once" in flag.what)
        steps.append(said.partition("a path loses ")[2])
    assert steps[0] == steps[1] == "up to 3.4 Pa (0.0138 in.wg) more or less at once"


@pytest.mark.parametrize(
    ("low", "high"),
    [
        ((80.0, 80.0), (80.02, 80.02)),  # a bullhead from there on
        ((90.0, 75.0), (90.0, 75.05)),  # half a bullhead, half a tee
    ],
)
def test_no_degree_tells_which_air_meets_head_on(
    low: tuple[float, float], high: tuple[float, float]
) -> None:
    """Legs that do share a loss: their mean, in which they fade."""
    cut = round_section(0.35)

    def at(tilts: tuple[float, float]) -> Analysis:
        (a, b), (c, d) = np.array([np.cos(t := np.radians(tilts)), np.sin(t)]) * 3.0
        runs: list[Run] = [
            RING[0],
            ("left", [[2, 0, 3], [2, 4, 3], [10 - a, c, 3], [10, 0, 3]], cut),
            ("right", [[2, 0, 3], [2, -5, 3], [10 - b, -d, 3], [10, 0, 3]], cut),
            ("t1", [[10, 0, 3], [12, 0, 3]], cut),
            ("t2", [[2, 4, 3], [2, 6, 3]], cut),
        ]
        return analysed(runs, {"t1": 0.5, "t2": 0.2})

    one, two = at(low), at(high)
    assert meeting_at(one) == [[10.0, 0.0, 3.0]]
    before, after = by_name(one, one.path_loss), by_name(two, two.path_loss)
    assert after == pytest.approx(before, rel=2e-3)


@pytest.mark.parametrize("runs", [MIRRORED, MIRRORED[::-1]])
def test_airflows_of_a_ring_with_equal_sides_settle(runs: list[Run]) -> None:
    found = analysed(runs, ENDS, fan=FanSpec(total_pressure=100.0))
    settled = operate(found)
    flow = by_name(found, settled.flow)
    assert flow["north far"] == pytest.approx(flow["south far"], rel=1e-4)
    assert flow["north near"] == pytest.approx(flow["south near"], rel=1e-4)
    assert not [said for said in settled.notices if "still change" in said.what]
    # As with the ring opened where nothing flows.
    closed = {"north far": True, "south far": True}
    other = analysed(
        OPENED, ENDS, fan=FanSpec(total_pressure=100.0), closed_ends=closed
    )
    for end, wanted in by_name(other, operate(other).flow).items():
        assert flow[end] == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize("seed", [11, 19])
def test_a_joint_is_read_by_itself_where_its_duct_leads_away_from_another(
    seed: int,
) -> None:
    """A grid, of whose joints many share a duct: one's rows are none of another's."""
    losses, readings = (
        importlib.import_module(f"elbowroom.physics.{name}")
        for name in ("leg_losses", "readings")
    )
    random = np.random.default_rng(seed)
    x, y = np.cumsum(random.uniform(3, 6, (2, 3)), axis=1)

    def at(i: int, j: int) -> list[float]:
        return [x[i] + 0.4 * (j == 1), y[j], 3.0]

    runs = [("riser", [[x[0] - 3, y[0], 3], at(0, 0)], rectangular(0.6, 0.3))]
    for i, j in np.ndindex(3, 3):
        for a, b in ((i + 1, j), (i, j + 1)):
            if a < 3 and b < 3:
                cut = round_section(random.uniform(0.15, 0.5))
                runs.append((f"{i}{j} to {a}{b}", [at(i, j), at(a, b)], cut))
    end = round_section(0.25)
    runs.append(("t", [[x[2], y[2], 3], [x[2] + 3, y[2] + 2, 3]], end))
    runs.append(("u", [[x[2], y[0], 3], [x[2] + 3, y[0] - 1, 3]], end))
    drawing = drawing_from_runs(
        [(name, np.array(points), cut) for name, points, cut in runs],
        flows={"t": 0.3, "u": random.uniform(0.02, 0.4)},
        attributes={"riser": Attributes(source=True)},
    )
    found = analyse(build(drawing, Schedule(source=SourceSpec(is_return=True))))
    graph, state = found.graph, found.state
    legs = graph.lone
    assert len(np.unique(legs.duct)) < len(legs.duct)
    rests = graph.ducts.finish[legs.duct] == graph.ducts.finish[legs.common]
    air = losses.Streams(graph, state.area, state.flow, state.velocity, True)
    together = losses.leg_coefficients(air, legs, rests).value
    for common in np.unique(legs.common):
        rows = (legs.common == common).nonzero()[0]
        some = readings.some_legs(legs, rows)
        alone = losses.leg_coefficients(air, some, rests[rows]).value
        assert together[rows] == pytest.approx(alone, rel=1e-9)


def grid(seed: int) -> str:
    """A net of 3 by 3 joints fed at a corner, in which air meets and parts at once."""
    random = np.random.default_rng(seed)
    sections = ["400x250", "300x200", "D250", "D315", "500x250"]
    runs = [("source", "600x300", (-5, 0), (0, 0), 'source = "start"')]
    for i, j, (right, up) in product(range(3), range(3), [(1, 0), (0, 1)]):
        if i + right < 3 and j + up < 3:
            section = sections[random.integers(len(sections))]
            ends = (5 * i, 5 * j), (5 * (i + right), 5 * (j + up))
            runs.append((f"run {len(runs)}", section, *ends, ""))
    for i, j in ((0, 1), (0, 2), (2, 0), (2, 1), (2, 2)):
        end = 5 * i + (3 if i else -3), 5 * j
        flow = f'flow = "{random.integers(50, 200)} L/s"'
        runs.append((f"room {i}{j}", "D200", (5 * i, 5 * j), end, flow))
    return 'unit = "m"\n' + "".join(
        f'[[run]]\nname = "{name}"\nsection = "{section}"\n'
        f"points = [[{a}, {b}, 0], [{c}, {d}, 0]]\n{rest}\n"
        for name, section, (a, b), (c, d), rest in runs
    )


@pytest.mark.parametrize("seed", range(12))
def test_a_net_where_air_meets_and_parts_at_once_is_analysed(
    seed: int, tmp_path: Path
) -> None:
    # What goes on from a joint where several lead in and out may be what the legs of
    # the next have in common; and as a way turns round, another may have turned before.
    drawn = tmp_path / "net.toml"
    drawn.write_text(grid(seed))
    found = analyse(build(read(drawn)))
    lost = found.elements.loss
    assert np.isfinite(lost).all()
    assert found.state.flow.min() >= 0.0
