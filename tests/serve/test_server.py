"""The server: who gets in, what goes out with every answer, and what happens to what a page says."""

import asyncio
import json
import socket
import struct
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field

import pytest
from aiohttp import ClientSession, ClientTimeout, CookieJar, WSMsgType, WSServerHandshakeError

from terrain3d.errors import InputError
from terrain3d.serve import server
from terrain3d.serve.door import Door
from terrain3d.serve.messages import MOST_BYTES, gathered, read_message

LIMIT = ClientTimeout(total=20)


@dataclass
class Picture:
    """What a frame is to the server."""

    serial: int
    jpeg: bytes = b"\xff\xd8 not looked at \xff\xd9"
    size: tuple[int, int] = (800, 560)
    panes: list = field(default_factory=list)


@dataclass
class Counting:
    """A session that does nothing but remember what it was told, and on which thread."""

    orders: list = field(default_factory=list)
    has_ended: bool = False
    drawn: int = 0

    def tell(self, step, share):
        """The server puts its own in this place."""

    def do(self, message):
        self.orders.append(message)
        if message["do"] == "refuse":
            raise InputError("height is 500", "wall", "give at most 200")
        if message["do"] == "fall over":
            raise ZeroDivisionError
        return {"is": "pointed", "ground": [1.0, 2.0, 3.0]} if message["do"] == "point" else None

    def tick(self):
        """Nothing comes about by itself."""
        return False

    def state(self):
        return {"site": {"name": "here", "unsaved": ["a wall"]}, "count": len(self.orders)}

    def frame(self):
        if self.drawn > len(self.orders):
            return None
        self.drawn = len(self.orders) + 1
        if self.orders and self.orders[-1]["do"] == "draw wrongly":
            raise IndexError
        return Picture(self.drawn)

    def picture(self, name):
        return (b"<svg/>", "image/svg+xml") if name == "section" else None

    def end(self):
        self.has_ended = True


@asynccontextmanager
async def served(session=None):
    """A server that runs, and a client that has not come in yet."""
    async with server.listening(0) as serving:
        one = session or Counting()
        running = asyncio.create_task(serving.run(lambda _tell: one))
        async with ClientSession(cookie_jar=CookieJar(unsafe=True), timeout=LIMIT) as client:
            yield serving, client
        running.cancel()


def home(serving):
    return f"http://127.0.0.1:{serving.door.port}"


async def come_in(serving, client):
    async with client.get(serving.door.address) as answer:
        assert answer.status == 200


def socket_of(serving, client, **more):
    headers = {"Origin": home(serving)} | more.pop("headers", {})
    return client.ws_connect(home(serving) + "/live", headers=headers, **more)


async def next_of(line, what):
    """The next text of a kind that a tab is told, once the session is open."""
    while True:
        told = await line.receive(timeout=10)
        assert told.type in (WSMsgType.TEXT, WSMsgType.BINARY), told
        if told.type is WSMsgType.TEXT:
            said = json.loads(told.data)
            if said["is"] == what and "opening" not in said:
                return said


def test_an_address_opens_once():
    """The token becomes a cookie of this run; whoever has neither gets nothing, the page's files included."""

    async def check():
        async with served() as (serving, client), ClientSession(cookie_jar=CookieJar(unsafe=True)) as other:
            for place in ("/", "/page.css", "/main.js", "/picture/section", "/?token=guessed"):
                async with client.get(home(serving) + place) as answer:
                    assert answer.status == 403, place
            await come_in(serving, client)
            cookie = next(iter(client.cookie_jar))
            assert (cookie["httponly"], cookie["samesite"]) == (True, "Strict")
            async with client.get(home(serving) + "/main.js") as answer:
                assert answer.status == 200
            # The same browser may open its own address again, another may not.
            await come_in(serving, client)
            async with other.get(serving.door.address) as answer:
                assert answer.status == 403
                assert "opens once" in await answer.text()

    asyncio.run(check())


