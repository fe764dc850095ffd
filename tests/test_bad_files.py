"""Broken files are refused, warned about or accepted as `data/bad/BAD.json` says."""

import json
import re
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from schemas import validate

from elbowroom.layout import (
    BadInput,
    Schedule,
    SourceSpec,
    TerminalSpec,
    build,
    join,
    read,
)
from elbowroom.viewer import main

BAD = Path(__file__).parent / "data" / "bad"
VERDICTS: dict[str, Any] = json.loads((BAD / "BAD.json").read_text())["files"]
FILES = sorted(path.name for path in BAD.iterdir() if path.name != "BAD.json")
REJECTED = [name for name in FILES if VERDICTS[name]["verdict"].startswith("reject")]
SECONDS, BYTES = 2.0, 500e6
# What the sentences must say, in the sense of BAD.json's should_say.
SAID = {
    "accessor_out_of_range.glb": ["accessor 0", "6000", "36"],
    "bad_sizes.glb": ["-0.6", "0,6", "300mm", "millimetres", "diameter_m", "both"],
    "bufferview_out_of_range.glb": ["buffer view 0", "outside"],
    "cycle.glb": ["loop", "(4, 0, 3)", "(8, 4, 3)"],
    "disconnected_islands.glb": ["2 separate parts", "8 m", "4 m", "22.6 m"],
    "duplicated_points.glb": ["node 3", "node 0", "1 mm", "joined at 1 place"],
    "empty.glb": ["empty"],
    "empty.obj": ["empty"],
    "empty_scene.glb": ["scene is empty"],
    "glb_bad_json.glb": ["JSON", "line 1", "column"],
    "glb_bad_magic.glb": ["zip"],
    "glb_chunk_overrun.glb": ["JSON chunk", "1073741824"],
    "glb_truncated.glb": ["cut short", "440", "420"],
    "glb_version1.glb": ["version 1"],
    "glb_wrong_length.glb": ["4536", "440"],
    "huge_buffer_length.glb": ["buffer 0", "shorter"],
    "huge_count.glb": ["accessor 1", "2147483648"],
    "huge_count_view.glb": ["accessor 0", "36"],
    "empty.ifc": ["empty"],
    "ifc_no_units.ifc": ["no length unit", "millimetres"],
    "ifc_truncated.ifc": ["END-ISO-10303-21"],
    "ifc_unknown_schema.ifc": ["IFC9", "IFC2X3, IFC4 or IFC4X3"],
    "index_out_of_range.glb": ["index 99", "3 vertices"],
    "nan_inf_vertices.glb": ["node 0", "node 1", "finite"],
    "no_section.glb": ["no section", "width_m", "600x300", "D200"],
    "node_cycle.glb": ["0, 1, 2", "ancestors"],
    "node_two_parents.glb": ["node 3", "two parents"],
    "obj_bad_index.obj": ["line 4", "vertex 7 of 2", "line 5"],
    "obj_bad_numbers.obj": ["line 2", "4,0", "decimal", "line 3", "finite"],
    "obj_faces_only.obj": ["1 face", "centreline"],
    "section_conflict.glb": ["node 0", "name", "extras", "used"],
    "self_crossing.glb": ["cross at (4", "not joined"],
    "triangles_only.glb": ["no line", "1 mesh"],
    "two_sources.glb": ["2 sources", "(0, 0, 3)", "(8, 0, 3)"],
    "unknown_extension_required.glb": ["EXT_invented_lines"],
    "uri_absolute.gltf": ["outside", "/srv/invented/outside.bin"],
    "uri_file_scheme.gltf": ["outside", "file:///srv/invented/outside.bin"],
    "uri_http.gltf": ["outside", "https://models.invalid/outside.bin"],
    "uri_missing.gltf": ["not_there.bin"],
    "uri_parent.gltf": ["outside", "../outside.bin"],
    "uri_percent.gltf": ["outside", "%2e%2e/outside.bin"],
    "zero_length_edges.glb": ["3 edges of no length"],
}


