"""The page's server, on loopback alone: one session, one worker that owns it, tabs that see it."""

import asyncio
import json
import struct
import sys
import traceback
from collections import deque
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from importlib.resources import files
from typing import Any, Protocol, TypeVar

from terrain3d.errors import InputError
from terrain3d.serve.door import Door
from terrain3d.serve.messages import MOST_BYTES, Message, changes_state, gathered, read_message

try:
    from aiohttp import WSCloseCode, WSMsgType, web
except ImportError:
    raise InputError(
        "the page needs aiohttp, which is not installed", "terrain3d serve", 'pip install "terrain3d[serve]"'
    ) from None

#: How often the session is asked whether something came about by itself, seconds.
_TICK_S = 0.25
#: A message that is too long is refused in words up to this size; past it the connection is cut.
_CUT_BYTES = 4 * MOST_BYTES
#: Messages that may wait; whoever sends more of them waits.
_MOST_WAITING = 500
#: A tab that does not answer within this many seconds is taken for gone.
_SILENT_S = 20.0
#: How long tabs are waited for at the end, seconds: Ctrl-C ends it at once.
_CLOSE_S = 0.2
_TYPES = {"html": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}

Tell = Callable[[str, float], None]
_Made = TypeVar("_Made")


class Frame(Protocol):
    """A picture, with what is needed to draw over it."""

    @property
    def jpeg(self) -> bytes: ...
    @property
    def size(self) -> tuple[int, int]: ...
    @property
    def serial(self) -> int: ...
    @property
    def panes(self) -> list[dict[str, Any]]: ...


class Session(Protocol):
    """What a page is about. It is called on one thread alone."""

    tell: Tell

    def do(self, message: Message) -> dict[str, Any] | None:
        """Carry out an order; what comes back is for whoever gave it."""

    def tick(self) -> bool:
        """Look at what came about by itself; whether the state may be another for it."""

    def state(self) -> dict[str, Any]:
        """All that a page shows besides the picture."""

    def frame(self) -> Frame | None:
        """The next picture; None where nothing changed."""

    def picture(self, name: str) -> tuple[bytes, str] | None:
        """A picture by its name, and its media type."""

    def end(self) -> None:
        """Stop what still works, and give back what is held."""


@dataclass(eq=False)
class _Tab:
    """One page that is open, and what it still has to be told."""

    socket: web.WebSocketResponse
    answers: deque[str] = field(default_factory=deque)
    state: str | None = None
    frame: bytes | None = None
    is_free: bool = True
    is_moving: bool = False
    has_more: asyncio.Event = field(default_factory=asyncio.Event)

    def tell(self, answer: dict[str, Any]) -> None:
        self.answers.append(json.dumps(answer))
        self.has_more.set()

    async def speak(self) -> None:
        """Pass on what there is, time after time: of states and pictures the newest alone."""
        with suppress(ConnectionError):
            while True:
                await self.has_more.wait()
                self.has_more.clear()
                while self.answers:
                    await self.socket.send_str(self.answers.popleft())
                if self.state is not None:
                    state, self.state = self.state, None
                    await self.socket.send_str(state)
                if self.frame is not None and self.is_free:
                    frame, self.frame, self.is_free = self.frame, None, False
                    await self.socket.send_bytes(frame)


