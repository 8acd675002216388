"""Debian's Chromium for tests that look at a page, and what they hold every page to."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from playwright.sync_api import Browser, Dialog, Page, sync_playwright

#: Long enough for a busy machine: nothing is timed.
PATIENCE_MS = 60_000
CHROMIUM = shutil.which("chromium")
#: Drawn without a graphics card; nothing of a browser may call out, and no name but loopback is known to it.
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader", "--disable-quic",
    "--no-first-run", "--disable-sync", "--disable-background-networking", "--disable-dev-shm-usage",
    "--disable-component-update", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]  # fmt: skip
#: What a page of a server of ours may ask; a page that is opened from disk may ask for itself alone.
_OWN = ("http://127.0.0.1:", "ws://127.0.0.1:", "blob:")


@contextmanager
def launched() -> Iterator[Browser]:
    """A browser, until the block ends."""
    if CHROMIUM is None:
        pytest.skip("there is no chromium: the page is not looked at")
    with sync_playwright() as playwright:
        one = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield one
        one.close()


@contextmanager
def looking(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Opens addresses, each in a window of its own; nothing may fail in them or leave the machine."""
    contexts, faults, asked, strange = [], [], [], []

    def open_(address: str, size: tuple[int, int] = (1280, 720), **how: Any) -> Page:
        own = (address, "data:") if address.startswith("file:") else _OWN

        def ask(url: str) -> None:
            asked.append(url)
            if not url.startswith(own):
                strange.append(url)

        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **how)
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        page = context.new_page()
        _watch(page, faults, ask)
        page.goto(address)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert faults == []
    assert asked
    assert strange == []


def _watch(page: Page, faults: list[str], ask: Callable[[str], None]) -> None:
    """Note what a page asks for, and whatever it complains of but a line that was cut.

    That whoever takes a picture of what it draws has it wait is no complaint of the page.
    """
    page.on("request", lambda request: ask(request.url))
    page.on("websocket", lambda socket: ask(socket.url))
    page.on("pageerror", lambda error: faults.append(str(error)))

    def asks(dialog: Dialog) -> None:
        faults.append(dialog.message)
        dialog.dismiss()

    def said(message: Any) -> None:
        ours = ("WebSocket", "ERR_CONNECTION", "GPU stall due to ReadPixels")
        if message.type in ("error", "warning") and not any(part in message.text for part in ours):
            faults.append(message.text)

    page.on("dialog", asks)
    page.on("console", said)