@pytest.mark.parametrize(
    "host", ["sheep.example", "localhost.sheep.example:{port}", "127.0.0.1", "[::1]:{port}"]
)
def test_a_name_that_resolves_to_loopback_gets_nothing(host):
    """DNS rebinding: a page elsewhere whose name is turned to 127.0.0.1 is known by its Host."""

    async def check():
        async with served() as (serving, client):
            await come_in(serving, client)
            cookies = {"Cookie": f"{serving.door.cookie_name}={serving.door.cookie}"}
            named = {"Host": host.format(port=serving.door.port)} | cookies
            for place in ("/", "/live", f"/?token={serving.door.address}"):
                async with client.get(home(serving) + place, headers=named) as answer:
                    assert answer.status == 403

    asyncio.run(check())


@pytest.mark.parametrize(
    "origin", ["http://sheep.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1"]
)
def test_a_page_of_another_site_gets_no_line(origin):
    """A socket may be asked for by any page (RFC 6455 section 10.2): Origin tells which it was."""

    async def check():
        async with served() as (serving, client):
            await come_in(serving, client)
            foreign = {"Origin": origin.format(port=serving.door.port)}
            with pytest.raises(WSServerHandshakeError, match="403"):
                await socket_of(serving, client, headers=foreign)
            # What does not say where it comes from is no page.
            with pytest.raises(WSServerHandshakeError, match="403"):
                await client.ws_connect(home(serving) + "/live")

    asyncio.run(check())


def test_nothing_is_let_in_from_outside():
    """The content security policy: own files alone, nothing inline, no frame, also with what is refused."""

    async def check():
        async with served() as (serving, client):
            async with client.get(home(serving)) as refused:
                pass
            await come_in(serving, client)
            async with client.get(home(serving)) as answer, client.get(home(serving) + "/nothing") as missing:
                assert (refused.status, answer.status, missing.status) == (403, 200, 404)
                for one in (refused, answer, missing):
                    policy = one.headers["Content-Security-Policy"]
                    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
                    assert rules["default-src"] == rules["frame-ancestors"] == rules["base-uri"] == "'none'"
                    assert rules["script-src"] == rules["style-src"] == "'self'"
                    assert "unsafe" not in policy
                    assert "http" not in policy.replace("ws://", "")
                    assert one.headers["Cross-Origin-Resource-Policy"] == "same-origin"
                    assert one.headers["Referrer-Policy"] == "no-referrer"
                    assert one.headers["Cache-Control"] == "no-store"

    asyncio.run(check())


def test_it_listens_on_loopback_alone():
    """No other address of the machine answers."""

    async def check():
        async with served() as (serving, _client):
            with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as asking:
                # 127.0.0.2 is loopback too, and another address: what listens everywhere would answer there.
                assert asking.connect_ex(("127.0.0.2", serving.door.port)) != 0

    asyncio.run(check())


def test_a_port_that_is_taken_is_told():
    """In words, with what to do."""

    async def check():
        async with served() as (serving, _client):
            with pytest.raises(InputError, match=f"port {serving.door.port} cannot be used"):
                async with server.listening(serving.door.port):
                    pass

    asyncio.run(check())


def test_every_tab_sees_the_same():
    """What one tab does the other is shown; an answer goes to whoever asked, with its number."""

    async def check():
        async with served() as (serving, client):
            await come_in(serving, client)
            async with socket_of(serving, client) as one, socket_of(serving, client) as two:
                await one.send_json({"do": "undo"})
                assert (await next_of(two, "state"))["site"]["name"] == "here"
                await one.send_json({"do": "undo", "n": 6})
                assert (await next_of(one, "nothing"))["n"] == 6  # whoever waits is told that there is none
                await one.send_json({"do": "point", "px": 1, "py": 2, "n": 7})
                answer = await next_of(one, "pointed")
                assert (answer["n"], answer["ground"]) == (7, [1.0, 2.0, 3.0])
                while (await next_of(two, "state"))["count"] < 2:
                    pass

    asyncio.run(check())