class Serving:
    """A session that is served: what tabs ask is carried out in its order, and what comes of it goes to all.

    Parameters
    ----------
    door : Door
    """

    def __init__(self, door: Door) -> None:
        self.door = door
        self.tabs: set[_Tab] = set()
        self._session: Session | None = None
        self._worker = ThreadPoolExecutor(1, "session")
        self._waiting: list[tuple[_Tab, Message]] = []
        self._is_due = asyncio.Event()
        self._state: dict[str, Any] = {"opening": {"step": "opening", "share": 0.0}}
        self._told = json.dumps({"is": "state", **self._state})
        self._is_opening_told = False
        self._frame: bytes | None = None

    @property
    def unsaved(self) -> list[str]:
        """What is not saved, in words."""
        return list((self._state.get("site") or {}).get("unsaved", ()))

    async def run(self, begin: Callable[[Tell], Session]) -> None:
        """Open the session, then carry out what is asked, until this is cancelled.

        Raises
        ------
        InputError
            When it cannot be opened.
        """
        loop = asyncio.get_running_loop()

        def tell(step: str, share: float) -> None:
            loop.call_soon_threadsafe(self._tell_opening, step, share)

        self._session = await self._at_work(partial(begin, tell))
        self._session.tell = tell
        is_first = True
        while True:
            taken, self._waiting = gathered(self._waiting), []
            is_free = any(tab.is_free for tab in self.tabs)
            turn = await self._at_work(partial(_turn, self._session, taken, is_free, is_first))
            is_first = False
            for tab, answer in turn.answers:
                tab.tell(answer)
            self._pass_on(turn)
            with suppress(asyncio.TimeoutError):
                await asyncio.wait_for(self._is_due.wait(), _TICK_S)
            self._is_due.clear()

    async def end(self) -> None:
        """End the session on its own thread; where that is busy it is not waited for."""
        ending = self._at_work(self._session.end) if self._session is not None else None
        if ending is not None:
            with suppress(asyncio.TimeoutError):
                await asyncio.wait_for(ending, _CLOSE_S)
        self._worker.shutdown(wait=False, cancel_futures=True)

    async def hear(self, tab: _Tab) -> None:
        """Take what a tab says, until it is gone."""
        async for told in tab.socket:
            if told.type is not WSMsgType.TEXT:
                continue
            try:
                message = read_message(told.data)
            except InputError as error:
                tab.tell(_refusal(error))
                continue
            if message["do"] == "seen":
                tab.is_free = True
                tab.has_more.set()
            else:
                if message["do"] == "moving":
                    tab.is_moving = message.get("is_moving") is True
                self._waiting.append((tab, message))
            self._is_due.set()
            while len(self._waiting) > _MOST_WAITING:
                await asyncio.sleep(0.01)

    def welcome(self, tab: _Tab) -> None:
        """Tell a tab that has come all there is."""
        self.tabs.add(tab)
        tab.state, tab.frame = self._told, self._frame
        tab.has_more.set()

    def part(self, tab: _Tab) -> None:
        """Let a tab go, and what it was moving: nobody else would say that it is at rest."""
        self.tabs.discard(tab)
        if tab.is_moving and not any(other.is_moving for other in self.tabs):
            self._waiting.append((tab, {"do": "moving", "is_moving": False}))
            self._is_due.set()

    async def picture(self, name: str) -> tuple[bytes, str] | None:
        """A picture of the session by its name."""
        return None if self._session is None else await self._at_work(partial(self._session.picture, name))

    async def _at_work(self, work: Callable[[], _Made]) -> _Made:
        return await asyncio.get_running_loop().run_in_executor(self._worker, work)

    def _tell_opening(self, step: str, share: float) -> None:
        """What takes long says how far it is; the state that comes after it takes it away."""
        told = json.dumps({"is": "opening", "step": step, "share": share})
        self._is_opening_told = True
        for tab in self.tabs:
            tab.answers.append(told)
            tab.has_more.set()

    def _pass_on(self, turn: "_Turn") -> None:
        """What came of a turn goes to every tab."""
        is_new = self._is_opening_told
        self._is_opening_told = False
        if turn.state is not None:
            told = json.dumps({"is": "state", **turn.state})
            is_new = is_new or told != self._told
            self._state, self._told = turn.state, told
        self._frame = turn.frame or self._frame
        for tab in self.tabs:
            if is_new:
                tab.state = self._told
            tab.frame = turn.frame or tab.frame
            tab.answers.extend(json.dumps(fault) for fault in turn.faults)
            tab.has_more.set()


@dataclass
class _Turn:
    """What one turn of the worker brought: answers, what all are told, and what is seen now."""

    answers: list[tuple[_Tab, dict[str, Any]]]
    faults: list[dict[str, Any]]
    state: dict[str, Any] | None
    frame: bytes | None


def _turn(session: Session, taken: list[tuple[_Tab, Message]], is_free: bool, is_first: bool) -> _Turn:
    """Orders carried out, and a picture where one can be seen; a fault in one ends nothing else.

    Where nothing was asked but to look and nothing came about, the state is the one that was told.
    """
    turn = _Turn([], [], None, None)
    for tab, message in taken:
        try:
            answer = session.do(message)
        except InputError as error:
            answer = _refusal(error)
        except Exception as error:  # noqa: BLE001  a fault in one order must not end what everybody works on
            answer = _fault(error)
        if "n" in message:
            # Who waits for an answer is given one, whatever came of it.
            answer = (answer or {"is": "nothing"}) | {"n": message["n"]}
        if answer is not None:
            turn.answers.append((tab, answer))
    try:
        is_asked = any(changes_state(message) for _, message in taken)
        if session.tick() or is_asked or is_first:
            turn.state = session.state()
        frame = session.frame() if is_free else None
        turn.frame = None if frame is None else packed(frame)
    except Exception as error:  # noqa: BLE001  nor must one in a picture
        turn.faults.append(_fault(error))
    return turn


def _refusal(error: InputError) -> dict[str, Any]:
    told = f"{error.what}; {error.mend}" if error.mend else error.what
    return {"is": "said", "text": told, "is_refusal": True}


def _fault(error: Exception) -> dict[str, Any]:
    traceback.print_exception(error, file=sys.stderr)
    told = f"a fault in the program: {type(error).__name__}; nothing was written, and what you do goes on"
    return {"is": "said", "text": told, "is_refusal": True}


def packed(frame: Frame) -> bytes:
    """A picture as it goes to a page: the length of its head, the head as JSON, the JPEG."""
    told = json.dumps({"size": frame.size, "serial": frame.serial, "panes": frame.panes}).encode()
    return struct.pack("<I", len(told)) + told + frame.jpeg


