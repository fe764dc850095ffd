"""A straight that is drawn as several runs says what it says as one."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import Run

from elbowroom.layout import (
    Attributes,
    ChecksSpec,
    ElbowConstruction,
    ElbowRule,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    drawing_from_runs,
    duct_clearances,
    rectangular,
    round_section,
    solids,
)
from elbowroom.physics import Analysis, analyse, balance, checks

SAME = 1e-9
PLAIN = settings(max_examples=12, deadline=None, derandomize=True)
# An elbow close behind the fan, a pair of elbows, an elbow and two junctions close
# together, a change of section and an elbow with too little room, a branch beside a
# corner, a riser as a branch, a sudden jog, and an elbow close before an open end.
CLOSE: list[Run] = [
    (
        "main",
        [[0, 0, 3], [0.8, 0, 3], [0.8, 4, 3], [0.8, 4.6, 2.4], [0.8, 5.4, 2.4],
         [0.8, 6, 2.4], [0.8, 6.2, 2.4], [0.8, 9, 2.4]],
        rectangular(0.4, 0.3),
    ),
    ("tap", [[0.8, 6, 2.4], [1.4, 6, 2.4], [1.4, 8, 2.4]], round_section(0.2)),
    ("flat", [[0.8, 6.2, 2.4], [-2, 6.2, 2.4]], rectangular(0.2, 0.1)),
    (
        "thin",
        [[0.8, 9, 2.4], [0.8, 9.2, 2.4], [2, 9.2, 2.4], [3.94, 9.2, 2.4],
         [4, 9.2, 2.4], [4, 12, 2.4], [4.04, 12, 2.4], [4.04, 14, 2.4],
         [6, 14, 2.4], [6, 14.5, 2.4]],
        rectangular(0.3, 0.2),
    ),
    (
        "riser",
        [[2, 9.2, 2.4], [2, 9.2, 4], [2, 11, 4]],
        rectangular(0.25, 0.15),
    ),
    ("corner", [[3.94, 9.2, 2.4], [3.94, 6, 2.4]], rectangular(0.15, 0.1)),
]  # fmt: skip
# A round main with a takeoff that an elbow stands right behind.
ROUND: list[Run] = [
    ("main", [[0, 0, 3], [1, 0, 3], [1, 4, 3], [1, 9, 3]], round_section(0.4)),
    ("tap", [[1, 4, 3], [1.5, 4, 3], [1.5, 4, 6]], round_section(0.25)),
]
# A main that is larger to its end than the neck behind it, which has little room.
NECK: list[Run] = [
    ("main", [[0, 0, 3], [4, 0, 3], [8, 0, 3]], rectangular(0.6, 0.4)),
    ("tap", [[4, 0, 3], [4, 3, 3]], rectangular(0.6, 0.4)),
    ("thin", [[8, 0, 3], [8, 0.35, 3]], rectangular(0.2, 0.2)),
]
FLOWS = {
    "main": 0.4,
    "tap": 0.1,
    "flat": 0.08,
    "thin": 0.25,
    "riser": 0.1,
    "corner": 0.04,
}
ROUTES = {"close": CLOSE, "round": ROUND, "neck": NECK}
# How each route is drawn and made.
CASES = [
    ("close", False, ElbowConstruction.SMOOTH),
    ("close", False, ElbowConstruction.MITRED),
    ("close", True, ElbowConstruction.SMOOTH),
    ("round", False, ElbowConstruction.SMOOTH),
    ("round", True, ElbowConstruction.MITRED),
    ("neck", False, ElbowConstruction.SMOOTH),
    ("neck", True, ElbowConstruction.SMOOTH),
]


def cut_up(
    runs: Sequence[Run], shares: Sequence[float | None], parted: Sequence[bool]
) -> list[Run]:
    """Runs cut where a share of a segment is given: names of later pieces get ~.

    `parted` is whether a main is cut where a branch takes off, for each in turn.
    """
    left, branches = list(shares), list(parted)
    begins = [points[0] for _, points, _ in runs]
    out: list[Run] = []
    for name, points, cut in runs:
        piece, number = [points[0]], 0
        for near, far in pairwise(points):
            share = left.pop(0) if left else None
            spots = []
            if share is not None:
                spots = [(np.array(near) + share * np.subtract(far, near)).tolist()]
            if far in begins and far != points[-1] and branches.pop(0):
                spots.append(far)
            for at in spots:
                out.append((f"{name}{'~' * number}", [*piece, at], cut))
                piece, number = [at], number + 1
            if far not in spots:
                piece.append(far)
        out.append((f"{name}{'~' * number}", piece, cut))
    return out


def analysed(
    runs: Sequence[Run], is_return: bool, construction: ElbowConstruction
) -> Analysis:
    """Analyse a route, with its pairs counted as pairs."""
    last = {name.rstrip("~"): name for name, _, _ in runs}
    ends = [name for name in last if name != "main" or "thin" not in last]
    said = {last[name]: Attributes(terminal=name) for name in ends}
    first = said.get("main", Attributes())
    said["main"] = replace(first, source=True, source_at_end=False)
    drawing = drawing_from_runs(list(runs), attributes=said)
    plan = Schedule(
        terminals={name: TerminalSpec(FLOWS[name]) for name in ends},
        source=SourceSpec(is_return=is_return),
        elbow_default=ElbowRule(construction),
        corrected_pairs=True,
        checks=ChecksSpec(
            use="commercial", noise="RC 25", stands="above a ceiling",
            leakage="B",
        ),
    )  # fmt: skip
    return analyse(build(drawing, plan))


def numbers(found: Analysis) -> dict[str, float]:
    """Losses and what else is a number, by its name."""
    graph, out = found.graph, {"as pairs": found.critical_loss_as_pairs}
    for place, end in enumerate(graph.terminals.name):
        out[end] = float(found.path_loss[place])
        fittings = [
            row for row in found.path(place).tolist()
            if found.words(row) != "straight duct"
        ]  # fmt: skip
        for number, row in enumerate(fittings):
            out[f"{end} {number}"] = float(found.elements.loss[row])
    for number, pair in enumerate(sorted(found.pairs, key=lambda one: one.plain)):
        out[f"pair {number} {pair.arrangement} {pair.table}"] = pair.spacing
        out[f"pair {number} plain"] = pair.plain
        out[f"pair {number} together"] = pair.together or -1.0
    for check in checks(found):
        out[f"check {check.rule} {check.is_kept}"] = check.value
        out[f"check {check.rule} limit"] = check.limit or -1.0
    for setting in balance(found):
        end = graph.terminals.name[setting.terminal]
        out[f"damper {end}"] = setting.coefficient
        begin, end_at = graph.ducts.begin[setting.duct], graph.ducts.end[setting.duct]
        place = begin + setting.share * (end_at - begin)
        for axis, at in zip("xyz", place, strict=True):
            out[f"damper {end} {axis}"] = float(at)
    return out


def words(found: Analysis) -> Counter[str]:
    """What is said of a layout, whichever of a run's pieces it is said of."""
    said: Counter[str] = Counter()
    for flag in found.flags:
        text = f"{flag.severity}: {flag.what}".replace("~", "")
        said[re.sub(r"bend \d+", "bend", text)] += 1
    return said