def test_an_idle_session_is_not_asked_for_its_state(monkeypatch):
    """It is worked out after an order that may change it, and where something came about by itself."""
    monkeypatch.setattr(server, "_TICK_S", 0.01)

    class Idle(Counting):
        looks = states = 0
        has_news = False

        def tick(self):
            self.looks += 1
            return self.has_news

        def state(self):
            self.states += 1
            return super().state()

    async def looked_at(session, times):
        until = session.looks + times
        while session.looks < until:
            await asyncio.sleep(0.01)

    async def check():
        session = Idle()
        async with served(session) as (serving, client):
            await come_in(serving, client)
            await looked_at(session, 5)
            assert session.states == 1
            async with socket_of(serving, client) as line:
                await next_of(line, "state")
                await line.send_json({"do": "seen"})
                await looked_at(session, 3)
                for order in ("turn", "shift", "nearer"):
                    await line.send_json({"do": order})
                await line.send_json({"do": "point", "px": 1, "py": 2, "n": 1})
                assert (await next_of(line, "pointed"))["n"] == 1
                assert session.states == 1
                await line.send_json({"do": "undo"})
                assert (await next_of(line, "state"))["count"] == 5
                assert session.states == 2
            session.has_news = True
            await looked_at(session, 3)
            assert session.states >= 4

    asyncio.run(check())


def test_the_state_takes_away_how_far_something_is():
    """Also where it is the one that was told before."""

    class Inspecting(Counting):
        def do(self, _message):
            self.tell("reading the survey", 0.5)

    async def check():
        async with served(Inspecting()) as (serving, client):
            await come_in(serving, client)
            async with socket_of(serving, client) as line:
                before = await next_of(line, "state")
                await line.send_json({"do": "inspect"})
                assert (await next_of(line, "opening"))["share"] == 0.5
                assert await next_of(line, "state") == before

    asyncio.run(check())


def test_pictures_wait_until_the_last_was_seen():
    """A page that is slow is sent the newest picture alone, once it has seen the one before."""

    async def check():
        async with served() as (serving, client):
            await come_in(serving, client)
            async with socket_of(serving, client) as line:
                seen = []

                async def next_picture():
                    while True:
                        told = await line.receive(timeout=10)
                        if told.type is WSMsgType.BINARY:
                            (length,) = struct.unpack("<I", told.data[:4])
                            assert told.data[4 + length :].startswith(b"\xff\xd8")
                            seen.append(json.loads(told.data[4 : 4 + length])["serial"])
                            return

                await next_picture()
                for _ in range(5):
                    await line.send_json({"do": "undo"})
                    while (await next_of(line, "state"))["count"] == 0:
                        pass
                await line.send_json({"do": "seen", "serial": seen[-1]})
                await next_picture()
                assert len(seen) == 2

    asyncio.run(check())


def test_a_tab_that_goes_while_it_moves_something_lets_go_of_it():
    """Else the picture would stay the coarse one of a movement; what another tab moves still moves."""

    async def check():
        session = Counting()
        async with served(session) as (serving, client):
            await come_in(serving, client)
            letting_go = {"do": "moving", "is_moving": False}
            async with socket_of(serving, client) as other:
                for is_other_moving in (True, False):
                    await other.send_json({"do": "moving", "is_moving": is_other_moving})
                    async with socket_of(serving, client) as line:
                        await line.send_json({"do": "moving", "is_moving": True})
                        await line.send_json({"do": "point", "n": 1})
                        await next_of(line, "pointed")
                        session.orders.clear()
                    while len(serving.tabs) > 1:
                        await asyncio.sleep(0.01)
                    await other.send_json({"do": "point", "n": 2})
                    await next_of(other, "pointed")
                    assert (letting_go in session.orders) != is_other_moving

    asyncio.run(check())


