"""A browser, and pages of it that look at a server of this process or of another."""

import asyncio
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from page_tests import PATIENCE_MS, SITE, settled
from playwright.sync_api import Browser, Page, sync_playwright
from site_files import written

from terrain3d.draft.document import read_draft
from terrain3d.serve.keeping import bring_back
from terrain3d.serve.server import listening
from terrain3d.serve.session import Session

CHROMIUM = shutil.which("chromium")
#: Nothing of a browser's own may call out, and no name but loopback is known to it.
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-dev-shm-usage", "--disable-component-update",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]  # fmt: skip


class Served:
    """A server of this process, on a thread of its own."""

    def __init__(self, begin: Callable[[Any], Session]) -> None:
        self._is_up = threading.Event()
        self._fault: BaseException | None = None
        self._thread = threading.Thread(target=self._run, args=(begin,), daemon=True)
        self._thread.start()
        assert self._is_up.wait(60)

    def _run(self, begin: Callable[[Any], Session]) -> None:
        with suppress(asyncio.CancelledError):
            asyncio.run(self._serve(begin))

    async def _serve(self, begin: Callable[[Any], Session]) -> None:
        async with listening(0) as self.serving:
            self.loop = asyncio.get_running_loop()
            self._running = asyncio.current_task()
            self._is_up.set()
            await self.serving.run(begin)

    @property
    def address(self) -> str:
        return self.serving.door.address

    def cut(self) -> None:
        """Have every line torn, as by a cable that is pulled."""

        def tear() -> None:
            for tab in self.serving.tabs:
                tab.socket._req.transport.abort()

        self.loop.call_soon_threadsafe(tear)

    def end(self) -> None:
        self.loop.call_soon_threadsafe(self._running.cancel)
        self._thread.join(20)


def session_in(start: Path) -> Callable[[Any], Session]:
    """What opens a site file, or a folder without one."""

    def begin(tell: Any) -> Session:
        if start.is_dir():
            return Session(start, None, None, tell)
        session = Session(start.parent, read_draft(start), None, tell)
        bring_back(session)
        return session

    return begin


@pytest.fixture
def serve() -> Iterator[Callable[[Path], Served]]:
    """Serves a site file or a folder, until the test is over."""
    running: list[Served] = []

    def start(place: Path) -> Served:
        running.append(Served(session_in(place)))
        return running[-1]

    yield start
    for one in running:
        one.end()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all tests of a file."""
    if CHROMIUM is None:
        pytest.skip("there is no chromium: the page is not looked at")
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield one
        one.close()


@pytest.fixture
def look(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Opens an address in a window of its own; nothing may fail in it or leave the machine."""
    contexts, faults, asked = [], [], []

    def open_(address: str, size: tuple[int, int] = (1280, 720), **how: Any) -> Page:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **how)
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        page = context.new_page()
        watched(page, faults, asked)
        page.goto(address)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert faults == []
    assert asked
    assert [
        url for url in asked if not url.startswith(("http://127.0.0.1:", "ws://127.0.0.1:", "blob:"))
    ] == []


def watched(page: Page, faults: list[str], asked: list[str]) -> None:
    """Note what a page asks for, and whatever it complains of but a line that was cut."""
    page.on("request", lambda request: asked.append(request.url))
    page.on("websocket", lambda socket: asked.append(socket.url))
    page.on("pageerror", lambda error: faults.append(str(error)))

    def said(message: Any) -> None:
        is_line = "WebSocket" in message.text or "ERR_CONNECTION" in message.text
        if message.type in ("error", "warning") and not is_line:
            faults.append(message.text)

    page.on("console", said)


@pytest.fixture
def yard(tmp_path, serve, look):
    """The site opened in a window: its page, and its server."""
    path = written(tmp_path, SITE)
    server = serve(path)
    page = look(server.address)
    settled(page, lambda state: state["options"])
    page.wait_for_selector("[data-serial]")
    return page, server, path