def page_files() -> dict[str, tuple[bytes, str]]:
    """The files of the page by name, each with its media type."""
    folder = files("terrain3d.serve") / "page"
    return {
        file.name: (file.read_bytes(), _TYPES[file.name.rpartition(".")[2]])
        for file in folder.iterdir()
        if file.name.rpartition(".")[2] in _TYPES
    }


def application(serving: Serving) -> web.Application:
    """The few addresses there are, behind the door."""
    page, door = page_files(), serving.door

    @web.middleware
    async def at_the_door(
        request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
    ) -> web.StreamResponse:
        is_own = door.is_own_host(request.host) and door.is_own_origin(request.headers.get("Origin"))
        if not is_own:
            return web.Response(status=403, text="this is not for you\n", headers=door.headers())
        try:
            answer = await handler(request)
        except web.HTTPException as error:
            error.headers.update(door.headers())
            raise
        if not answer.prepared:
            answer.headers.update(door.headers())
        return answer

    def check_in(request: web.Request) -> None:
        if not door.has_come_in(request.cookies):
            raise web.HTTPForbidden(
                text="This address opens once. Open the page in the browser that it was opened in first,\n"
                "or end terrain3d serve with Ctrl-C and start it again: it prints a new address.\n"
            )

    async def front(request: web.Request) -> web.StreamResponse:
        if "token" in request.query:
            if not door.has_come_in(request.cookies) and not door.takes(request.query["token"]):
                check_in(request)
            answer = web.Response(status=303, headers={"Location": "/"})
            answer.set_cookie(door.cookie_name, door.cookie, httponly=True, samesite="Strict", path="/")
            return answer
        check_in(request)
        return _file(page["index.html"])

    async def file(request: web.Request) -> web.StreamResponse:
        check_in(request)
        found = page.get(request.match_info["name"])
        if found is None:
            raise web.HTTPNotFound(text="there is no such page\n")
        return _file(found)

    async def picture(request: web.Request) -> web.StreamResponse:
        check_in(request)
        found = await serving.picture(request.match_info["name"])
        if found is None:
            raise web.HTTPNotFound(text="there is no such picture\n")
        return _file(found)

    async def live(request: web.Request) -> web.StreamResponse:
        check_in(request)
        # A page always says where it comes from when it opens a socket; what says nothing is none.
        if request.headers.get("Origin") is None:
            raise web.HTTPForbidden(text="this is not for you\n")
        socket = web.WebSocketResponse(max_msg_size=_CUT_BYTES, heartbeat=_SILENT_S, compress=False)
        socket.headers.update(door.headers())
        await socket.prepare(request)
        tab = _Tab(socket)
        speaking = asyncio.create_task(tab.speak())
        serving.welcome(tab)
        try:
            await serving.hear(tab)
        finally:
            serving.part(tab)
            speaking.cancel()
        return socket

    hall = web.Application(middlewares=[at_the_door])
    hall.add_routes(
        [
            web.get("/", front),
            web.get("/live", live),
            web.get("/picture/{name}", picture),
            web.get("/{name}", file),
        ]
    )
    return hall


def _file(found: tuple[bytes, str]) -> web.Response:
    data, media_type = found
    is_text = media_type.startswith("text/") or media_type == "image/svg+xml"
    return web.Response(body=data, content_type=media_type, charset="utf-8" if is_text else None)


@asynccontextmanager
async def listening(port: int) -> AsyncIterator[Serving]:
    """A server that listens on loopback at a port, 0 for any that is free.

    Raises
    ------
    InputError
        When the port is taken.
    """
    # The port is known before anything is served: the door lets in what names it.
    door = Door(port)
    serving = Serving(door)
    runner = web.AppRunner(application(serving), access_log=None, shutdown_timeout=_CLOSE_S)
    await runner.setup()
    try:
        place = web.TCPSite(runner, "127.0.0.1", port)
        try:
            await place.start()
        except OSError as error:
            raise InputError(
                f"port {port} cannot be used: {error.strerror}",
                "--port",
                "give another, or none for a free one",
            ) from None
        door.port = runner.addresses[0][1]
        yield serving
    finally:
        await serving.end()
        closing = [tab.socket.close(code=WSCloseCode.GOING_AWAY) for tab in serving.tabs]
        with suppress(asyncio.TimeoutError):
            await asyncio.wait_for(asyncio.gather(*closing, return_exceptions=True), _CLOSE_S)
        await runner.cleanup()


async def serve(
    begin: Callable[[Tell], Session],
    port: int,
    tell_address: Callable[[str], None],
    tell_unsaved: Callable[[list[str]], None],
) -> None:
    """Serve a session until this is cancelled.

    Parameters
    ----------
    begin : callable
        Opens the session; called on the thread that it lives on, with what tells its progress.
    port : int
        0 for any that is free.
    tell_address : callable
        Told the address once the page can be opened.
    tell_unsaved : callable
        Told at the end what is not saved, in words.

    Raises
    ------
    InputError
        When the port is taken, or the session cannot be opened.
    """
    async with listening(port) as serving:
        tell_address(serving.door.address)
        try:
            await serving.run(begin)
        finally:
            tell_unsaved(serving.unsaved)