def test_what_is_wrong_is_refused_in_words_and_the_server_stays_up():
    """Too long, no order, no finite number, out of bounds, a fault of ours: told, and it goes on."""

    async def check():
        session = Counting()
        async with served(session) as (serving, client):
            await come_in(serving, client)
            async with socket_of(serving, client, max_msg_size=0) as line:
                wrong = {
                    json.dumps({"do": "draw", "name": "x" * MOST_BYTES}): "longer than 1 MiB",
                    "[" * 100_000: "cannot be read",
                    "no order": "cannot be read",
                    '{"say": "undo"}': "does not say what is to be done",
                    '{"do": "turn", "up": Infinity}': "no finite number",
                    '{"do": "turn", "up": 1e999}': "no finite number",
                    f'{{"do": "turn", "up": {"9" * 400}}}': "no finite number",
                    '{"do": "refuse"}': "height is 500; give at most 200",
                    '{"do": "fall over"}': "a fault in the program: ZeroDivisionError",
                    '{"do": "draw wrongly"}': "a fault in the program: IndexError",
                }
                for text, told in wrong.items():
                    await line.send_json({"do": "seen"})
                    await line.send_str(text)
                    said = await next_of(line, "said")
                    assert said["is_refusal"]
                    assert told in said["text"]
                await line.send_json({"do": "point", "n": 1})
                assert (await next_of(line, "pointed"))["n"] == 1
        assert session.has_ended

    asyncio.run(check())


def test_what_is_far_too_long_costs_the_line_alone():
    """Past what is refused in words the line is cut; another is had at once."""

    async def check():
        async with served() as (serving, client):
            await come_in(serving, client)
            async with socket_of(serving, client, max_msg_size=0) as line:
                with suppress(ConnectionError):  # it may be cut while it is still being said
                    await line.send_str("x" * (5 * MOST_BYTES))
                ended = (WSMsgType.CLOSE, WSMsgType.CLOSED, WSMsgType.CLOSING, WSMsgType.ERROR)
                while (await line.receive(timeout=10)).type not in ended:
                    pass
            async with socket_of(serving, client) as line:
                await next_of(line, "state")

    asyncio.run(check())


def test_what_cannot_be_opened_ends_it():
    """A site file with a fault is told as any command tells it."""

    def begin(_tell):
        raise InputError("cell is -1", "site.toml: site.cell", "give metres")

    addresses = []
    with pytest.raises(InputError, match="cell is -1"):
        asyncio.run(server.serve(begin, 0, addresses.append, lambda _unsaved: None))
    assert addresses[0].startswith("http://127.0.0.1:")


def test_what_is_not_saved_is_told_at_the_end():
    """Whoever stops the server hears what is kept for the next time."""
    told = []

    async def check():
        serving = asyncio.create_task(server.serve(lambda _tell: Counting(), 0, lambda _: None, told.append))
        await asyncio.sleep(0.3)
        serving.cancel()
        with pytest.raises(asyncio.CancelledError):
            await serving

    asyncio.run(check())
    assert told == [["a wall"]]


def test_a_movement_is_drawn_together():
    """A hundred moves of a mouse are one turn; what lies between two movements keeps its place."""
    slide = [("a", {"do": "set", "setting": "tilt", "value": k, "is_same": k > 0}) for k in range(5)]
    orders = [message for _, message in gathered([*slide, ("a", {"do": "undo"}), ("b", slide[-1][1])])]
    # The first begins a change of its own, which is taken back in one with those that go on with it.
    assert [message.get("value") for message in orders] == [0, 4, None, 4]
    assert gathered([("a", {"do": "undo"})] * 2) == [("a", {"do": "undo"})] * 2
    asked = [("a", {"do": "point", "px": 1, "n": k}) for k in range(3)]
    assert gathered(asked) == asked  # who asks is answered
    strange = [("a", {"do": "turn", "across": "x"}), ("a", {"do": "turn", "across": 1})]
    assert gathered(strange) == strange


def test_a_cookie_of_another_run_is_none():
    """Two servers on one machine, or one after the other at the same port, share nothing."""
    first, second = Door(4000), Door(4000)
    assert not second.has_come_in({first.cookie_name: first.cookie})
    assert Door(4001).cookie_name != first.cookie_name


def test_keys_of_any_bytes_open_nothing():
    """Bytes that are no UTF-8 come as halves of pairs of UTF-16 (PEP 383), which no text holds."""
    door = Door(4000)
    assert not door.has_come_in({door.cookie_name: "\udcff"})
    assert not door.takes("\udcff")


def test_a_message_is_read_as_it_is():
    """Letters of any script are letters."""
    assert read_message('{"do": "rename", "name": "Süd\\u00e9 \\ud83d\\ude00"}')["name"].startswith("Süd")
