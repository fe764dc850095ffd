"""What `proportion` says of its sizes, held against `analyse` of what it wrote."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import build, drawing_from_runs, read, read_schedule, write
from elbowroom.layout import units as layout_units
from elbowroom.physics import UNMET, WINDOW, analyse, checks
from elbowroom.viewer import main

_SIZES = {
    "rectangular": ("500x300mm", "300x200mm"),
    "round": ("D400mm", "D200mm"),
    "oval": ("500x250mm oval", "300x150mm oval"),
}


def invented(rng: np.random.Generator, folder: Path) -> tuple[Path, Path]:
    """A random main in pieces with branches, some bent; and its schedule."""
    shape = str(rng.choice(list(_SIZES)))
    large, small = (layout_units.section(size, "test") for size in _SIZES[shape])
    ends = np.cumsum(rng.uniform(3.0, 8.0, rng.integers(2, 5)))
    runs: list[Any] = []
    at = 0.0
    for number, end in enumerate(ends.tolist()):
        points = [[at, 0.0, 3.0], [end, 0.0, 3.0]]
        if number + 1 == len(ends) and rng.random() < 0.5:
            points.append([end, 6.0, 3.0])
        runs.append((f"m{number}", np.array(points), large))
        side = float(rng.choice([-1.0, 1.0]))
        middle = (at + end) / 2
        away = side * rng.uniform(0.5, 4.0)
        points = [[middle, 0.0, 3.0], [middle, away, 3.0]]
        if rng.random() < 0.6:
            points.append([middle + 0.8, away, 3.0])
        runs.append((f"b{number}", np.array(points), small))
        at = end
    ending = [f"b{number}" for number in range(len(ends))] + [f"m{len(ends) - 1}"]
    said = {
        "use": f'use = "{rng.choice(["residential", "commercial"])}"\n',
        "noise": f'noise = "RC {rng.choice([25, 35])}"\n'
        'ducts_stand = "above a ceiling"\n',
        "both": 'use = "commercial"\nnoise = "RC 35"\nducts_stand = "in the room"\n',
    }
    text = (
        '[source]\nrun = "m0"\n'
        f'[fan]\ntotal_pressure = "{rng.uniform(16.0, 60.0):.1f} Pa"\n'
        '[elbows]\nconstruction = "smooth radius"\nradius_ratio = 1.0\n'
        f'[takeoffs]\nentry = "plain"\n[checks]\n{said[str(rng.choice(list(said)))]}'
    )
    for name in ending:
        flow = rng.uniform(30.0, 400.0)
        text += f'[terminals.{name}]\nflow = "{flow:.0f} L/s"\nloss = "10 Pa"\n'
    route, plan = folder / "route.glb", folder / "plan.toml"
    write(drawing_from_runs(runs), route)
    plan.write_text(text)
    return route, plan


@pytest.mark.parametrize("rate", [None, 0.9])
@pytest.mark.parametrize("seed", [0, 5, 9, 12, 13, 21])
def test_what_is_written_keeps_what_was_said(
    seed: int,
    rate: float | None,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    route, plan = invented(np.random.default_rng(seed), tmp_path)
    out = tmp_path / "out.glb"
    words = ["proportion", str(route), "--schedule", str(plan), "--json"]
    words += [] if rate is None else ["--rate", f"{rate} Pa/m"]
    words += ["--out", str(out)]
    if (ended := main(words)) != 0:  # what it says, helps
        assert "leaves nothing" in (refused := capsys.readouterr().err)
        assert "allow more height there" in refused
        words += ["--max-height", "600 mm"]
        ended = main(words)
    assert ended == 0
    said = json.loads(capsys.readouterr().out)
    told = " ".join(flag["what"] + " " + flag["where"] for flag in said["flags"])
    drawn, found = (
        analyse(build(read(file), read_schedule(plan))) for file in (route, out)
    )
    assert found.critical_loss == pytest.approx(said["critical_loss_after_pa"])
    rows = {row["run"]: row for row in said["runs"]}
    names = [found.graph.drawing.names[run] for run in found.graph.ducts.run]
    kept = said["friction_rate_pa_m"] * (1 + 1e-6)
    for name, gradient in zip(names, found.state.gradient.tolist(), strict=True):
        if rows[name]["bound_by"] not in UNMET:
            assert gradient <= kept
        elif gradient > kept:
            assert f"'{name}'" in told
    for check in checks(found):
        if check.dimension != "velocity" or check.is_kept:
            continue
        assert f"a check is not kept, {check.rule}" in told
        for name in check.failing:  # only what no size could be found for
            assert rows[name]["bound_by"] in UNMET
            assert f"'{name}'" in told
    had = {notice.where for notice in drawn.graph.notices}
    for notice in found.graph.notices:
        if "does not fit" in notice.what and notice.where not in had:
            assert f"with these sizes {notice.what}" in told
    if rate is None:
        left = found.system.friction_rate_available
        assert left is not None
        assert left >= said["friction_rate_pa_m"]
        low = said["friction_rate_pa_m"] < WINDOW[0]
        assert ("no rate within the window" in told) == low
