"""Where labels stand in a picture, what they say, and with which letters."""

import warnings
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import matplotlib.image
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routes import drawn

from elbowroom.layout import (
    Attributes,
    audit,
    build,
    drawing_from_runs,
    read,
    read_schedule,
    rectangular,
    round_section,
)
from elbowroom.physics import Option, analyse, compare, with_airflows
from elbowroom.viewer import (
    audit_shown,
    colours,
    display,
    gaps,
    labels,
    layout_view,
    lettering,
    main,
    notebook,
    preflight,
    projection,
    scene,
    short_names,
    stage,
    window,
)

INCH_POUND, METRIC = display.INCH_POUND, display.METRIC
HOUSE = Path(__file__).parents[1] / "examples"
needs_opengl = pytest.mark.skipif(
    preflight.why_not() is not None, reason="no OpenGL: the message is tested instead"
)
ROOM = (800, 500)


# --- places


def segment_meets(a: Any, b: Any, box: Any) -> bool:
    """By sampling, which is not how the labels find it."""
    points = a + np.linspace(0.0, 1.0, 400)[:, None] * (b - a)
    return bool(((points > box[:2] + 0.5) & (points < box[2:] - 0.5)).all(1).any())


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(20, 780), st.floats(20, 480)), max_size=14))
def test_no_label_lies_on_another_and_no_leader_runs_through_one(
    found: list[tuple[float, float]],
) -> None:
    count = len(found)
    points, sizes = np.array(found).reshape(-1, 2), np.tile([110.0, 36.0], (count, 1))
    drawn_on = np.zeros((ROOM[1], ROOM[0]), dtype=bool)
    drawn_on[200:260] = True
    least, most = np.full(count, 30.0), np.full(count, np.inf)
    made = labels.places(points, sizes, least, most, ROOM, drawn_on)
    kept = [(p, place) for p, place in zip(points, made, strict=True) if place]
    assert bool(kept) == bool(count)  # the first of them finds a place anywhere
    low = [np.array(place.corner) for _, place in kept]
    boxes = [np.hstack([corner, corner + np.array([110.0, 36.0])]) for corner in low]
    for row, (point, place) in enumerate(kept):
        assert (boxes[row][:2] >= 0).all()
        assert (boxes[row][2:] <= ROOM).all()
        for other, box in enumerate(boxes):
            if other == row:
                continue
            apart = (boxes[row][:2] >= box[2:]) | (box[:2] >= boxes[row][2:])
            assert apart.any()
            assert not segment_meets(np.array(place.foot), point, box)


def test_labels_of_points_that_stand_apart_all_find_a_place() -> None:
    x, y = np.meshgrid(np.linspace(60.0, 740.0, 4), np.linspace(60.0, 440.0, 3))
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    sizes, far = np.tile([110.0, 36.0], (12, 1)), np.full(12, np.inf)
    drawn_on = np.zeros((ROOM[1], ROOM[0]), dtype=bool)
    made = labels.places(points, sizes, np.full(12, 30.0), far, ROOM, drawn_on)
    assert all(place is not None and place.reach < 60.0 for place in made)


def test_a_label_stands_beside_the_duct_where_there_is_room() -> None:
    drawn_on = np.zeros((ROOM[1], ROOM[0]), dtype=bool)
    drawn_on[230:270] = True
    one = np.array([[400.0, 250.0]]), np.array([[120.0, 40.0]])
    (place,) = labels.places(*one, np.array([14.0]), np.array([np.inf]), ROOM, drawn_on)
    assert place is not None
    x, y = (int(value) for value in place.corner)
    assert not drawn_on[y : y + 40, x : x + 120].any()


def test_a_label_that_finds_no_room_is_none() -> None:
    point, size = np.array([[50.0, 50.0]] * 2), np.array([[90.0, 90.0]] * 2)
    none = np.zeros((100, 100), dtype=bool)
    far = np.full(2, np.inf)
    made = labels.places(point, size, np.zeros(2), far, (100, 100), none)
    assert [place is None for place in made] == [False, True]


