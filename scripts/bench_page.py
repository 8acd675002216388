"""How quickly the page follows the hand in Debian's Chromium, on the demo, served as a person serves it.

`scripts/bench.py` prints these beside what the session takes alone. Run by itself it prints them too:
`.venv/bin/python scripts/bench_page.py`; with `--memory` what a thousand changes leave in page and server.
"""

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "serve" / "page")]

from browsers import CHROMIUM, launched  # noqa: E402
from page_tests import quiet, settled  # noqa: E402
from playwright.sync_api import CDPSession, Page  # noqa: E402

UNIT = {"option": "shed pole, two heads", "unit": "D1"}
BESIDE = "gate pole, two heads"
#: For so long a view is turned to count its pictures, seconds.
TURN_S = 4.0
#: Notes when the picture on the page becomes another one: once the browser has put it on the screen.
_WATCH = """() => {
    const picture = document.getElementById('picture');
    const bench = { shown: [], acted: 0 };
    new MutationObserver(() => requestAnimationFrame(() => {
        const { port1, port2 } = new MessageChannel();
        port1.onmessage = () => { port1.close(); bench.shown.push(performance.now()); };
        port2.postMessage(0);
    })).observe(picture, { attributeFilter: ['data-serial'] });
    for (const kind of ['pointermove', 'input']) {
        document.addEventListener(kind, (event) => { bench.acted = event.timeStamp; }, true);
    }
    window.bench = bench;
}"""
#: Moves the pointer that is down by some pixels at every picture of the screen, as a quick hand does.
_TURN = """(seconds) => new Promise((done) => {
    const picture = document.getElementById('picture');
    const box = picture.getBoundingClientRect();
    const begin = performance.now();
    window.bench.shown = [];
    let step = 0;
    const move = () => {
        step += 1;
        const [clientX, clientY] = [box.x + 200 + 4 * (step % 80), box.y + 200];
        const at = { pointerId: 1, bubbles: true, clientX, clientY };
        picture.dispatchEvent(new PointerEvent('pointermove', at));
        if (performance.now() - begin < 1000 * seconds) requestAnimationFrame(move);
        else done(window.bench.shown.length / (performance.now() - begin) * 1000);
    };
    requestAnimationFrame(move);
})"""
#: Milliseconds from what was done to the first picture after it.
_SHOWN = """() => new Promise((done) => {
    const look = () => (bench.shown.length ? done(bench.shown[0] - bench.acted) : setTimeout(look, 5));
    look();
})"""


@dataclass(frozen=True)
class Followed:
    """How a page followed the hand.

    Parameters
    ----------
    latencies_s : tuple of float
        Of each step of the hand, from the event in the browser to its picture on the screen.
    a_second : mapping of int to float
        Pictures a second while one view turns, and two.
    server_s : mapping of int to float
        Processor time of the server for each of these pictures.
    """

    latencies_s: tuple[float, ...]
    a_second: dict[int, float]
    server_s: dict[int, float]


@contextmanager
def demo_page() -> Iterator[tuple[Page, CDPSession, int]]:
    """The demo in a browser, two options side by side, a unit chosen: its page, and the server's process."""
    with tempfile.TemporaryDirectory() as folder:
        for name in ("demo.toml", "demo.laz"):
            shutil.copy(ROOT / "data" / name, folder)
        command = [
            sys.executable,
            "-c",
            "from terrain3d.cli.start import main; main()",
            "serve",
            "demo.toml",
            "--no-browser",
        ]
        environment = {"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin", "HOME": folder}
        server = subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, text=True, env=environment)
        try:
            assert server.stdout is not None
            address = next(line for line in server.stdout if "http://" in line).split()[-1]
            with launched() as browser:
                page = browser.new_context(viewport={"width": 1280, "height": 720}).new_page()
                page.set_default_timeout(120_000)
                page.goto(address)
                settled(page, lambda state: state["options"])
                page.wait_for_selector("[data-serial]")
                _send(page, {"do": "choose_unit", **UNIT, "head": None})
                _send(page, {"do": "compare", "name": BESIDE})
                settled(page, lambda state: state["unit"] and len(state["side"]) == 2)
                quiet(page)
                page.evaluate(_WATCH)
                cdp = page.context.new_cdp_session(page)
                cdp.send("Performance.enable")
                yield page, cdp, server.pid
        finally:
            server.terminate()
            server.wait(20)


def followed() -> Followed:
    """Turn views and set a unit in a browser, and time it."""
    with demo_page() as (page, _cdp, server):
        frames, worked = dict[int, float](), dict[int, float]()
        for count in (2, 1):
            _send(page, {"do": "compare", "name": BESIDE if count == 2 else None})
            settled(page, lambda state, n=count: len(state["side"]) == (2 if n == 2 else 0))
            quiet(page)
            frames[count], worked[count] = _turned(page, server)
        _send(page, {"do": "compare", "name": BESIDE})
        settled(page, lambda state: len(state["side"]) == 2)
        quiet(page)
        return Followed(tuple(_stepped(page)), frames, worked)


def _turned(page: Page, server: int) -> tuple[float, float]:
    """Pictures a second, and processor time of the server for each."""
    x, y = _middle(page)
    page.mouse.move(x - 150, y + 160)
    page.mouse.down()
    page.mouse.move(x - 140, y + 160)
    page.evaluate(_TURN, 0.5)
    before = _worked_s(server)
    each = page.evaluate(_TURN, TURN_S)
    worked = (_worked_s(server) - before) / max(each * TURN_S, 1)
    page.mouse.up()
    quiet(page)
    return each, worked


