"""The live view: the window's scene, drawn here and shown in a browser."""

import errno
import secrets
import sys
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

from elbowroom.layout import refusal

from .colours import Scale
from .scene import Panel, brought_near
from .window import mark, piece_at, staged

HOST = "127.0.0.1"  # this machine and no other
_STILL = 3.0  # pixels: a press and release nearer than this is a click
_NOT_OURS = (errno.EADDRINUSE, errno.EACCES, errno.EADDRNOTAVAIL)
_PATIENCE = 20  # s without a browser, after which the server ends
_STYLE = """
body { margin: 0; font: 14px/1.4 system-ui, sans-serif; color: #1c1c24; }
.live { display: flex; height: 100vh; }
.live ol { width: 21rem; margin: 0; padding: 0; overflow-y: auto; list-style: none;
  border-right: 1px solid #d8d8de; }
.live button { display: flex; width: 100%; gap: 1rem; justify-content: space-between;
  padding: .35rem .8rem; border: 0; background: none; font: inherit; color: inherit;
  text-align: left; cursor: pointer; }
.live button:hover, .live button:focus-visible { background: #eef0f6; }
.live button[aria-current=true] { background: #ffe1f0; }
.live main { flex: 1; display: flex; flex-direction: column; min-width: 0; }
.live main > div:first-child { flex: 1; min-height: 0; }
.live button span:last-child { white-space: nowrap; }
.live .bar { display: flex; flex-wrap: wrap; gap: .2rem 1rem; padding: .3rem .8rem;
  font-size: .85em; }
.live .bar i { display: inline-block; width: 1.6rem; height: .8rem;
  margin-right: .4rem; }
.live output { padding: .5rem .8rem; border-top: 1px solid #d8d8de; min-height: 1.4em; }
@media (max-width: 700px) { .live { flex-direction: column-reverse; }
  .live ol { width: auto; height: 35vh; border: 0; border-top: 1px solid #d8d8de; } }
"""


def live(
    panels: Sequence[Panel],
    scale: Scale,
    bar_title: str,
    on_pick: Callable[[int, int], str],
    ranked: Sequence[tuple[int, int]],
    losses: Sequence[tuple[str, str]],
    *,
    port: int = 0,
    announce: Callable[[str], None] = print,
) -> None:
    """Serve a scene to a browser on this machine, and stay until nobody looks at it.

    Parameters
    ----------
    panels, scale, bar_title, on_pick
        As in `window.window`.
    ranked, losses
        Panels and pieces by falling loss, and the name and the loss of each in words.
    port
        To listen at; any free one if 0.
    announce
        Given the page's address once it can be opened. The address holds a secret of
        this session: without it no page, also none from elsewhere, gets an answer.

    Raises
    ------
    BadInput
        If trame is not installed, or the port is not free.
    """
    get_server = _get_server()
    panels = brought_near(panels)
    stage = staged(panels, scale, "", off_screen=True)  # the page has a bar
    plotter = stage.plotter
    secret = secrets.token_hex(24)
    sys.argv[1:] = ["--authKey", secret]  # trame reads the command line for itself
    server = get_server(f"elbowroom-{secret}", client_type="vue3")
    state, control = server.state, server.controller
    _fill(state, scale, bar_title, losses)
    pressed = [0.0, 0.0]

    def choose(number: int, piece: int) -> None:
        state.line = on_pick(number, piece)
        at = (number, piece)
        state.chosen = ranked.index(at) if at in ranked else -1
        mark(stage, number, piece)
        control.view_update()

    def press(event: dict[str, Any]) -> None:
        pressed[:] = event["position"]["x"], event["position"]["y"]

    def release(event: dict[str, Any]) -> None:
        x, y = event["position"]["x"], event["position"]["y"]
        if abs(x - pressed[0]) + abs(y - pressed[1]) > _STILL:
            return
        found = piece_at(plotter, x, y)
        if found is not None:
            choose(*found)

    _page(server, plotter, lambda at: choose(*ranked[int(at)]), press, release)

    def ready(**_: Any) -> None:
        address = f"http://{HOST}:{server.port}/index.html?secret={secret}"
        announce(address)
        import webbrowser

        webbrowser.open(address)

    control.on_server_ready.add(ready)
    _serve(server, port)


def _fill(
    state: Any, scale: Scale, bar_title: str, losses: Sequence[tuple[str, str]]
) -> None:
    """Give the page what it shows from the start."""
    state.trame__title = "elbowroom: where the pressure goes"
    state.losses = [
        {"name": name, "loss": loss, "at": at} for at, (name, loss) in enumerate(losses)
    ]
    state.bands = [
        {"colour": colour, "words": f"{low:g} to {high:g}"}
        for colour, (low, high) in zip(
            scale.colours, pairwise(scale.edges), strict=True
        )
    ]
    state.measure = bar_title
    state.chosen, state.line = -1, "Click a duct, or a loss in the list."


def _serve(server: Any, port: int) -> None:
    """Serve the page until nobody looks at it; refuse a port that is not free."""
    try:
        server.start(
            port=port,
            host=HOST,
            open_browser=False,
            show_connection_info=False,
            disable_logging=True,
            timeout=_PATIENCE,
        )
    except OSError as problem:
        if problem.errno not in _NOT_OURS:
            raise
        raise refusal(
            "--port",
            f"port {port} is taken, or not for us",
            "choose another, or leave --port out",
        ) from None


def _get_server() -> Any:
    try:
        import trame_vtk  # noqa: F401
        from trame.app import get_server
    except ImportError:
        raise refusal(
            "--browser",
            "the live view is served with trame, which is not installed",
            "install it with: pip install trame trame-vtk",
        ) from None
    return get_server


def _page(
    server: Any,
    plotter: Any,
    choose: Callable[[int], None],
    press: Callable[[dict[str, Any]], None],
    release: Callable[[dict[str, Any]], None],
) -> None:
    """Lay the page out: the losses beside the scene, the chosen one's row below it."""
    from trame.ui.html import DivLayout
    from trame.widgets import client, html
    from trame.widgets import vtk as scenes

    with DivLayout(server):
        client.Style(_STYLE)
        with html.Div(classes="live"):
            with (
                html.Ol(aria_label="largest losses"),
                html.Li(v_for="row in losses"),
                html.Button(
                    click=(choose, "[row.at]"),
                    raw_attrs=[':aria-current="chosen === row.at"'],
                ),
            ):
                html.Span("{{ row.name }}")
                html.Span("{{ row.loss }}")
            with html.Main():
                with html.Div():
                    view = scenes.VtkRemoteView(
                        plotter.render_window,
                        interactive_ratio=1,
                        interactor_events=(
                            "events",
                            ["LeftButtonPress", "LeftButtonRelease"],
                        ),
                        LeftButtonPress=(press, "[utils.vtk.event($event)]"),
                        LeftButtonRelease=(release, "[utils.vtk.event($event)]"),
                    )
                    server.controller.view_update = view.update
                with html.Div(classes="bar"):
                    html.Span("{{ measure }}")
                    with html.Span(v_for="band in bands"):
                        html.I(raw_attrs=[':style="{ background: band.colour }"'])
                        html.Span("{{ band.words }}")
                html.Output("{{ line }}", aria_live="polite")
