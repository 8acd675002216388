"""The same work on a Dask cluster: what is shared goes there once, and a worker that dies loses nothing.

Whoever may speak to the scheduler may run anything on it and on whoever connects to it: name only
clusters of your own, on a network of your own.
"""

import logging
import re
import socket
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from terrain3d import __version__
from terrain3d.errors import InputError
from terrain3d.search.tasks import DoTasks, Task

#: Plain connections, a place on the network, and the bytes of a scheduler's first words at most.
_PLAIN, _PLACE, _LONGEST_GREETING = "tcp://", re.compile(r"(\[[^\]\s]+\]|[^:/\s]+):(\d{1,5})"), 1_000_000
#: How long a cluster may take to answer, and its first worker to come, seconds.
_CONNECT_S, _FIRST_WORKER_S = 10, 30
#: Workers that died are waited for so long, seconds; whether there are any is looked at now and then.
_AWAY_S, _LOOK_S, _PAUSE_S = 60.0, 2.0, 0.02
#: When all that is left went out so many times in vain, it is the work that kills its workers. (Each time the
#: scheduler itself tries several of them.)
_IN_VAIN = 3


@contextmanager
def on_cluster(address: str) -> Iterator[DoTasks]:
    """Hand work to a cluster while the block runs.

    Parameters
    ----------
    address : str
        Of the scheduler, such as "tcp://192.168.1.5:8786".

    Yields
    ------
    DoTasks
        As `here`, with results in the order they are ready. Tasks and what they take and give have to
        pickle; what is shared is sent once for as long as the block runs.

    Raises
    ------
    InputError
        When Dask is not installed, no cluster answers, or its workers are not like this house.
    """
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            "a cluster needs Dask, which is not installed", "--cluster", 'pip install "terrain3d[cluster]"'
        ) from None
    _check_answers(address)
    # What goes wrong is told once, in words: not by every part of the connection.
    log = logging.getLogger("distributed")
    level, log.level = log.level, logging.CRITICAL
    try:
        try:
            client = Client(address, timeout=_CONNECT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise InputError(
                f"no cluster answers at {address}: {error or type(error).__name__}",
                "--cluster",
                "start one with `dask scheduler`, and name the address it prints",
            ) from None
        with client:
            _check_workers(client, address)
            sent: list[tuple[Any, Any]] = []
            yield lambda task, shared, items: _results(client, sent, task, shared, items)
    finally:
        log.level = level


def _check_answers(address: str) -> None:
    """Refuse an address where nothing answers as a scheduler does, before Dask waits past its time.

    On a plain connection a scheduler speaks first: the length of its first message, in eight bytes. On
    others, such as `tls://`, it does not, and Dask alone can tell.
    """
    if "://" in address and not address.startswith(_PLAIN):
        return
    place = _PLACE.fullmatch(address.removeprefix(_PLAIN))
    if place is None or int(place[2]) > 65_535:
        raise InputError(
            f"{address!r} is no address of a cluster", "--cluster", "give it as tcp://192.168.1.5:8786"
        )
    mend = "start one with `dask scheduler`, and name the address it prints"
    try:
        with socket.create_connection((place[1].strip("[]"), int(place[2])), timeout=_CONNECT_S) as there:
            until, said = time.monotonic() + _CONNECT_S, b""
            while len(said) < 8 and (found := there.recv(8 - len(said))):
                said += found
                there.settimeout(max(0.01, until - time.monotonic()))
    except TimeoutError:
        raise InputError(
            f"no cluster answers at {address}: nothing is said there", "--cluster", mend
        ) from None
    except (OSError, UnicodeError) as error:
        raise InputError(f"no cluster answers at {address}: {error}", "--cluster", mend) from None
    if len(said) < 8 or not 0 < int.from_bytes(said, "little") < _LONGEST_GREETING:
        raise InputError(f"what answers at {address} is no Dask scheduler", "--cluster", mend)


def _results(
    client: Any, sent: list[tuple[Any, Any]], task: Task, shared: Any, items: Sequence[Any]
) -> Iterator[tuple[int, Any]]:
    """Results as they are ready; what was lost with its worker goes out again."""
    left = list(range(len(items)))
    in_vain = 0
    while left and in_vain < _IN_VAIN:
        # One piece of work that kills its worker takes others with it: then each goes out by itself.
        batches = [[place] for place in left] if in_vain else [left]
        in_vain += 1
        done = set()
        for batch in batches:
            for place, result in _round(client, sent, task, shared, items, batch):
                done.add(place)
                in_vain = 0
                yield place, result
        left = [place for place in left if place not in done]
    if left:
        raise InputError(
            f"workers died again and again over {len(left)} of {len(items)} pieces of work",
            "--cluster",
            "give them more memory, or look at what they say themselves",
        )


def _round(
    client: Any, sent: list[tuple[Any, Any]], task: Task, shared: Any, items: Sequence[Any], batch: list[int]
) -> Iterator[tuple[int, Any]]:
    """Results of some items as they are ready; none of those that were lost."""
    from distributed import as_completed

    there = _sent(client, sent, shared)
    places = {client.submit(task, there, items[place], pure=False): place for place in batch}
    try:
        for future in _as_ready(client, as_completed(list(places), loop=client.loop)):
            try:
                result = future.result()
            except _lost_kinds():
                # What is shared may be lost as well, when every worker that had it died.
                sent.clear()
            else:
                yield places[future], result
    finally:
        client.cancel(list(places))


def _as_ready(client: Any, waiting: Any) -> Iterator[Any]:
    """Futures as they are done; workers that stay away are not waited for without end."""
    looked = back = time.monotonic()
    while not waiting.is_empty():
        if waiting.has_ready():
            yield next(waiting)
            back = time.monotonic()
            continue
        time.sleep(_PAUSE_S)
        now = time.monotonic()
        if now - looked > _LOOK_S:
            looked = now
            if client.nthreads():
                back = now
            elif now - back > _AWAY_S:
                raise _deserted()


def _sent(client: Any, sent: list[tuple[Any, Any]], shared: Any) -> Any:
    """What is shared, as the cluster holds it; sent to every worker when it is not there yet."""
    for own, there in sent:
        if own is shared:
            return there
    try:
        client.wait_for_workers(1, timeout=_AWAY_S)
        # In a list: of a table or list itself each entry would be sent by itself.
        (there,) = client.scatter([shared], broadcast=True, hash=False, timeout=_AWAY_S)
    except TimeoutError:
        raise _deserted() from None
    sent.append((shared, there))
    return there


def _deserted() -> InputError:
    return InputError(
        "the cluster has lost all its workers, and none came back",
        "--cluster",
        "start some, then search again: it goes on with what is finished",
    )


def _lost_kinds() -> tuple[type[BaseException], ...]:
    """How it shows that work was lost with its worker, and not for a fault of its own."""
    from concurrent.futures import CancelledError

    from distributed.comm import CommClosedError
    from distributed.scheduler import KilledWorker

    return CancelledError, CommClosedError, KilledWorker


def _check_workers(client: Any, address: str) -> None:
    """Refuse a cluster without workers, or whose workers would judge otherwise."""
    try:
        client.wait_for_workers(1, timeout=_FIRST_WORKER_S)
    except TimeoutError:
        raise InputError(
            f"the cluster at {address} has no workers",
            "--cluster",
            f"start some with `dask worker {address}`, where terrain3d is installed",
        ) from None
    for worker, version in client.run(_version, on_error="return").items():
        if version != __version__:
            found = f"has terrain3d {version}" if isinstance(version, str) else "has no terrain3d"
            raise InputError(
                f"the worker {worker} {found}; this is terrain3d {__version__}",
                "--cluster",
                "install the same version on every worker, and start them again",
            )


def _version() -> str:
    return __version__
