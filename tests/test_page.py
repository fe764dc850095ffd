"""The review page: what is in the file, and how it behaves in a real browser."""

import base64
import hashlib
import itertools
import json
import re
import shutil
import struct
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.layout import (
    Attributes,
    Schedule,
    TerminalSpec,
    build,
    drawing_from_runs,
    rectangular,
    round_section,
)
from elbowroom.physics import Option, analyse
from elbowroom.viewer import colours, main, page

ROOM = Path(__file__).parents[1] / "examples" / "reading_room"
ROUTES = [str(ROOM / f"{name}.glb") for name in ("under", "flatten")]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>"
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium here")
SWITCHES = [
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
]


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("page") / "room.html"
    words = ["compare", *ROUTES, "--obstacles", str(ROOM / "beam.glb")]
    assert main([*words, "--page", str(out)]) == 0
    return out


def data_of(path: Path) -> dict[str, Any]:
    found = re.search(r'id="data">(.*?)</script>', path.read_text("utf-8"), re.DOTALL)
    assert found
    content: dict[str, Any] = json.loads(found[1])
    return content


def test_the_page_allows_only_its_own_scripts(room: Path) -> None:
    text = room.read_text("utf-8")
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]+)"', text)
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    for script in re.findall(r"<script>(.*?)</script>", text, re.DOTALL):
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    (style,) = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in policy
    assert not re.findall(r'(?:src|href)="https?:', text)


