"""The report: what it holds, that it asks for nothing, and its charts."""

import json
import re
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from routes import drawn
from schemas import schema

from elbowroom.layout import (
    Attributes,
    ChecksSpec,
    Drawing,
    FanSpec,
    Schedule,
    TerminalSpec,
    build,
    drawing_from_runs,
    read,
    read_schedule,
    round_section,
)
from elbowroom.physics import (
    Check,
    CheckDimension,
    Kind,
    Option,
    analyse,
    compare,
    power_of,
    with_airflows,
)
from elbowroom.viewer import (
    charts,
    check_words,
    display,
    layout_view,
    main,
    report,
    results,
    tables,
)

ROOM = Path(__file__).parents[1] / "examples" / "reading_room"
HOUSE = Path(__file__).parents[1] / "examples" / "hillside_house" / "house.glb"
ROUTES = [str(ROOM / f"{name}.glb") for name in ("under", "flatten")]
BEAM = str(ROOM / "beam.glb")


class Balanced(HTMLParser):
    """Checks that what opens is closed, and collects the tags."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)
        if tag not in ("meta", "img", "br"):
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> str:
    out = tmp_path_factory.mktemp("report") / "both.html"
    assert main(["report", *ROUTES, "--obstacles", BEAM, "--out", str(out)]) == 0
    return out.read_text("utf-8")


def test_everything_that_is_asked_for_is_in_it(both: str) -> None:
    for title in (
        "Paths", "Fittings", "Ducts", "Balancing", "Checks", "Quantities",
        "Assumed, because nobody said it", "Room around the ducts", "What to know",
        "Before anything is built", "Sources", "Made from",
    ):  # fmt: skip
        assert f"<h2>{title}</h2>" in both, title
    assert "spends least" in both
    assert both.count('<td class="s">flatten</td>') == 2  # no name is broken in a word
    assert "asbestos" in both
    assert both.count("<svg") == 1 + 2 * 2  # options, and two charts of each
    for checksum in re.findall(r"[0-9a-f]{64}", both):
        assert len(checksum) == 64


def test_every_source_is_named_where_it_counts_and_every_number_is_a_source(
    both: str,
) -> None:
    body, _, rest = both.partition("<h2>Sources</h2>")
    listed = re.findall(r"<td[^>]*>\[(\d+)\]</td>", rest)
    assert listed == [str(n) for n in range(1, len(listed) + 1)]
    assert set(listed) == set(re.findall(r">\[(\d+)\] ", body))
    for table in ("formula: Colebrook and roughness", "damper_butterfly"):
        assert f'<td class="k">{table}</td>' in rest  # not broken within a word
    for table in ("elbow_reynolds_factor", "elbow_angle_factor"):
        assert f" and {table}" in rest


def test_it_is_well_formed_and_asks_for_nothing(both: str) -> None:
    parser = Balanced()
    parser.feed(both)
    assert parser.open == []
    assert "script" not in parser.tags
    assert "default-src 'none'" in both
    without_names = re.sub(r'xmlns(:\w+)?="[^"]*"', "", both)
    assert not re.findall(r'(?:src|href|url\()="?https?:', without_names)


def test_a_doubt_stands_as_a_letter_that_is_explained(both: str) -> None:
    """Of 'flatten' three: its change of shape has no table, its pieces have kinks, and
    a main lies outside.
    """
    fittings = re.findall(r"<h2>Fittings</h2>.*?</p>", both, re.DOTALL)
    for text, letters in zip(fittings, ("a", "abc"), strict=True):
        found = re.findall(r">(?:drawn|declared|assumed)((?:, \w)+)<", text)
        assert set("".join(found)) - set(", ") == set(letters)
        for letter in letters:
            assert re.search(rf" {letter}: [a-z ]+:? [a-z '&;#x0-9]+\.", text)
    for name in ("under", "flatten"):
        after = both.split(f"<h1>{name}</h1>")[1]
        budget, rest = after.split("<h3>Where most of it goes</h3>", 1)
        assert budget.count("<table>") == 2  # airflow and air, and the budget
        assert "<h2>" in rest


def test_the_same_input_gives_the_same_bytes(both: str, tmp_path: Path) -> None:
    again = tmp_path / "again.html"
    assert main(["report", *ROUTES, "--obstacles", BEAM, "--out", str(again)]) == 0
    assert again.read_text("utf-8") == both


def test_pdf_is_made_where_its_library_is(tmp_path: Path) -> None:
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError) as problem:
        pytest.skip(f"no PDF can be made here: {problem}")
    out = tmp_path / "house.pdf"
    assert main(["report", str(HOUSE), "--out", str(out)]) == 0
    assert out.read_bytes().startswith(b"%PDF")


def test_remarks_are_taken_from_the_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, out = tmp_path / "remarks.json", tmp_path / "house.html"
    keys = ("option", "element", "name", "text")
    texts = [
        ("house", "elbow-1", "riser, bend 1", "<b>wider</b>?"),
        ("house", "elbow-1", "trunk, bend 7", "of a piece that is gone"),
        ("return", "elbow-1", "return drop, bend 1", "of the return"),
        ("cellar", "duct-1", "riser", "of another layout"),
    ]
    remarks = [dict(zip(keys, one, strict=True)) for one in texts]
    path.write_text(json.dumps({"schema": "elbowroom.remarks/1", "remarks": remarks}))
    words = ["report", str(HOUSE), "--out", str(out), "--remarks", str(path)]
    back = HOUSE.with_name("return.glb")
    assert main([*words, "--return", str(back)]) == 0
    text = out.read_text("utf-8")
    assert "Remarks of the review" in text
    assert "&lt;b&gt;wider&lt;/b&gt;?" in text
    # What lies on no piece of these layouts is kept, and said to be so, twice.
    said = capsys.readouterr().err
    for why in (
        "elbow-1 trunk, bend 7': 'house' has no such piece now",
        "duct-1 riser': there is no layout 'cellar' here",
    ):
        assert why in said
    assert said.count("a remark on") == 2
    assert "elbow-1 trunk, bend 7 (&#x27;house&#x27; has no such piece now)" in text
    assert "of another layout" in text


def test_tables_and_charts_can_be_read_aloud(tmp_path: Path) -> None:
    out = tmp_path / "house.html"
    assert main(["report", str(HOUSE), "--out", str(out)]) == 0
    text = out.read_text("utf-8")
    assert text.count("<th ") == text.count('<th scope="col"') > 20
    charts = re.findall(r"<svg[^>]*>", text)
    assert len(charts) == 2
    for chart in charts:
        assert 'role="img"' in chart
    assert re.search(r'aria-label="Loss on the critical path, Pa: [^"]*elbows \d', text)
    assert "<th>" not in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--out", "a.txt"], "no report"),
        (["--out", "a.html", "--remarks", str(HOUSE)], "no remarks"),
        (["--out", "a.html", "--return", str(HOUSE), ROUTES[0]], "given twice"),
    ],
)
def test_reports_that_cannot_be_made(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", str(HOUSE), *words]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(("flow", "is_kept"), [(0.2, True), (0.6, False)])
def test_what_to_do_has_a_column_where_a_check_fails(
    flow: float, is_kept: bool
) -> None:
    """The limit of a branch is 900 fpm in commercial use: 0.6 m3/s go at 8.5 m/s."""
    drawing = drawn_from_fan(flow)
    plan = Schedule(checks=ChecksSpec(use="commercial"))
    option = Option("a", analyse(build(drawing, plan)))
    html = report.report_html([[option]], [[()]], (), display.METRIC, {}, picture=False)
    rows = [row for row in cells(html, "<h2>Checks</h2>") if row]
    assert ("what to do" in html) != is_kept
    assert {len(row) for row in rows} == {6 if is_kept else 7}
    sources = [row[-1] for row in rows]
    assert "common practice, no published source" in sources  # of the ratio of sides
    assert any(source.endswith("(memory)") for source in sources)


def drawn_from_fan(flow: float) -> Drawing:
    """One round duct, and the airflow in it, m3/s."""
    return drawing_from_runs(
        [("a", np.array([[0.0, 0, 0], [9, 0, 0]]), round_section(0.3))],
        flows={"a": flow},
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )


def test_names_are_text() -> None:
    name = "<script>alert(1)</script>"
    drawing = drawing_from_runs(
        [(name, np.array([[0.0, 0, 0], [9, 0, 0]]), round_section(0.3))],
        attributes={name: Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(terminals={name: TerminalSpec(0.3)})
    option = Option(name, analyse(build(drawing, plan)))
    html = report.report_html([[option]], [[()]], (), display.METRIC, {}, picture=False)
    assert name not in html
    assert "&lt;script&gt;" in html


def test_a_report_says_which_letters_no_font_has(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    route, name = tmp_path / "a.toml", "a \U0010fffd name"
    route.write_text(
        f'unit = "m"\n[[run]]\nname = "{name}"\nsection = "D200"\n'
        'points = [[0, 0, 0], [5, 0, 0]]\nsource = "start"\nflow = "100 L/s"\n',
        encoding="utf-8",
    )
    assert main(["report", str(route), "--out", str(tmp_path / "a.pdf")]) == 0
    said = capsys.readouterr().err
    assert "no font on this machine has \U0010fffd, and the report shows boxes" in said


def test_a_long_name_leaves_the_chart_its_room(tmp_path: Path) -> None:
    found = analyse(build(drawn()))
    options = [Option("n " * 60, found), Option("short", found)]
    made = charts.options_chart(options, display.METRIC)
    assert "…" in made
    assert "the line holds nine draws of ten<" in made


def test_pressure_falls_from_what_the_path_needs_to_the_room() -> None:
    analysis = analyse(build(drawn()))
    length, total, velocity = charts.pressure_along(analysis)
    assert total[0] == pytest.approx(analysis.critical_loss)
    assert total[-1] == pytest.approx(0.0, abs=1e-9)
    assert (np.diff(length) >= 0).all()
    assert length[-1] == pytest.approx(analysis.path_length[analysis.critical])
    drops = -np.diff(total)
    losses = analysis.elements.loss[analysis.path(analysis.critical)]
    assert drops[::2] == pytest.approx(losses)
    assert velocity[0] == pytest.approx(analysis.state.velocity_pressure[0])


def test_static_pressure_at_a_branch_is_that_of_the_main_before_it() -> None:
    """By hand: the airflow over the area, before and behind the branch of a return.

    Before it all air in 508 x 254 mm; behind it, towards the room, that of the stairs
    in 228.6 mm. A gauge reads no more suction between the two.
    """
    route = HOUSE.with_name("return.glb")
    plan, _ = with_airflows(read_schedule(HOUSE.with_name("return.schedule.toml")))
    analysis = analyse(build(read(route), plan))
    _, total, velocity = charts.pressure_along(analysis)
    way = analysis.path(analysis.critical)
    at = 2 * int(np.flatnonzero(analysis.elements.kind[way] == Kind.BRANCH)[0])
    density = analysis.conditions.air.density
    main, branch = analysis.elements.flow[way[[0, -1]]]
    by_hand = [
        density / 2 * (main / (0.508 * 0.254)) ** 2,
        density / 2 * (branch / (np.pi * 0.2286**2 / 4)) ** 2,
    ]
    assert velocity[at : at + 2] == pytest.approx(by_hand, rel=1e-6)
    static = -total - velocity  # of a return
    assert (np.diff(static) >= -1e-9).all()


def test_charts_are_the_same_each_time() -> None:
    analysis = analyse(build(drawn()))
    for chart in (charts.pressure_chart, charts.kinds_chart):
        one, two = (chart(analysis, display.METRIC) for _ in range(2))
        assert one == two
        assert one.startswith("<svg")
    assert "in.wg" in charts.pressure_chart(analysis, display.INCH_POUND)


def cells(html: str, title: str) -> list[list[str]]:
    """Rows of the table below a head or a title, as text."""
    table = html.split(title)[1].split("</table>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", table, re.DOTALL)
    return [
        [unescape(re.sub(r"<.*?>", "", cell)) for cell in re.findall(r"<td.*?</td>", r)]
        for r in rows
    ]


def test_the_budget_is_that_of_the_terminal_and_adds_up(
    both: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", ROUTES[0]]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    rows = [row for row in cells(both, "budget of the critical path, Pa") if row]
    for words, value in rows:
        assert f"{words} {value}" in printed
    names = [words for words, _ in rows]
    left = names.index("left for ducts and fittings")
    assert sum(float(value) for _, value in rows[:left]) == pytest.approx(
        float(rows[left][1]), abs=0.3
    )
    assert any(name.startswith("less the terminal") for name in names[:left])


def test_a_terminal_s_own_loss_stands_among_the_largest(both: str) -> None:
    rows = cells(both.split("<h1>under</h1>")[1], "Where most of it goes")
    (said,) = [row for row in rows if row and "with its declared loss" in row[1]]
    (path,) = [row for row in cells(both, "<h2>Paths</h2>") if "critical" in row]
    assert said[2] == path[6]


def test_the_words_over_a_picture_say_what_the_fittings_are_of() -> None:
    """The same over the picture of a report as over that of a comparison."""
    ends = {"a": TerminalSpec(0.3, 5.0)}
    drawing = drawing_from_runs(
        [("a", np.array([[0, 0, 0], [5, 0, 0], [5, 4, 0]]), round_section(0.25))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    option = Option("one", analyse(build(drawing, Schedule(terminals=ends))), 0.12)
    title, said = layout_view.option_words(option, display.METRIC)
    loss = f"{option.analysis.critical_loss:.1f} Pa"
    assert title == f"one: {loss} to a"
    assert said.endswith("of it in fittings · 120 mm clear")


def test_what_cannot_be_built_is_said_in_the_units_asked_for(tmp_path: Path) -> None:
    """A beam through the ducts, and a bend whose leg is too short for it."""
    out = tmp_path / "house.html"
    plan = (ROOM / "schedule.toml").read_text(encoding="utf-8")
    wide = re.sub(r"radius_ratio = .*", "radius_ratio = 3.0", plan)
    said = tmp_path / "schedule.toml"
    said.write_text(
        re.sub(r'required = "\d+ mm"', 'required = "90 mm"', wide), encoding="utf-8"
    )
    words = ["report", *ROUTES, "--obstacles", BEAM]
    words += ["--schedule", str(said), "--units", "inch-pound", "--out", str(out)]
    assert main(words) == 0
    text = out.read_text("utf-8")
    found = re.findall(r'<p class="(?:verdict|bad)">(.*?)</p>', text)
    assert any("lacks" in one for one in found)
    assert any("are required" in one for one in found)
    assert not any(re.search(r"\d mm", one) for one in found)
    assert cells(text, "rank")[0][-1] == "cannot be built as drawn"
    assert [row[1] for row in cells(text, "clear by")] == ["3.9 in", "3.0 in"]


def test_the_head_names_the_first_reasons_and_how_many_more() -> None:
    zigzag = np.array([[0.1 * (n // 2), 0.1 * ((n + 1) // 2), 3] for n in range(9)])
    drawing = drawing_from_runs(
        [("a", zigzag, round_section(0.25))],
        attributes={"a": Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(terminals={"a": TerminalSpec(0.1)})
    option = Option("a", analyse(build(drawing, plan)))
    html = report.report_html([[option]], [[()]], (), display.METRIC, {}, picture=False)
    (said,) = re.findall(r"a cannot be built as drawn: (.*?)</p>", html)
    left = len(option.faults) - 5
    assert left > 0
    assert said.count("lacks") == 5
    assert said.endswith(f" and {left} more.")


def test_long_names_stay_on_the_paper(tmp_path: Path) -> None:
    weasyprint = pytest.importorskip("weasyprint")
    trunk, branch = (f"LEVEL_03_ZONE_B_SUPPLY_RECTANGULAR_NO_{n}" for n in "12")
    (tmp_path / "long.toml").write_text(
        f'unit = "m"\n[[run]]\nname = "{trunk}"\nsection = "400x200"\n'
        'points = [[0, 0, 3], [8, 0, 3], [8, 4, 3]]\nsource = "start"\n'
        f'terminal = "{trunk}_DIFFUSER"\n[[run]]\nname = "{branch}"\n'
        'section = "D150"\npoints = [[3, 0, 3], [3, 3, 3], [3, 3, 2]]\n'
        'flow = "50 L/s"\n'
    )
    (tmp_path / "long.schedule.toml").write_text(
        f'[terminals.{trunk}_DIFFUSER]\nflow = "200 L/s"\nloss = "20 Pa"\n'
    )
    out = tmp_path / "long.html"
    assert main(["report", str(tmp_path / "long.toml"), "--out", str(out)]) == 0

    def ends(box: Any) -> list[float]:
        inner = [end for one in getattr(box, "children", ()) for end in ends(one)]
        own = [box.position_x + box.width] if type(box).__name__ == "TextBox" else []
        return inner + own

    for page in weasyprint.HTML(filename=str(out)).render().pages:
        box = page._page_box
        assert max(ends(box)) <= box.margin_left + box.width + 0.5


@pytest.mark.parametrize(
    ("value", "limit", "is_kept", "said"),
    [
        (4.62, 4.57, False, ("4.62 m/s", "4.57 m/s")),
        (4.6, 4.6, True, ("4.6 m/s", "4.6 m/s")),
        (5.2, 4.57, False, ("5.2 m/s", "4.6 m/s")),
    ],
)
def test_a_limit_that_is_missed_has_digits_enough(
    value: float, limit: float, is_kept: bool, said: tuple[str, str]
) -> None:
    check = Check(
        "velocity", "velocity", value, limit, "a", (), is_kept, "own", "memory"
    )
    assert check_words.limit_words(check, display.METRIC) == said


def test_what_a_check_measures_has_units_and_stands_in_the_schema() -> None:
    known = set(get_args(CheckDimension))
    assert set(display.CHECK_UNITS) == known
    assert (
        set(schema("result")["$defs"]["check"]["properties"]["dimension"]["enum"])
        == known
    )


@pytest.mark.parametrize(
    ("dimension", "value", "metric", "inch_pound"),
    [
        ("velocity", 5.08, "5.1 m/s", "1000 fpm"),
        ("length", 3.048, "3.0 m", "10.0 ft"),
        ("pressure", 249.0889, "249.1 Pa", "1.0000 in.wg"),
        ("airflow", 0.4719474, "472 L/s", "1000 cfm"),
        ("airflow for cooling", 5.368e-5, "53.7 L/s per kW", "400 cfm per ton"),
        ("temperature", 293.15, "20.0 °C", "68.0 °F"),
        ("temperature difference", -5.0, "-5.0 K", "-9.0 °F"),
        ("share", 0.25, "25 %", "25 %"),
        ("ratio", 3.14159, "3.14", "3.14"),
        ("level", 41.6, "42 dB", "42 dB"),
    ],
)
def test_a_value_of_a_check_in_both_units(
    dimension: CheckDimension, value: float, metric: str, inch_pound: str
) -> None:
    """Factors: NIST SP 811, appendix B."""
    assert check_words.value_words(value, dimension, display.METRIC) == metric
    assert check_words.value_words(value, dimension, display.INCH_POUND) == inch_pound


@pytest.mark.parametrize(
    ("fans", "rate", "words"),
    [
        ((60.0, 90.0), None, "first"),
        ((1.0, 90.0), None, "second"),  # the fan leaves the first one none
        ((1.0, None), 0.1 * 249.089 / 30.48, "0.82 Pa/m"),  # 0.1 in.wg/100 ft
    ],
)
def test_effective_lengths_are_compared_at_one_rate(
    fans: tuple[float | None, ...], rate: float | None, words: str
) -> None:
    """Straight duct of 12 m with an elbow, and of 10 m with three."""
    ways = (
        [[0, 0, 3], [6, 0, 3], [6, 6, 3]],
        [[0, 0, 3], [3, 0, 3], [3, 3, 3], [5, 3, 3], [5, 5, 3]],
    )
    options = []
    for name, way, fan in zip(("first", "second"), ways, fans, strict=True):
        plan = Schedule(
            terminals={name: TerminalSpec(0.25)}, fan=FanSpec(total_pressure=fan)
        )
        line = [(name, np.array(way, float), round_section(0.25))]
        drawing = drawing_from_runs(
            line, attributes={name: Attributes(source=True, source_at_end=False)}
        )
        options.append(Option(name, analyse(build(drawing, plan))))
    found = compare(options)
    if rate is None:
        (system,) = (o.analysis.system for o in options if o.name == words)
        rate, words = system.friction_rate_available, display.METRIC.rates(system.rate)
    assert found.rate == pytest.approx(rate, rel=1e-5)
    heads = [head for head, *_ in tables.apart_columns(found, display.METRIC)]
    assert f"effective, m, at {words}" in heads
    rows = results.comparison_result(found, {})["options"]
    for row, option in zip(rows, options, strict=True):
        system = option.analysis.system
        longer = system.fitting_loss / found.rate
        assert row["totals"]["effective_length_at_pa_m"] == found.rate
        assert row["totals"]["effective_length_m"] == pytest.approx(
            system.length + longer
        )
        # What stands beside the paths of an option is its own rate.
        (path,) = row["paths"]
        assert path["effective_length_at_pa_m"] == system.rate
        assert path["effective_length_m"] == pytest.approx(system.effective_length)


def test_the_rate_stands_beside_each_effective_length(
    both: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    one = tmp_path / "one.html"
    assert main(["report", ROUTES[0], "--out", str(one)]) == 0
    capsys.readouterr()
    assert main(["analyse", ROUTES[0], "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    rate = display.METRIC.rates(found["system"]["equivalent_lengths_at_pa_m"])
    assert main(["analyse", ROUTES[0]]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert f"effective length at {rate} " in printed
    assert f"effective lengths at {rate}" in printed
    for text in (one.read_text("utf-8"), both):
        assert f"effective, m, at {rate}" in re.sub("<[^>]+>", "", text)


@pytest.mark.parametrize(
    ("units", "flow", "density"),
    [
        ("metric", "323 L/s to 6 terminals", "1.1937 kg/m³ (0.0745 lb/ft³)"),
        ("inch-pound", "685 cfm to 6 terminals", "0.0745 lb/ft³ (1.1937 kg/m³)"),
    ],
)
def test_what_the_numbers_were_worked_out_with_is_said_everywhere(
    units: str,
    flow: str,
    density: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Airflow, air and site: in print, report and page; of a return too."""
    back = HOUSE.with_name("return.glb")
    words = [str(HOUSE), "--return", str(back), "--units", units]
    paper, screen = tmp_path / "a.html", tmp_path / "page.html"
    assert main(["analyse", *words, "--page", str(screen)]) == 0
    shown = capsys.readouterr().out
    assert main(["report", *words, "--out", str(paper)]) == 0
    assert main(["analyse", *words[:3], "--json"]) == 0
    system = json.loads(capsys.readouterr().out)["system"]
    # 250 m: the standard atmosphere's 98.36 kPa; 57 F; the gas law of dry air.
    by_hand = 101325 * (1 - 2.25577e-5 * 250) ** 5.2559 / 287.055 / (5 / 9 * 516.67)
    assert system["air"]["density_kg_m3"] == pytest.approx(by_hand, rel=1e-4)
    data = json.loads(
        re.findall(r'id="data">(.*?)</script>', screen.read_text("utf-8"), re.DOTALL)[0]
    )
    page = str([one["system"][units] for one in data["options"]])
    for text in (shown, unescape(paper.read_text("utf-8")), page):
        assert flow in text
        assert density in text
        assert "from 2 terminals" in text
        assert text.count("above sea level") == 2


