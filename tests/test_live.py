"""The live view in a real browser: it is served to this machine, and to it alone."""

import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from elbowroom.viewer import main, preflight

ROOM = Path(__file__).parents[1] / "examples" / "reading_room"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytest.importorskip("trame_vtk")
needs_both = pytest.mark.skipif(
    CHROMIUM is None or preflight.why_not() is not None,
    reason="there is no chromium or no OpenGL here",
)


@pytest.fixture
def address() -> Iterator[str]:
    """Address of a live view of two routes, served by a process of its own."""
    words = ["view", str(ROOM / "under.glb"), str(ROOM / "flatten.glb"), "--browser"]
    code = f"import sys; from elbowroom.viewer import main; sys.exit(main({words!r}))"
    with subprocess.Popen(
        [sys.executable, "-c", code],
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "BROWSER": "true"},  # the command, which opens nothing
    ) as served:
        assert served.stderr is not None
        said = ""
        for line in served.stderr:
            said += line
            found = re.search(r"http://\S+", line)
            if found:
                yield found[0]
                break
        served.kill()
    assert "http://127.0.0.1:" in said, said


@needs_both
def test_a_loss_and_a_click_show_their_row(address: str) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-quic"]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address)
        first = page.locator("li button").first
        first.wait_for(timeout=30_000)
        assert page.title() == "elbowroom: where the pressure goes"
        words = " ".join(first.inner_text().split())
        assert re.match(r"(under|flatten), .* Pa$", words)
        first.click()
        row = page.locator("output")
        page.wait_for_function(
            "() => !document.querySelector('output').innerText.startsWith('Click')"
        )
        assert row.inner_text().endswith(words.split()[-2] + " Pa")
        assert first.get_attribute("aria-current") == "true"
        # The scene comes as pictures: wait for one, then click along its middle.
        scene = page.locator("main > div").first
        scene.locator("img").first.wait_for(timeout=30_000)
        box = scene.bounding_box()
        before = row.inner_text()
        for share in range(30, 70, 2):
            page.mouse.click(
                box["x"] + box["width"] / 4, box["y"] + box["height"] * share / 100
            )
            page.wait_for_timeout(100)
        page.wait_for_function(
            "before => document.querySelector('output').innerText !== before",
            arg=before,
            timeout=30_000,
        )
        assert {url.split("/")[2] for url in asked if "//" in url} == {
            address.split("/")[2]
        }
        stranger = browser.new_page()
        stranger.goto(address.split("?")[0])
        stranger.wait_for_timeout(3_000)
        assert stranger.locator("li").count() == 0
        browser.close()


@needs_both
def test_it_listens_to_this_machine_alone(address: str) -> None:
    port = int(address.split(":")[2].split("/")[0])
    socket.create_connection(("127.0.0.1", port), timeout=2).close()
    # Who listens to every address would answer at this one too.
    with pytest.raises(OSError):  # noqa: PT011 - each system words it its own way
        socket.create_connection(("127.0.0.2", port), timeout=2).close()


def test_without_trame_one_sentence_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "trame_vtk", None)
    if preflight.why_not() is not None:
        pytest.skip("there is no OpenGL here")
    assert main(["view", str(ROOM / "under.glb"), "--browser"]) == 2
    assert "pip install trame trame-vtk" in capsys.readouterr().err


@pytest.mark.parametrize("port", ["-5", "65536", "99999999"])
def test_a_port_that_there_cannot_be_is_refused(
    port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["view", str(ROOM / "under.glb"), "--browser", "--port", port]
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    said = f"{port} is no port; write 1 to 65535, or 0 for any free one."
    assert err.strip() == f"elbowroom: --port: {said}"


@pytest.mark.skipif(preflight.why_not() is not None, reason="there is no OpenGL here")
def test_a_port_that_is_taken_is_refused() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        words = ["view", str(ROOM / "under.glb"), "--browser", "--port", port]
        code = f"import sys; from elbowroom.viewer import main; sys.exit(main({words}))"
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, timeout=120
        )
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert f"port {port} is taken, or not for us" in done.stderr