def test_a_label_points_where_its_piece_is_seen() -> None:
    seen = np.full((60, 100), -1)
    seen[20:40] = 7  # a duct across, behind
    seen[:, 45:70] = 3  # and one before it
    plain, covered = np.array([30.2, 25.6]), np.array([50.0, 30.0])
    assert labels.in_sight(plain, (2, 7), seen) is plain
    moved = labels.in_sight(covered, (2, 7), seen)
    assert moved is not None
    x, y = moved.tolist()
    assert 38.0 < x < 43.0  # on the nearer side, and off the edge of what hides it
    assert 24.0 < y < 36.0
    seen[20, 45:70] = 7  # a gap of one pixel is nearer, and shows nothing
    assert labels.in_sight(covered, (7,), seen) == pytest.approx(moved)
    assert labels.in_sight(covered, (2,), seen) is None
    seen[59, 99] = 2  # nothing more of it, at the corner of the picture
    assert labels.in_sight(np.array([1e3, -5.0]), (2,), seen) == pytest.approx(
        [99.5, 59.5]
    )


@needs_opengl
def test_the_picture_says_of_a_label_that_its_piece_is_hidden(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A small duct runs behind a large one, and comes out at its end."""
    from matplotlib.axes import Axes

    trunk, small = rectangular(0.8, 0.5), rectangular(0.35, 0.25)
    back = [[8, 1.5, 2], [3, 1.5, 2], [3, 2.5, 2], [3, 2.5, 1.43], [5, 2.5, 1.43]]
    runs: list[Any] = [
        ("trunk", [[0, 0, 3], [8, 0, 3], [8, 1.5, 3], [8, 1.5, 2]], trunk),
        ("back", back, small),
    ]
    source = {"trunk": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(runs, flows={"back": 0.3}, attributes=source)
    written: list[str] = []
    plain, text = labels.in_sight, Axes.text

    def pointed(point: Any, pieces: Any, seen: Any) -> Any:
        found = plain(point, pieces, seen)
        if found is not None:
            x, y = found.astype(int)
            assert seen[y, x] in pieces
        return found

    def kept(axes: Any, x: float, y: float, words: str, **how: Any) -> Any:
        written.append(words)
        return text(axes, x, y, words, **how)

    monkeypatch.setattr(scene, "in_sight", pointed)
    monkeypatch.setattr(Axes, "text", kept)
    notebook.plot(analyse(build(drawing)), size=(1600, 900))
    hidden = [words for words in written if words.endswith(", hidden")]
    assert [words.split("\n")[0] for words in hidden] == ["duct back"]
    assert len(written) > 4


@pytest.mark.parametrize("width", [320, 400, 800, 1600])
def test_the_bar_of_colours_stands_beside_the_ruler(width: int) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width / 100, 4.5), dpi=100)
    ends = scene._ruler(figure, (width, 450), 0.01, "m", 0)
    scale = colours.Scale((0.0, 1.0, 2.0), ("#000000", "#ffffff"))
    scene._bar(figure, scale, "loss, Pa", (width, 450), width, 0, ends)
    ruler, bar = (axes.get_position() for axes in figure.axes)
    assert ruler.x1 < bar.x0
    assert bar.x1 < 1.0


# --- words


def test_a_return_loses_from_a_terminal_to_the_fan() -> None:
    path = HOUSE / "hillside_house"
    schedule = read_schedule(path / "return.schedule.toml")
    back = analyse(build(read(path / "return.glb"), schedule))
    assert back.graph.is_return
    said = layout_view.panel_title("return", back, METRIC)
    assert said == f"return: {back.critical_loss:.1f} Pa from stairs"
    one, _ = layout_view.panel(back, "loss", METRIC, said, "")
    ends = {label.text: label.look for label in one.labels}
    assert ends["fan"] == scene.Look.END
    assert "source" not in ends
    assert ends["stairs"] == scene.Look.CRITICAL
    supply = layout_view.summary(analyse(build(drawn())), METRIC, returns=[back])
    assert f"· return {back.critical_loss:.1f} Pa" in supply


@pytest.mark.parametrize(
    ("clearance", "said"), [(-0.282, "overlaps by 282 mm"), (0.075, "75 mm clear")]
)
def test_the_subtitle_says_an_overlap_as_such(clearance: float, said: str) -> None:
    found = analyse(build(drawn()))
    text = layout_view.summary(found, METRIC, clearance=clearance, is_sound=False)
    assert text.endswith(f"· {said} · cannot be built as drawn")


@pytest.mark.parametrize(("by", "unit"), [("loss", "Pa"), ("per-metre", "Pa/m")])
def test_labels_say_what_the_colours_show(by: layout_view.By, unit: str) -> None:
    found = analyse(build(drawn()))
    one, _ = layout_view.panel(found, by, METRIC, "", "")
    shown = [label for label in one.labels if label.look == scene.Look.LOSS]
    said = [label.text.split("\n")[1] for label in shown]
    assert [words.split()[1] for words in said] == [unit] * 4
    highest = np.nanmax(layout_view.values(found, by, METRIC))
    assert float(said[0].split()[0]) == pytest.approx(highest, abs=0.05)
    if by == "per-metre":
        assert all(label.text.startswith("duct ") for label in shown)


def test_of_two_alike_that_lose_most_both_are_labelled() -> None:
    """Two straight lengths of a duct, one before and one behind a bend."""
    line = np.array([[0.0, 0, 3], [50, 0, 3], [50, 50, 3]])
    source = {"L": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(
        [("L", line, round_section(0.3))], flows={"L": 0.3}, attributes=source
    )
    one, _ = layout_view.panel(analyse(build(drawing)), "loss", METRIC, "", "")
    shown = [label.text for label in one.labels if label.look == scene.Look.LOSS]
    assert shown[0] == shown[1]
    assert shown[0].startswith("duct L\n")
    points = [label.point for label in one.labels[:2]]
    assert np.linalg.norm(points[0] - points[1]) > 30.0


def test_beside_other_options_it_is_said_which_labels_come_first() -> None:
    assert "labels" not in layout_view.bar_title("loss", METRIC)
    said = layout_view.bar_title("loss", METRIC, is_compared=True)
    assert said.endswith("first what the options do not have alike, then the largest")


@pytest.mark.parametrize("letters", [5, 40, 400])
def test_a_long_name_of_an_option_leaves_the_title_its_loss(letters: int) -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 4), dpi=100)
    canvas: Any = FigureCanvasAgg(figure)
    found, name = analyse(build(drawn())), "n" * letters
    title = layout_view.panel_title(name, found, METRIC)
    one, _ = layout_view.panel(found, "loss", METRIC, title, "")
    (made,), size = scene._titles(figure, [one], 400.0)
    text = figure.text(0.0, 0.5, made, size=size, weight="bold")
    assert text.get_window_extent(canvas.get_renderer()).width <= 400.0
    assert text.get_text().endswith(title[letters:])
    assert text.get_text().startswith("nnnnn")


def test_titles_of_long_names_are_told_apart_in_letters_of_one_size() -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 4), dpi=100)
    canvas: Any = FigureCanvasAgg(figure)
    found = analyse(build(drawn()))
    names = [f"option-with-a-long-name-{number:02}" for number in (1, 4, 10)]
    names += [f"past the beam, {way}, round the duct" for way in ("low", "high")]
    shown = [
        layout_view.panel(
            found, "loss", METRIC, layout_view.panel_title(name, found, METRIC), ""
        )[0]
        for name in [*names, "short"]
    ]
    titles, size = scene._titles(figure, shown, 330.0)
    assert len(set(titles)) == len(titles)
    for name, title in zip([*names, "short"], titles, strict=True):
        text = figure.text(0.0, 0.5, title, size=size, weight="bold")
        assert text.get_window_extent(canvas.get_renderer()).width <= 330.0
        for end in ("-01", "-04", "-10"):
            assert (f"{end}:" in title) == name.endswith(end)
    assert titles[-1].startswith("short: ")


@given(
    st.lists(st.text("ab -,", min_size=1, max_size=40), min_size=1, max_size=6),
    st.integers(8, 20),
)
def test_short_names_are_told_apart(names: list[str], letters: int) -> None:
    made = short_names.told_apart(names, letters)
    assert len(set(made)) == len(set(names))
    assert max(map(len, made)) <= letters
    if max(map(len, names)) <= letters:
        assert made == names


def test_a_label_keeps_a_long_name_whole_on_two_lines() -> None:
    """The return of the example: its name was cut where it says from where."""
    house = Path(__file__).parents[1] / "examples" / "hillside_house"
    plan, _ = with_airflows(read_schedule(house / "return.schedule.toml"))
    found = analyse(build(read(house / "return.glb"), plan))
    one, _ = layout_view.panel(found, "loss", METRIC, "return", "")
    said = [" ".join(label.text.split()) for label in one.labels]
    assert "past the branch, return trunk from return drop 1.8 Pa" in said


def test_labels_by_metre_do_not_say_a_duct_twice() -> None:
    house = Path(__file__).parents[1] / "examples" / "hillside_house"
    plan, _ = with_airflows(read_schedule(house / "house.schedule.toml"))
    found = analyse(build(read(house / "house.glb"), plan))
    one, _ = layout_view.panel(found, "per-metre", METRIC, "house", "")
    said = [label.text for label in one.labels if label.look == scene.Look.LOSS]
    assert len(said) == len(set(said)) == 4


@pytest.mark.parametrize(("side", "is_wide"), [(0.01, False), (0.3, True)])
def test_what_is_too_small_to_be_seen_is_not_said_to_be_hidden(
    side: float, is_wide: bool
) -> None:
    source = {"L": Attributes(source=True, source_at_end=False)}
    line = np.array([[0.0, 0, 3], [9, 0, 3]])
    drawing = drawing_from_runs(
        [("L", line, round_section(side))], flows={"L": 1e-4}, attributes=source
    )
    one, _ = layout_view.panel(analyse(build(drawing)), "loss", METRIC, "", "")
    view = projection.view_of(scene.corners(one))
    assert scene._is_wide(one.tubes, (0,), view, metres=0.05) == is_wide
    assert (not scene._thin(one.tubes, 0.05).any()) == is_wide


@needs_opengl
def test_a_thin_duct_keeps_the_colour_of_its_band(tmp_path: Path) -> None:
    """A duct of 200 mm and 200 m is less than two pixels wide."""
    line = np.array([[0.0, 0, 3], [200, 0, 3]])
    source = {"L": Attributes(source=True, source_at_end=False)}
    drawing = drawing_from_runs(
        [("L", line, round_section(0.2))], flows={"L": 0.1}, attributes=source
    )
    found = analyse(build(drawing))
    value = layout_view.values(found, "loss", METRIC)
    one, _ = layout_view.panel(found, "loss", METRIC, "", "")
    scale = colours.scale_for(value)
    out = tmp_path / "a.png"
    scene.picture([replace(one, labels=())], scale, "", out)
    image = matplotlib.image.imread(out)[..., :3]
    band = scale.colours[int(scale.band(value[:1])[0])]
    wanted = np.array([int(band[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    assert (np.abs(image - wanted).max(axis=2) < 0.1).sum() > 1000


def test_a_name_from_right_to_left_is_set_apart_in_a_picture() -> None:
    from matplotlib import ft2font

    said = lettering.as_drawn("מ: 9.6 Pa to א 12\u202e")
    if hasattr(ft2font, "__libraqm_version__"):
        assert said == "\u2068מ\u2069: 9.6 Pa to \u2068א\u2069 12\\u202e"
    assert lettering.as_drawn("plain: 9.6 Pa") == "plain: 9.6 Pa"


def test_a_return_beside_options_is_all_in_view() -> None:
    found = analyse(build(drawn()))
    far = layout_view.DuctSolid(
        "r", np.array([[90.0, 0, 0], [91, 0, 0], [90, 1, 0]]), np.array([[0, 1, 2]]),
        is_closed=False,
    )  # fmt: skip
    one, _ = layout_view.panel(found, "loss", METRIC, "", "", [far])
    assert scene.corners(one)[:, 0].max() == 91.0


def test_of_many_terminals_the_critical_one_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = analyse(build(drawn()))
    every = set(found.graph.terminals.name)
    for named, expected in ((25, every), (2, {found.critical_terminal})):
        monkeypatch.setattr(layout_view, "_NAMED", named)
        one, _ = layout_view.panel(found, "loss", METRIC, "", "")
        assert {label.text for label in one.labels} & every == expected
    assert f"{len(every)} terminals" in layout_view.summary(found, METRIC)


@pytest.mark.parametrize(("times", "is_told"), [(49.0, False), (51.0, True)])
def test_layouts_fifty_times_their_size_apart_are_in_no_picture(
    times: float, is_told: bool
) -> None:
    """Own choice: a duct of 10 m is then a few dots long."""
    both = []
    for begin in (0.0, 10.0 + 10.0 * times):
        line = [[begin, 0, 3], [begin + 10.0, 0, 3]]
        drawing = drawing_from_runs(
            [("a", line, round_section(0.3))],
            flows={"a": 0.1},
            attributes={"a": Attributes(source=True, source_at_end=False)},
        )
        both.append(analyse(build(drawing)))
    assert len(layout_view.far_apart(both)) == is_told


def test_gaps_are_said_in_the_units_of_the_reader() -> None:
    """A place is in the unit of the drawing, so that it can be found there."""
    near = gaps.Gap("duct", "beam", 0.0254, 0.0508, (0.3048, 0.0, 3.048), "in")
    assert near.sentence(INCH_POUND) == (
        "'duct' passes 'beam' at 1.0 in at (12, 0, 120) in, 2.0 in are required"
    )
    over = gaps.Gap("duct", "beam", -0.0254, 0.0508, (0.3048, 0.0, 3.048), "m")
    assert over.sentence() == "'duct' overlaps 'beam' by 25 mm at (0.305, 0, 3.048) m"
    made = layout_view._clashes([over, near], INCH_POUND)
    assert [label.text for label in made] == [
        "overlaps beam\nby 1.0 in",
        "1.0 in from beam",
    ]


def test_a_clash_has_room_before_all_other_labels() -> None:
    assert next(iter(scene.Look)) == scene.Look.CLASH
    assert scene.Look.CLASH not in scene._FURTHEST  # so it finds a place anywhere


def test_what_stands_under_a_title_is_parted_and_not_made_small() -> None:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(dpi=100)
    FigureCanvasAgg(figure)
    text = "22.4 Pa of it in fittings · overlaps by 285 mm · cannot be built as drawn"
    assert scene._under(figure, text, 2000.0) == [text]
    parted = scene._under(figure, text, 400.0)
    assert len(parted) == 2
    assert " · ".join(parted) == text


def test_a_verdict_names_a_few_clashes_and_counts_the_rest() -> None:
    found = analyse(build(drawn()))
    clashes = tuple(f"clash {number}" for number in range(200))
    said = compare([Option("a", found, -0.1, clashes), Option("b", found)]).verdict
    assert "clash 5; and 194 more." in said
    assert "clash 6" not in said


# --- letters


def test_letters_that_no_font_has_are_said_in_a_sentence() -> None:
    assert lettering.unwritable("plain, Ø200 ×") == ""
    said = lettering.unwritable("a \U0010fffd name")
    assert said.startswith("no font on this machine has \U0010fffd,")
    assert "/" not in said


@needs_opengl
@pytest.mark.parametrize(
    "name", ["lab $\\foo$ 2", "grille $5_a and $6_b", "a \U0010fffd name", "主风管"]
)
def test_names_are_drawn_as_they_are_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    route, out = tmp_path / "a$\\foo$.toml", tmp_path / "out.png"
    written = name.replace("\\", "\\\\")
    route.write_text(
        f'unit = "m"\n[[run]]\nname = "{written}"\nsection = "D200"\n'
        'points = [[0, 0, 0], [5, 0, 0]]\nsource = "start"\n'
        f'terminal = "{written}"\nflow = "100 L/s"\n',
        encoding="utf-8",
    )
    for command in ("analyse", "check"):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert main([command, str(route), "--png", str(out)]) == 0
        said = capsys.readouterr().err
        lacking = lettering.unwritable(name)
        assert ("no font" in said) == (lacking != "" and command != "check")


def test_mathematics_is_not_read_into_names() -> None:
    from matplotlib.figure import Figure

    with lettering.lettering("$x$"):
        assert not Figure().text(0, 0, "$x$").get_parse_math()


# --- notebooks


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"by": "colour"}, "by is 'colour'; write 'loss' or 'per-metre'"),
        ({"units": "furlong"}, "units is 'furlong'; write 'metric' or 'inch-pound'"),
        ({"size": (10, 10)}, r"size is \(10, 10\); take \(320, 280\) or more"),
    ],
)
def test_a_plot_that_is_not_known_is_refused(how: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        notebook.plot(analyse(build(drawn())), **how)


@needs_opengl
def test_the_verdict_of_a_plot_has_its_units(monkeypatch: pytest.MonkeyPatch) -> None:
    kept: dict[str, Any] = {}

    def instead(*given: Any, **more: Any) -> str:
        kept.update(more)
        given[3].write_bytes(b"")
        return ""

    monkeypatch.setattr(notebook, "picture", instead)
    found = analyse(build(drawn()))
    both = compare([Option("a", found), Option("b", found)])
    notebook.plot(both, units="inch-pound")
    assert "in.wg" in kept["verdict"]
    assert " Pa" not in kept["verdict"]


def test_the_gravest_finding_is_labelled_first(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Where there is little room the first labels keep their places."""
    cut = rectangular(0.3, 0.2)
    runs: list[Any] = [
        ("a", [[0, 0, 0], [4, 0, 0]], cut),
        ("b", [[4, 0, 0], [4, 4, 0]], rectangular(0.1, 0.1)),
        ("x", [[1, -1, 0], [1, 1, 0]], cut),
    ]
    source = {"a": Attributes(source=True)}
    found = audit(drawing_from_runs(runs, flows={"b": 0.3}, attributes=source))
    words = [said.severity.value for said in found.findings if said.place is not None]
    assert "note" in words[words.index("warning") :]
    drawn: list[str] = []

    def picture(panels: Any, *_: Any, **__: Any) -> str:
        drawn.extend(label.text for label in panels[0].labels)
        return ""

    monkeypatch.setattr(audit_shown, "picture", picture)
    audit_shown.audit_picture(found, tmp_path / "none.png", METRIC)
    assert drawn == sorted(drawn, key=int)
    assert len(drawn) == len(words)


class Shown:
    """A window that shows nothing."""

    def screenshot(self, to: Any) -> None:
        to.write(b"picture")


def test_a_screenshot_takes_a_free_name(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What was read may have the first name, by a link."""
    monkeypatch.chdir(tmp_path)
    route = tmp_path / "under.glb"
    route.write_bytes(b"route")
    Path("elbowroom.png").hardlink_to(route)
    Path("elbowroom-2.png").symlink_to(tmp_path / "later.glb")
    window.shoot(Shown())
    window.shoot(Shown())
    said = "wrote elbowroom-3.png\nwrote elbowroom-4.png\n"
    assert capsys.readouterr().out == said
    assert route.read_bytes() == b"route"
    assert not (tmp_path / "later.glb").exists()
    assert Path("elbowroom-4.png").read_bytes() == b"picture"


def test_a_screenshot_that_cannot_be_written_is_refused_in_a_sentence(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def no(*_: Any, **__: Any) -> Any:
        raise PermissionError

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(Path, "open", no)
    window.shoot(Shown())
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == (
        "elbowroom: elbowroom.png: you have no right to write there; name another "
        "place or change its rights.\n"
    )


def staged(*titles: str, hint: str = "") -> stage.Stage:
    """A window off the screen, with a layout under each title."""
    preflight.prepare_off_screen()
    found = analyse(build(drawn()))
    shown = [
        layout_view.panel(found, "loss", METRIC, title, "60 Pa of it in fittings")[0]
        for title in titles
    ]
    scale = colours.scale_for(layout_view.values(found, "loss", METRIC))
    return window.staged(shown, scale, "loss, Pa", hint=hint, off_screen=True)


@needs_opengl
def test_the_keys_of_the_window_do_nothing_but_what_its_help_says() -> None:
    """VTK draws a box at `p` and fills what was lines at `s`."""
    shown = staged("one")
    plotter = shown.plotter
    window.mark(shown, 0, 1)
    window.keep_keys(plotter, "nps")
    plotter.show(auto_close=False, interactive=False)
    chosen = plotter.renderer.actors["chosen"]
    before = plotter.renderer.GetViewProps().GetNumberOfItems()
    keys = plotter.iren.interactor
    width, height = plotter.window_size
    at = next(
        (x, y)
        for x in range(0, width, 8)
        for y in range(0, height, 8)
        if window.piece_at(plotter, x, y)
    )
    for key in "psPS":
        keys.SetEventInformation(*at, 0, 0, key, 1, key)
        keys.InvokeEvent("CharEvent")
    assert plotter.renderer.GetViewProps().GetNumberOfItems() == before
    assert chosen.prop.style == "Wireframe"
    keys.SetEventInformation(*at, 0, 0, "w", 1, "w")  # another key does its work
    keys.InvokeEvent("CharEvent")
    assert plotter.renderer.actors["ducts"].prop.style == "Wireframe"
    plotter.close()


@needs_opengl
def test_the_words_of_the_window_fit_and_have_one_size() -> None:
    shown = staged("short", "W" * 70, "a", hint=window._HELP)
    plotter = shown.plotter
    window.mark(shown, 1, 1, "a row that goes on " * 8)
    room = scene.SIZE[0] / 3
    sizes = []
    for renderer in plotter.renderers[:3]:
        for name, actor in renderer.actors.items():
            words = getattr(actor, "input", "")
            if not words or len(words) < 20:
                continue
            across = [0.0, 0.0]
            actor.GetSize(renderer, across)
            assert across[0] < room - 12, name
            if "in fittings" in words:
                sizes.append(actor.prop.font_size)
    assert len(sizes) == 3
    assert len(set(sizes)) == 1
    plotter.close()


def boxes(shown: stage.Stage, number: int) -> dict[str, tuple[float, ...]]:
    """Left, right, lower and upper side of what is written in a cell, pixels."""
    found: dict[str, tuple[float, ...]] = {}
    renderer = shown.plotter.renderers[number]
    for name, actor in renderer.actors.items():
        if getattr(actor, "input", "").strip():
            extent = [0.0, 0.0]
            actor.GetSize(renderer, extent)
            (x, y), top = actor.position, actor.prop.justification_vertical == "top"
            low = y - extent[1] if top else y
            found[name] = (x, x + extent[0], low, low + extent[1])
        elif name == "bar":
            found[name] = actor.GetMapper().GetInput().GetBounds()[:4]
    if number == 0:
        shape = shown.slider.GetRepresentation()
        ends = [
            end.GetComputedDisplayValue(renderer)
            for end in (shape.GetPoint1Coordinate(), shape.GetPoint2Coordinate())
        ]
        title = shape.GetTitleHeight() * shown.plotter.window_size[1]
        assert title >= 10
        (left, middle), (right, _) = ends
        found["slider"] = (left, right, middle - 3.2 * title, middle + 4.2 * title)
    return found


@needs_opengl
@pytest.mark.parametrize("size", [(1600, 900), (1000, 600), (700, 500)])
@pytest.mark.parametrize("count", [1, 2, 4])
def test_what_a_window_of_any_size_says_fits_and_nothing_overlaps(
    count: int, size: tuple[int, int]
) -> None:
    title = "sidestep: 72.0 Pa to B3 and cannot be built as drawn"
    shown = staged(*[title] * count, hint=window._HELP)
    plotter = shown.plotter
    plotter.show(auto_close=False, interactive=False)
    plotter.subplot(0, 0)
    shown.slider = plotter.add_slider_widget(lambda _: None, (1, 9), title="largest")
    row = (
        "branch-2  B2 from T3: branch at 90°, conical entry, 6.0 m/s, C 0.925 "
        "(junction_rect_diverging_branch), 20.0 Pa"
    )
    for chosen in {0, count - 1}:
        window.mark(shown, chosen, 1, row)
        plotter.window_size = size
        plotter.render()
        for number in range(count):
            found = boxes(shown, number)
            assert ("row" in found) == (number == chosen)
            assert ("bar" in found) == ("bar title" in found) == (number == count - 1)
            for name, (left, right, low, high) in found.items():
                assert 0 <= left < right <= size[0] // count, name
                assert 0 <= low < high <= size[1], name
            for (a, one), (b, other) in combinations(found.items(), 2):
                apart = (
                    one[1] <= other[0] or other[1] <= one[0]
                    or one[3] <= other[2] or other[3] <= one[2]
                )  # fmt: skip
                # Lines of the scale stand as close as its bands are high.
                assert apart or (a.startswith("edge") and b.startswith("edge")), (a, b)
    plotter.close()


@needs_opengl
def test_a_window_of_another_size_keeps_how_a_layout_was_turned() -> None:
    shown = staged("one", "two")
    plotter = shown.plotter
    plotter.show(auto_close=False, interactive=False)
    camera = plotter.renderers[1].camera
    camera.Azimuth(40)
    camera.Zoom(2)
    before, position = camera.parallel_scale, camera.position
    plotter.window_size = (700, 900)
    plotter.render()
    assert camera.position == position
    # Half as wide and as high: of what was seen across, all still is.
    assert camera.parallel_scale == pytest.approx(before * 1600 / 700, rel=0.01)
    plotter.close()


@needs_opengl
def test_the_window_reads_no_mathematics_in_names(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """VTK would say on standard error that it cannot typeset them."""
    preflight.prepare_off_screen()
    found = analyse(build(drawn()))
    one, _ = layout_view.panel(found, "loss", METRIC, "lab $\\foo$ 2", "$x_2$")
    scale = colours.scale_for(layout_view.values(found, "loss", METRIC))
    shown = window.staged([one], scale, "loss, Pa", off_screen=True)
    plotter = shown.plotter
    window.mark(shown, 0, 1, "the row $\\foo$")
    plotter.show(auto_close=False)
    plotter.screenshot(return_img=True)
    plotter.close()
    assert "MathText" not in capfd.readouterr().err


def test_a_duct_that_touches_is_not_said_to_overlap_by_nothing() -> None:
    kept = gaps.Gap("duct", "beam", 0.0, 0.0, (1.0, 0.0, 3.0), "m")
    near = gaps.Gap("duct", "beam", -1e-7, 0.05, (1.0, 0.0, 3.0), "m")
    deep = gaps.Gap("duct", "beam", -0.02, 0.0, (1.0, 0.0, 3.0), "m")
    scant = gaps.Gap("duct", "beam", -0.0004, 0.0, (1.0, 0.0, 3.0), "m")
    assert scant.sentence() == (
        "'duct' overlaps 'beam' by less than 1 mm at (1, 0, 3) m"
    )
    assert "by less than 0.1 in at" in scant.sentence(INCH_POUND)
    passing = replace(scant, distance=0.0004, required=0.05)
    assert "passes 'beam' at less than 1 mm" in passing.sentence()
    assert METRIC.apart(-0.0006) == "overlaps by 1 mm"
    assert [gap.is_kept for gap in (kept, near, deep)] == [True, False, False]
    words = [METRIC.apart(gap.distance) for gap in (kept, near, deep)]
    assert words == ["touching", "touching", "overlaps by 20 mm"]
    found = analyse(build(drawn()))
    made, _ = layout_view.panel(found, "loss", METRIC, "", "", room=(near, deep))
    marks = [one.text for one in made.labels if one.look == scene.Look.CLASH]
    assert marks == ["touches beam", "overlaps beam\nby 20 mm"]
    assert near.sentence() == (
        "'duct' touches 'beam' at (1, 0, 3) m, 50 mm are required"
    )