def test_the_energy_of_a_fan_names_the_hours_that_it_is_used_in() -> None:
    """1 kW at the plug over 3000 h are 3000 kWh, definition; no hours, no energy."""
    options = []
    for hours in (3000 * 3600.0, 2000 * 3600.0, None):
        fan = FanSpec(
            total_pressure=90.0, efficiency=0.5, drive_efficiency=0.9, hours=hours
        )
        plan = Schedule(terminals={"a": TerminalSpec(0.25)}, fan=fan)
        line = [("a", np.array([[0.0, 0, 3], [9, 0, 3]]), round_section(0.3))]
        drawing = drawing_from_runs(
            line, attributes={"a": Attributes(source=True, source_at_end=False)}
        )
        options.append(Option(str(hours), analyse(build(drawing, plan))))
    (*_, (head, *energy)) = tables.apart_columns(compare(options), display.METRIC)
    assert head == "energy a year"
    # 0.25 m3/s times 90 Pa over 0.45 is 50 W.
    assert energy == ["150 kWh in 3000 h", "100 kWh in 2000 h", "–"]
    # Without hours of any option there is nothing to say.
    none = tables.apart_columns(compare([options[2]] * 2), display.METRIC)
    assert [head for head, *_ in none][-1] == "fastest, m/s"
    said = [
        check_words.power_sentence(power_of(option.analysis), display.METRIC)
        for option in options
    ]
    assert "50 W (0.067 hp) electric, 150 kWh in 3000 h a year" in said[0]
    assert "kWh" not in said[2]