def test_the_same_input_gives_the_same_bytes(room: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.html"
    words = ["compare", *ROUTES, "--obstacles", str(ROOM / "beam.glb")]
    assert main([*words, "--page", str(again)]) == 0
    assert again.read_bytes() == room.read_bytes()


def test_what_the_page_holds(room: Path, capsys: pytest.CaptureFixture[str]) -> None:
    content = data_of(room)
    assert [option["name"] for option in content["options"]] == ["under", "flatten"]
    assert "spends least" in content["verdict"]
    capsys.readouterr()
    assert main(["analyse", ROUTES[0], "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    option = content["options"][0]
    assert option["elements"] == result["elements"]
    assert option["critical_loss"] == result["system"]["critical_loss_pa"]
    tubes = option["tubes"]
    centre = base64.b64decode(tubes["centre"])
    assert len(centre) == 12 * tubes["offsets"][-1]
    assert all(map(np.isfinite, struct.unpack(f"<{len(centre) // 4}f", centre)))
    assert max(tubes["element"]) < len(option["elements"])
    assert content["obstacles"]


@pytest.mark.parametrize(
    ("name", "said"), [("room.txt", "NAME.html"), ("no/where.html", "folder")]
)
def test_pages_that_cannot_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, said: str
) -> None:
    assert main(["analyse", ROUTES[0], "--page", str(tmp_path / name)]) == 2
    assert said in capsys.readouterr().err


def hostile(path: Path) -> Path:
    """A duct whose name is markup."""
    drawing = drawing_from_runs(
        [(HOSTILE, np.array([[0.0, 0, 0], [9, 0, 0], [9, 4, 0]]), round_section(0.3))],
        attributes={HOSTILE: Attributes(source=True, source_at_end=False)},
    )
    plan = Schedule(terminals={HOSTILE: TerminalSpec(0.3)})
    option = Option(HOSTILE, analyse(build(drawing, plan)))
    page.write_page(path, [option], [()], ())
    return path


def test_names_cannot_break_out(tmp_path: Path) -> None:
    text = hostile(tmp_path / "h.html").read_text("utf-8")
    assert HOSTILE not in text
    assert "<img" not in text
    assert data_of(tmp_path / "h.html")["options"][0]["name"] == HOSTILE


# --- in a browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield found
        found.close()


class Opened:
    """A page in the browser, with everything that it said and asked for."""

    def __init__(self, browser: Any, path: Path, size: tuple[int, int]) -> None:
        self.page = browser.new_page(viewport={"width": size[0], "height": size[1]})
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda m: self.said.append(f"{m.type}: {m.text}"))
        self.page.on("pageerror", lambda e: self.said.append(str(e)))
        self.page.on("dialog", self._dismiss)
        self.page.on("request", lambda r: self.asked.append(r.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_function("window.elbowroom && elbowroom.frames() > 0")

    def _dismiss(self, dialog: Any) -> None:
        self.said.append("dialog")
        dialog.dismiss()


@needs_browser
@pytest.mark.parametrize("size", [(1600, 900), (1280, 720), (390, 844)])
def test_it_opens_without_a_word_or_a_request(
    browser: Any, room: Path, size: tuple[int, int], tmp_path: Path
) -> None:
    import matplotlib.image

    one = Opened(browser, room, size)
    assert one.said == []
    assert one.asked == [room.as_uri()]
    shot = tmp_path / "shot.png"
    one.page.locator("#view").screenshot(path=str(shot))
    image = matplotlib.image.imread(shot)[..., :3]
    # The scene is there: saturated pixels of the scale, not a blank canvas.
    colourful = np.ptp(image, axis=2) > 0.15
    assert 0.005 < colourful.mean() < 0.6
    # Nothing is wider than the window.
    wide = one.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= size[0]
    one.page.close()


@needs_browser
def test_table_picture_and_detail_are_one(browser: Any, room: Path) -> None:
    one = Opened(browser, room, (1280, 720))
    p = one.page
    first = p.locator("#rows tr").first
    name = first.locator("td").nth(0).inner_text()
    first.click()
    assert name in p.locator("#detail h2").inner_text()
    assert "loss" in p.locator(".formula").inner_text()
    # A click into the picture chooses what is under it, and the table follows.
    box = p.locator("#view").bounding_box()
    chosen = None
    for across in np.linspace(0.1, 0.9, 25):
        for down in (0.2, 0.25, 0.3, 0.35, 0.4):
            p.mouse.move(
                box["x"] + across * box["width"], box["y"] + down * box["height"]
            )
            p.wait_for_timeout(30)
            if p.locator("#tip").inner_text():
                p.mouse.down()
                p.mouse.up()
                chosen = p.locator("#rows tr[aria-selected=true] td").first.inner_text()
                break
        if chosen:
            break
    assert chosen
    assert chosen in p.locator("#detail h2").inner_text()
    assert one.said == []
    p.close()


@needs_browser
def test_sorting_finding_filtering_and_units(browser: Any, room: Path) -> None:
    one = Opened(browser, room, (1280, 720))
    p = one.page

    def losses() -> list[float]:
        return [float(t) for t in p.locator("#rows td:last-child").all_inner_texts()]

    every = losses()
    assert every == sorted(every, reverse=True)
    p.locator("#heads-row th:last-child button").click()
    assert losses() == sorted(every)
    p.fill("#find", "elbow")
    kinds = p.locator("#rows td:nth-child(3)").all_inner_texts()
    assert kinds
    assert all("elbow" in kind for kind in kinds)
    p.fill("#find", "")
    p.check("#critical")
    rows = p.locator("#rows tr")
    assert rows.count() < len(every)
    assert p.locator("#rows tr.path").count() == rows.count()
    metric = losses()[-1]
    p.select_option("#units", "inch-pound")
    assert losses()[-1] == pytest.approx(metric / 249.08891, abs=6e-5)
    assert "in.wg" in p.locator("#heads").inner_text()
    p.select_option("#mode", "difference")
    assert "under" in p.locator("#legend-title").inner_text()
    assert one.said == []
    p.close()


HOUSE = ROOM.parent / "hillside_house" / "house.glb"


@pytest.mark.parametrize("units", ["metric", "inch-pound"])
def test_the_classes_are_those_of_the_picture(
    units: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "house.html"
    assert main(["analyse", str(HOUSE), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    pa = {"metric": 1.0, "inch-pound": 249.08891}[units]
    losses = np.array(
        [
            row["loss_pa"] / pa
            for row in found["elements"]
            if not row["id"].startswith("terminal-")
        ]
    )
    assert main(["analyse", str(HOUSE), "--page", str(out), "--units", units]) == 0
    scale = data_of(out)["scales"][units]["loss"]
    picture = colours.scale_for(losses)
    assert scale["labels"] == list(picture.edges)
    assert scale["colours"] == list(picture.colours)
    assert np.multiply(scale["labels"], pa) == pytest.approx(scale["edges"])


@needs_browser
@pytest.mark.parametrize("size", [(1280, 720), (390, 844)])
def test_no_two_numbers_of_the_legend_touch(
    browser: Any, size: tuple[int, int], tmp_path: Path
) -> None:
    out = tmp_path / "house.html"
    assert main(["analyse", str(HOUSE), "--page", str(out), "--units=inch-pound"]) == 0
    one = Opened(browser, out, size)
    for mode in ("loss", "per_metre", "velocity", "share"):
        one.page.select_option("#mode", mode)
        spans = one.page.locator("#legend-bands span")
        assert spans.count() > 5
        boxes = [spans.nth(place).bounding_box() for place in range(spans.count())]
        for left, right in itertools.pairwise(boxes):
            assert left["x"] + left["width"] + 3 <= right["x"]
        assert boxes[-1]["x"] + boxes[-1]["width"] <= size[0]
    one.page.close()


@needs_browser
def test_keys_step_through_the_losses(browser: Any, room: Path) -> None:
    one = Opened(browser, room, (1280, 720))
    p = one.page
    p.locator("#view").focus()
    seen = []
    for _ in range(3):
        p.keyboard.press("ArrowDown")
        seen.append(p.locator("#detail h2").inner_text())
    assert len(set(seen)) == 3
    for key in "1234f":
        p.keyboard.press(key)
    p.locator("#rows tr").nth(4).focus()
    p.keyboard.press("Enter")
    assert p.locator("#rows tr").nth(4).get_attribute("aria-selected") == "true"
    assert one.said == []
    p.close()


@needs_browser
def test_remarks_are_saved_and_loaded(browser: Any, room: Path, tmp_path: Path) -> None:
    one = Opened(browser, room, (1280, 720))
    p = one.page
    p.locator("#rows tr").first.click()
    p.fill("#remark", HOSTILE)
    p.click("#remark-form button[type=submit]")
    assert HOSTILE in p.locator("#remark-list li").inner_text()
    with p.expect_download() as download:
        p.click("#save")
    saved = tmp_path / "remarks.json"
    download.value.save_as(saved)
    content = json.loads(saved.read_text("utf-8"))
    assert content["schema"] == "elbowroom.remarks/1"
    assert content["remarks"][0]["text"] == HOSTILE
    p.close()
    other = Opened(browser, room, (1280, 720))
    other.page.set_input_files("#load", str(saved))
    other.page.wait_for_selector("#remark-list li")
    assert HOSTILE in other.page.locator("#remark-list li").inner_text()
    assert other.page.locator("#remark-list img").count() == 0
    broken = tmp_path / "broken.json"
    broken.write_text("{}")
    other.page.set_input_files("#load", str(broken))
    other.page.wait_for_selector("text=cannot be read")
    assert other.said == []
    other.page.close()


@needs_browser
def test_a_duct_called_script_is_text(browser: Any, tmp_path: Path) -> None:
    one = Opened(browser, hostile(tmp_path / "h.html"), (1280, 720))
    one.page.locator("#rows tr").first.click()
    one.page.wait_for_timeout(100)
    assert one.said == []
    assert HOSTILE in one.page.locator("#title").inner_text()
    assert one.page.locator("img").count() == 0
    one.page.close()


def many(count: int) -> Option:
    """A comb: a main with a branch every metre, each with one elbow."""
    runs: list[Any] = []
    flows = {}
    teeth = count // 6
    for i in range(teeth):
        runs.append(
            (f"m{i}", np.array([[i, 0, 0], [i + 1.0, 0, 0]]), rectangular(2, 1))
        )
        away = [[i + 1.0, 0, 0], [i + 1.0, 5, 0], [i + 1.0, 5, -2]]
        runs.append((f"b{i}", np.array(away, dtype=float), round_section(0.2)))
        flows[f"b{i}"] = TerminalSpec(0.02)
    end = np.array([[teeth, 0, 0], [teeth + 1.0, 0, 0]], dtype=float)
    runs.append(("end", end, rectangular(2, 1)))
    flows["end"] = TerminalSpec(0.02)
    drawing = drawing_from_runs(runs, attributes={"m0": Attributes(source=True)})
    return Option("comb", analyse(build(drawing, Schedule(terminals=flows))))


@needs_browser
@pytest.mark.parametrize(
    ("count", "seconds", "megabytes"), [(1000, 8.0, 5.0), (5000, 12.0, 12.0)]
)
def test_large_layouts_open_soon(
    browser: Any, tmp_path: Path, count: int, seconds: float, megabytes: float
) -> None:
    """The aims: 2 s for 5,000 elements, 5 MB for 1,000; busy machines get more time."""
    path = tmp_path / "many.html"
    option = many(count)
    assert len(option.analysis.elements.kind) >= count
    page.write_page(path, [option], [()], ())
    assert path.stat().st_size < megabytes * 1e6
    begin = time.perf_counter()
    one = Opened(browser, path, (1280, 720))
    assert time.perf_counter() - begin < seconds
    assert one.said == []
    one.page.close()
