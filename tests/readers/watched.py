"""Bait for files that reach beyond themselves: a folder that notes openings, a server that notes calls."""

import ctypes
import os
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

_LIBC = ctypes.CDLL(None, use_errno=True)
#: Of inotify(7): an opening, by whichever library.
_IN_OPEN = 0x20


class Opened:
    """The names of files opened in a folder since last asked, told by the kernel."""

    def __init__(self, folder: Path) -> None:
        self._fd = _LIBC.inotify_init1(os.O_NONBLOCK | os.O_CLOEXEC)
        if self._fd < 0 or _LIBC.inotify_add_watch(self._fd, os.fsencode(folder), _IN_OPEN) < 0:
            raise OSError(ctypes.get_errno(), "inotify")

    def names(self) -> list[str]:
        found, at = [], 0
        try:
            events = os.read(self._fd, 1 << 20)
        except BlockingIOError:
            return []
        while at < len(events):
            (length,) = struct.unpack_from("12xI", events, at)
            found.append(events[at + 16 : at + 16 + length].rstrip(b"\0").decode())
            at += 16 + length
        # Without a name it is the folder itself that was looked through.
        return [name for name in found if name]

    def close(self) -> None:
        os.close(self._fd)


@dataclass
class Bait:
    """A folder that nothing should be opened in, and an address that nothing should call."""

    folder: Path
    address: str
    opened: Opened
    called: list[str] = field(default_factory=list)

    def put(self, name: str, content: str | bytes) -> Path:
        """A file in the folder; the opening that writes it does not count."""
        path = self.folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        self.opened.names()
        return path

    def assert_untouched(self) -> None:
        assert self.opened.names() == []
        assert self.called == []


@contextmanager
def laid_bait(folder: Path) -> Iterator[Bait]:
    """A folder of its own, and a server on this machine that answers every call with "not found"."""
    folder.mkdir()
    called: list[str] = []

    class Note(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            called.append(f"{self.command} {self.path}")
            self.send_response(404)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_HEAD = do_POST = do_GET  # noqa: N815  the names that the library calls

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Note)
    # A server looks this often for its end: with half a second, the usual, tests would mostly wait for it.
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    opened = Opened(folder)
    try:
        yield Bait(folder, f"http://127.0.0.1:{server.server_port}", opened, called)
    finally:
        opened.close()
        server.shutdown()
        server.server_close()
        thread.join(10)