def test_a_duct_that_is_too_fast_says_so_in_words_and_where_it_is() -> None:
    """Black on white too, with digits enough: 4.58 against 4.57 m/s."""
    line = np.array([[0.0, 0.0, 3.0], [4.0, 0.0, 3.0]])
    for flow, told in ((0.18, '<td class="k">kept</td>'), (0.1833, "not kept</td>")):
        drawing = drawing_from_runs(
            [("t", line, round_section(0.2257))],
            attributes={"t": Attributes(source=True, source_at_end=False)},
        )
        plan = Schedule(
            terminals={"t": TerminalSpec(flow)}, checks=ChecksSpec(use="commercial")
        )
        analysis = analyse(build(drawing, plan))
        (row,) = results.ducts(analysis)
        assert row["place_m"] == [2.0, 0.0, 3.0]
        limit = row["velocity_limit_m_s"]
        assert row["is_kept"] == (row["velocity_m_s"] <= limit)
        html = report.report_html(
            [[Option("t", analysis)]], [[()]], (), display.METRIC, {}, picture=False
        )
        (table,) = re.findall("<h2>Ducts</h2>.*?</table>", html)
        assert told in table
        assert ">2, 0, 3</td>" in table
        if not row["is_kept"]:
            cells = re.findall(r'<td class="n">([^<]*)</td>', table)
            at = cells.index(f"{limit:.2f}")
            assert float(cells[at - 1]) > float(cells[at])