def _stepped(page: Page) -> Iterator[float]:
    """Seconds of 200 steps: a unit turned by its handle, tilted and raised by sliders, its range set."""
    at, handle = _handle(page)
    page.mouse.move(*handle)
    page.mouse.down()
    page.mouse.move(handle[0] + 8, handle[1])
    quiet(page)
    radius = float(np.hypot(handle[0] - at[0], handle[1] - at[1]))
    for k in range(80):
        turned = np.radians(3.0 * k)
        place = at[0] + radius * np.sin(turned) / 2, at[1] - radius * np.cos(turned) / 2
        yield _step(page, partial(page.mouse.move, *place))
    page.mouse.up()
    quiet(page)
    for setting, count in (("tilt", 60), ("height", 40)):
        slider = page.locator(f'[data-slider="{setting}"]')
        slider.scroll_into_view_if_needed()
        box = slider.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        quiet(page)
        for k in range(count):
            across = box["x"] + box["width"] * (0.25 + 0.5 * ((k * 7) % 20) / 20)
            yield _step(page, partial(page.mouse.move, across, box["y"] + 5))
        page.mouse.up()
        quiet(page)
    ranges = page.locator('[data-field="range"]')
    for k in range(20):
        yield _step(page, partial(ranges.select_option, index=k % 4))


def _step(page: Page, act: Callable[[], object]) -> float:
    """Seconds from what is done to the picture that shows it."""
    page.evaluate("window.bench.shown = []; window.bench.acted = 0")
    act()
    took_ms = page.evaluate(_SHOWN)
    quiet(page)
    return float(took_ms) / 1000


def _handle(page: Page) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where the chosen unit and its handle lie in the window."""
    found = page.evaluate(
        """() => {
            const middle = (node) => {
                const box = node.getBoundingClientRect();
                return [box.x + box.width / 2, box.y + box.height / 2];
            };
            const grip = document.querySelector('.grip.chosen');
            const unit = grip.parentNode.querySelector('.halo');
            return [middle(unit), middle(grip)];
        }"""
    )
    return tuple(found[0]), tuple(found[1])


def _send(page: Page, order: dict[str, object]) -> None:
    page.evaluate("(order) => import('/page.js').then(({ link }) => link.send(order))", order)


def _ask(page: Page, order: dict[str, object]) -> None:
    """Send an order and wait until it is done and its picture is shown, as a page that is used does."""
    page.evaluate(
        """async (order) => {
            const { link } = await import('/page.js');
            await link.ask(order);
            await new Promise((done) => requestAnimationFrame(done));
        }""",
        order,
    )


def _resident_mb(process: int) -> float:
    """Memory of a process that is in use, megabytes."""
    lines = Path(f"/proc/{process}/status").read_text(encoding="ascii").splitlines()
    return int(next(line for line in lines if line.startswith("VmRSS")).split()[1]) * 1024 / 1e6


def _middle(page: Page) -> tuple[float, float]:
    box = page.locator("#picture").bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def _worked_s(process: int) -> float:
    """Processor time of a process so far, seconds."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / 100


def grown(changes: int = 1000, every: int = 200) -> Iterator[tuple[int, float, float]]:
    """What changes leave: how many were made, and megabytes of the page's own heap and of the server."""
    with demo_page() as (page, cdp, server):
        for k in range(changes):
            if k % 20 == 18:
                points = [[-1.0, 1.0 + k / 200], [3.0, 1.0 + k / 200]]
                _ask(page, {"do": "draw", "kind": "wall", "points": points})
            elif k % 20 == 19:
                _ask(page, {"do": "undo"})
                _ask(page, {"do": "choose_unit", **UNIT, "head": None})
            else:
                settings = {"bearing": 2.5 * k % 360, "tilt": k % 20 - 10, "height": 0.8 + 0.05 * (k % 24)}
                setting = tuple(settings)[k % 3]
                _ask(page, {"do": "set", "setting": setting, "value": settings[setting], "head": None})
            if k == every // 2 or (k + 1) % every == 0:
                cdp.send("HeapProfiler.collectGarbage")
                metrics = cdp.send("Performance.getMetrics")["metrics"]
                heap = next(one["value"] for one in metrics if one["name"] == "JSHeapUsedSize")
                yield k + 1, heap / 1e6, _resident_mb(server)


def told(result: Followed) -> Iterator[tuple[str, float, str]]:
    """What was found as rows: what it is, seconds, and the limit it is meant to keep."""
    steps = np.array(result.latencies_s)
    yield f"  in a browser, a step of the hand, median of {len(steps)}", float(np.median(steps)), "150 ms"
    yield "    95th percentile", float(np.percentile(steps, 95)), "300 ms"
    for count, each in result.a_second.items():
        yield f"  in a browser, a turning picture, {count} in view ({each:.0f} a second)", 1 / each, "33 ms"
        yield "    of the server's processors", result.server_s[count], ""


if __name__ == "__main__":
    if CHROMIUM is None:
        sys.exit("there is no chromium: the page is not timed in a browser")
    if "--memory" in sys.argv[1:]:
        for count, page_mb, server_mb in grown():
            print(f"{count:5} changes: page {page_mb:6.2f} MB, server {server_mb:6.0f} MB", flush=True)
    else:
        for what, seconds, limit in told(followed()):
            print(f"{what:70} {1000 * seconds:6.0f} ms {limit}")