def clashing(found: Analysis) -> set[tuple[str, str]]:
    """Runs whose ducts overlap others that they do not meet."""
    graph, body = found.graph, solids(found.graph)
    near = duct_clearances(graph, body, required=0.05)
    names = [graph.drawing.names[run].rstrip("~") for run in graph.ducts.run]
    kinds = {"duct": np.arange(len(names)), "bend": graph.bends.duct}
    out = set()
    for pair in zip(near.piece.tolist(), near.other.tolist(), strict=True):
        ducts = [
            kinds[body.kind[piece]][body.row[piece]]
            for piece in pair if body.kind[piece] in kinds
        ]  # fmt: skip
        if len(ducts) == 2:
            one, two = sorted(names[duct] for duct in ducts)
            out.add((one, two))
    return out


WHOLE = {case: analysed(ROUTES[case[0]], *case[1:]) for case in CASES}
one_case = pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[:2]}")


def test_the_routes_have_what_a_cut_may_hide() -> None:
    said = "\n".join(str(words(found)) for found in WHOLE.values())
    for part in (
        "behind the fan",
        "before the fan",
        "two junctions stand less than one diameter apart",
        "an elbow and a junction stand within 5 diameters",
        "an elbow stands right behind a round takeoff",
        "the transition does not fit",
        "the bend does not fit",
        "shift the duct by no more than",
        "before the corner of run",
        "a vertical run that branches off has no level side",
    ):
        assert part in said, part
    arrangements = {pair.arrangement for f in WHOLE.values() for pair in f.pairs}
    assert {"S"} <= arrangements
    assert any(pair.together for f in WHOLE.values() for pair in f.pairs)
    assert not any(f.graph.ducts.continues.any() for f in WHOLE.values())


shares = st.lists(st.none() | st.floats(0.15, 0.85), min_size=30, max_size=30)
parted = st.lists(st.booleans(), min_size=5, max_size=5)


@one_case
@PLAIN
@given(shares, parted)
def test_a_cut_changes_nothing(
    case: tuple[str, bool, ElbowConstruction],
    cuts: list[float | None],
    at_branches: list[bool],
) -> None:
    """Wherever straights are cut; two cuts lie on both sides of any fitting.

    Mains are cut where a branch takes off too.
    """
    name, is_return, construction = case
    found = analysed(cut_up(ROUTES[name], cuts, at_branches), is_return, construction)
    assert numbers(found) == pytest.approx(numbers(WHOLE[case]), rel=SAME, abs=SAME)
    assert words(found).keys() == words(WHOLE[case]).keys()
    assert clashing(found) == clashing(WHOLE[case])