def checked(
    name: str, capsys: pytest.CaptureFixture[str]
) -> tuple[int, str, dict[str, Any] | None]:
    """Exit code of `check --json`, everything it said, and its result."""
    code = main(["check", str(BAD / name), "--json"])
    out, err = capsys.readouterr()
    if code == 2:
        assert out == ""
        return code, err, None
    result: dict[str, Any] = json.loads(out)
    validate(result, "check")
    said = "\n".join(problem["sentence"] for problem in result["problems"])
    return code, err + said, result


@pytest.mark.parametrize("name", FILES)
def test_verdict_words_and_time(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    begin = time.perf_counter()
    code, said, result = checked(name, capsys)
    assert time.perf_counter() - begin < SECONDS
    verdict = VERDICTS[name]["verdict"]
    if verdict in ("reject", "reject each"):
        assert code == 2
    if verdict == "ask or warn" and code == 2:  # asked: the words of an option
        assert "--unit" in said
    elif verdict in ("warn", "accept with warning", "ask or warn"):
        assert code == 0
        assert result is not None
        severities = {problem["severity"] for problem in result["problems"]}
        assert severities & {"warning", "error"}
    for words in SAID.get(name, []):
        assert words in said, said
    assert "Traceback" not in said


@pytest.mark.parametrize("name", FILES)
def test_memory(name: str) -> None:
    tracemalloc.start()
    try:
        read(BAD / name)
    except BadInput:
        pass
    finally:
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert peak < BYTES


@pytest.mark.parametrize("name", FILES)
def test_what_the_book_of_bad_files_expects(name: str) -> None:
    wanted = VERDICTS[name].get("expect")
    if wanted is None:
        return
    drawing = read(BAD / name)
    topology = join(drawing)
    length = sum(run.length for run in drawing.runs)
    assert length == pytest.approx(wanted.get("total_length_m", length))
    for key, found in (
        ("junction_count", len(topology.junctions)),
        ("free_end_count", len(topology.free_ends)),
        ("component_count", topology.component_count),
        ("cycle_count", topology.cycle_count),
    ):
        assert found == wanted.get(key, found), key
    if "bend_count" in wanted:
        source = SourceSpec(at=(0.0, 0.0, 3.0))
        flows = {drawing.names[0]: TerminalSpec(0.5)}
        graph = build(drawing, Schedule(source=source, terminals=flows))
        assert len(graph.bends.duct) == wanted["bend_count"]


@pytest.mark.parametrize("name", FILES)
def test_every_refusal_says_what_where_and_how(name: str) -> None:
    try:
        build(read(BAD / name))
    except BadInput as bad:
        for fault in bad.faults:
            assert fault.where.startswith(name)
            assert fault.what
            assert fault.remedy
            assert re.fullmatch(r"[^\n]+\.", fault.sentence)
    else:
        if VERDICTS[name]["verdict"] == "accept":
            return
        raise AssertionError("none of these is a system that can be analysed")


@pytest.mark.parametrize("name", REJECTED)
def test_analyse_refuses_with_code_2_and_writes_nothing(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if VERDICTS[name]["verdict"] not in ("reject", "reject each", "reject or ask"):
        return
    folder = tmp_path / "tables"
    code = main(["analyse", str(BAD / name), "--json", "--csv", str(folder)])
    out, err = capsys.readouterr()
    assert code == 2
    assert out == ""
    assert err.startswith("elbowroom: ")
    assert not folder.exists()


@pytest.mark.skipif(
    not Path("/proc/self/status").exists(), reason="reads the kernel's account"
)
@pytest.mark.parametrize("name", ["huge_count.glb", "huge_count_view.glb"])
def test_claimed_sizes_cost_the_process_no_memory(name: str) -> None:
    code = (
        "import sys\n"
        "from elbowroom.viewer import main\n"
        f"code = main(['check', {str(BAD / name)!r}])\n"
        # Not ru_maxrss: a new process begins with that of the one that made it.
        "status = open('/proc/self/status').read()\n"
        "print(status.split('VmHWM:')[1].split()[0])\n"
        "sys.exit(code)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2
    assert int(done.stdout.split()[-1]) * 1024 < BYTES
