"""Servers in this process, and a page that looks at one."""

import asyncio
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from page_tests import SITE, settled
from site_files import written

from terrain3d.draft.document import read_draft
from terrain3d.serve.keeping import bring_back
from terrain3d.serve.server import listening
from terrain3d.serve.session import Session


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


@pytest.fixture
def yard(tmp_path, serve, look):
    """The site opened in a window: its page, and its server."""
    path = written(tmp_path, SITE)
    server = serve(path)
    page = look(server.address)
    settled(page, lambda state: state["options"])
    page.wait_for_selector("[data-serial]")
    return page, server, path
