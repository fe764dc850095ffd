"""Options that lose the same: shared ranks, and what is said to decide."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from routes import about_z, drawn
from schemas import validate

from elbowroom.layout import (
    Attributes,
    Schedule,
    TerminalSpec,
    build,
    drawing_from_runs,
    round_section,
    write_gltf,
)
from elbowroom.physics import Comparison, Option, analyse, compare
from elbowroom.viewer import main

AT_START = Attributes(source=True, source_at_end=False)


def straight(
    name: str, length: float = 20.0, side: float = 0.0, room: float | None = None
) -> Option:
    """A straight duct of a length; a side duct of another, too short to be critical."""
    cut = round_section(0.25)
    runs = [("a", np.array([[0.0, 0, 3], [length, 0, 3]]), cut)]
    plan = {"a": TerminalSpec(0.3)}
    if side:
        runs.append(("b", np.array([[1.0, 0, 3], [1, side, 3]]), cut))
        plan["b"] = TerminalSpec(0.1)
    drawing = drawing_from_runs(runs, attributes={"a": AT_START})
    found = analyse(build(drawing, Schedule(terminals=plan)))
    return Option(name, found, room)


def bent(name: str, end: float) -> Option:
    """A duct once round a corner, which ends so far behind it."""
    line = np.array([[0.0, 0, 3], [10, 0, 3], [10, end, 3]])
    drawing = drawing_from_runs(
        [("a", line, round_section(0.25))], attributes={"a": AT_START}
    )
    return Option(
        name, analyse(build(drawing, Schedule(terminals={"a": TerminalSpec(0.3)})))
    )


def outcome(*options: Option, unit: str = "Pa") -> tuple[Comparison, str]:
    found = compare(options, unit)
    return found, found.verdict


def test_equal_losses_share_a_rank_and_the_next_counts_them() -> None:
    found, said = outcome(
        straight("long", 30.0), straight("one"), straight("two"), straight("three")
    )
    assert found.ranks == (4, 1, 1, 1)
    assert found.ranking == (1, 2, 3, 0)
    assert "'one', 'two' and 'three' lose the same:" in said
    assert "the same length of duct and number of fittings: nothing decides" in said
    assert re.search(
        r"They spend \d+\.\d Pa \(\d+ %\) less than 'long', and less", said
    )


@pytest.mark.parametrize(("more", "ranks"), [(0.0009, (1, 1)), (0.0011, (2, 1))])
def test_the_tolerance_is_a_thousandth_of_the_least(
    more: float, ranks: tuple[int, int]
) -> None:
    """Own choice, no published source. A duct's loss goes with its length, definition.

    The open end is left out of account: its loss is the same at either length.
    """
    one = straight("one")
    longer = 20.0 + more * one.analysis.critical_loss / one.analysis.state.gradient[0]
    found, said = outcome(straight("longer", float(longer)), one)
    assert found.ranks == ranks
    assert ("lose the same" in said) == (ranks == (1, 1))
    if ranks == (1, 1):
        assert "within 0.1 %" in said
        assert "Less duct decides then: 'longer' 20.0" in said
        assert found.ranking == (1, 0)


def test_options_that_differ_beside_their_critical_paths_are_not_called_the_same() -> (
    None
):
    """The side duct 'b' is the longer in one of them, and critical in neither."""
    near, far = straight("near", side=1.5), straight("far", side=4.5)
    found, said = outcome(near, far)
    assert found.ranks == (1, 1)
    low, high = (option.analysis.path_loss.min() for option in (near, far))
    assert said.startswith(
        "The critical paths of 'near' and 'far' lose the same: "
        f"{near.analysis.critical_loss:.1f} Pa, within 0.1 %. They differ most at "
        f"terminal 'b': 'near' loses {low:.1f} Pa up to there, 'far' {high:.1f} Pa."
    )
    # Up to a thousandth of the critical loss they are the same there too.
    per_metre = near.analysis.state.gradient.min()
    step = near.analysis.critical_loss / 1000 / per_metre
    for more, differs in ((0.9, False), (1.1, True)):
        said = outcome(near, straight("far", side=1.5 + more * float(step)))[1]
        assert said.startswith("The critical paths") == differs, more
        assert ("They differ most" in said) == differs


def test_of_three_in_a_row_the_first_is_what_they_are_measured_by() -> None:
    """Each is within a thousandth of the one before, the last not of the first."""
    one = straight("one")
    step = 0.0007 * one.analysis.critical_loss / float(one.analysis.state.gradient[0])
    others = [straight(str(n), 20.0 + n * step) for n in (1, 2)]
    assert outcome(one, *others)[0].ranks == (1, 1, 3)


def test_more_room_decides_before_less_duct_and_fewer_fittings() -> None:
    near, far = (
        straight("near", side=1.5, room=0.1),
        straight("far", side=1.7, room=0.2),
    )
    found, said = outcome(near, far)
    assert found.ranks == (1, 1)
    assert found.ranking == (1, 0)
    assert "More room decides then: 'near' 100 mm clear, 'far' 200 mm clear." in said
    assert "Less duct" not in said
    found, said = outcome(near, straight("far", side=1.7, room=0.1004))
    assert found.ranking == (0, 1)
    assert "Less duct decides then: 'near' 21.50 m, 'far' 21.70 m." in said
    # In inches and feet where the losses are in in.wg.
    _, said = outcome(near, far, unit="in.wg")
    assert "'near' 3.9 in clear, 'far' 7.9 in clear" in said
    # Where one has no solid near it nothing is said of room.
    assert "room" not in outcome(near, straight("far", side=1.5))[1]


def test_fewer_fittings_decide_at_last_and_a_few_may_stay_equal() -> None:
    """A terminal's declared loss makes up for the elbow that the other duct has."""
    plain = straight("plain")
    short = 20.0 - float(bent("turned", 10.0).analysis.graph.ducts.length.sum())
    turned = bent("turned", 10.0 + short)  # an arc is shorter than its corner
    lost = turned.analysis.critical_loss - plain.analysis.critical_loss
    assert lost > 1.0
    leaving = plain.analysis.elements.loss[plain.analysis.path(0)][-1]
    plan = Schedule(terminals={"a": TerminalSpec(0.3, float(lost + leaving))})
    plain = Option("plain", analyse(build(plain.analysis.graph.drawing, plan)))
    found, said = outcome(turned, plain, Option("again", plain.analysis))
    assert found.ranks == (1, 1, 1)
    assert found.ranking == (1, 2, 0)
    assert "Fewer fittings decide then: 'turned' 1, 'plain' 0, 'again' 0." in said
    assert said.rstrip().endswith("'plain' and 'again' stay equal.")


def test_what_cannot_be_built_has_no_rank() -> None:
    one, two = straight("one"), straight("two")
    clash = Option("three", one.analysis, -0.1, ("'a' overlaps 'beam' by 100 mm",))
    assert outcome(clash, one, two)[0].ranks == (None, 1, 1)


def test_the_commands_show_shared_ranks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same route drawn a quarter round and moved is the same route."""
    monkeypatch.setenv("COLUMNS", "200")
    files = [tmp_path / "here.glb", tmp_path / "there.glb"]
    write_gltf(drawn(), files[0])
    write_gltf(drawn(turn=about_z(np.pi / 2), shift=(3, 1, 0)), files[1])
    words = ["compare", *map(str, files)]
    assert main([*words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    validate(found, "comparison")
    assert [option["rank"] for option in found["options"]] == [1, 1]
    assert "'here' and 'there' lose the same" in found["verdict"]
    assert main(words) == 0
    assert capsys.readouterr().out.count("no. 1, shared") == 2
    frame = compare([straight("one"), straight("two")]).to_frame()
    assert frame["rank"].tolist() == [1, 1]