def _of_pieces(folder: Path, branches: int = 1) -> str:
    """Report of a main with a corner in it, and of branches of another material."""
    route = folder / "pieces.toml"
    route.write_text(
        'unit = "m"\n[[run]]\nname = "main"\nsection = "600x300"\n'
        'points = [[0, 0, 3], [0, 5, 3], [99, 5, 3], [99, 9, 3]]\nsource = "start"\n'
        'terminal = "end"\n'
        + "".join(
            f'[[run]]\nname = "B{n}"\nsection = "D160"\nflow = "20 L/s"\n'
            f"points = [[{2 * n + 2}, 5, 3], [{2 * n + 2}, 7, 3]]\n"
            for n in range(branches)
        ),
        encoding="utf-8",
    )
    (folder / "pieces.schedule.toml").write_text(
        '[terminals.end]\nflow = "50 L/s"\n[duct.runs.B0]\n'
        'material = "flexible duct, metallic corrugated, fully extended"\n',
        encoding="utf-8",
    )
    out = folder / "pieces.html"
    assert main(["report", str(route), "--out", str(out)]) == 0
    return out.read_text("utf-8")


def test_materials_have_numbers_and_alike_pieces_one_row(tmp_path: Path) -> None:
    text = _of_pieces(tmp_path)
    ducts = text.partition("<h2>Ducts</h2>")[2].partition("<h2>")[0]
    said = re.search("Materials: (.*?)[.]</p>", ducts)
    assert said is not None
    numbers = dict(one.split(": ", 1) for one in said[1].split("; "))
    assert list(numbers) == ["M1", "M2"]
    assert "flexible duct" in numbers["M2"]
    rows = re.findall("<tr>(<td.*?)</tr>", ducts)
    # Two pieces before the branch and two behind it: each pair is joined, with the
    # length of every piece, and all pieces and places are named.
    assert len(rows) == 3
    cells = [re.findall("<td[^>]*>(.*?)</td>", row) for row in rows]
    named = [one for row in cells for one in row[0].split(", ")]
    assert len(named) == len(set(named)) == 5
    for row in cells:
        each = [float(part) for part in row[6].split(" + ")]
        assert len(each) == len(row[0].split(", ")) == len(row[2].split("; "))
        assert row[-1] == ("M2" if row[1] == "B0" else "M1")


def test_what_decides_stands_before_the_long_tables(both: str) -> None:
    side = both.split("<h1>flatten</h1>")[1]
    order = re.findall("<h2>(.*?)</h2>", side)
    first = order.index("Paths")
    for title in ("Checks", "Room around the ducts", "What to know"):
        assert order.index(title) < first


def test_many_rows_stand_on_wide_sheets(tmp_path: Path) -> None:
    weasyprint = pytest.importorskip("weasyprint")
    assert '<section class="long">' not in _of_pieces(tmp_path)
    pages = weasyprint.HTML(string=_of_pieces(tmp_path, 45)).render().pages
    is_wide = [page.width > page.height for page in pages]
    assert any(is_wide)
    assert not is_wide[0]
    assert not is_wide[-1]
