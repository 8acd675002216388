"""On a cluster the same comes out as here, and what a dying worker had in hand is done again.

The cluster is Dask's own, of processes on this machine that listen on its loopback alone.
"""

import dataclasses
import os
import pickle
import signal
import socket
import sys
import threading
import time
from functools import partial
from pathlib import Path

import dask
import numpy as np
import pytest
import shapes
from cluster_work import added, deadly, judged, judged_with_a_trace, named, refused
from distributed import Client, LocalCluster

from terrain3d.detector.types import load_type
from terrain3d.errors import InputError
from terrain3d.search import cluster as module
from terrain3d.search.cluster import on_cluster
from terrain3d.search.run import read_search, run_search
from terrain3d.search.settings import Space
from terrain3d.search.sites import each_site, search_site, site_files
from terrain3d.search.target import target_of
from terrain3d.search.tasks import here
from terrain3d.sentences.search import search_why
from terrain3d.sight.hits import first_hits
from terrain3d.sight.panorama import panorama
from terrain3d.terrain import Area, Mount

#: No test waits longer for something that has to happen.
PATIENCE_S = 60


def local_cluster(n_workers):
    return LocalCluster(
        n_workers=n_workers,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        silence_logs=50,
    )


@pytest.fixture(scope="module")
def address():
    """A cluster of two that gives up on work as soon as one worker dies over it."""
    with dask.config.set({"distributed.scheduler.allowed-failures": 0}), local_cluster(2) as cluster:
        yield cluster.scheduler_address


@pytest.fixture
def settled(address):
    """The same when both workers are there: one killed while it starts would not be started again."""
    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=PATIENCE_S)
        time.sleep(0.5)
    return address


def farm():
    """Sloping ground with a block, a hedge and a yard, and all that a search of it shares."""
    ground = shapes.plane(0.1, towards_deg=30, extent_m=24)
    block = shapes.box((3, 3, -1), (6, 5, 3))
    hedge = shapes.leaves(ground, lambda x, y: (x > -6) & (x < -5), 0.0, 1.4, 1.5)
    yard = Area("yard", np.array([[-4.0, -4], [4, -4], [4, 2], [-4, 2]]))
    terrain = shapes.terrain(ground, block, hedge, (yard,))
    space = Space((load_type("one-head-90", Path()),), ("one-head-90",), 10.0, (-2.0, 0.0, 2.0))
    return terrain, space, target_of(terrain, 1.7)


MOUNTS = [Mount(f"pole {n}", 9.0 - 2 * n, -5.5, (0.8, 1.2)) for n in range(7)]


def content(result):
    """All that a result holds, as bytes, but the terrain that it looks at."""
    names = [field.name for field in dataclasses.fields(result) if field.name != "terrain"]
    values = [getattr(result, name) for name in names]
    return [(v.dtype.str, v.shape, v.tobytes()) if isinstance(v, np.ndarray) else v for v in values]


def test_a_fault_of_the_work_reaches_the_caller(address):
    """What goes wrong on a worker is said here, as it would be said of work done here."""
    with (
        on_cluster(address) as do_tasks,
        pytest.raises(InputError, match=r"no ground is known\n  where: mount 'pole'\n  to mend: move it"),
    ):
        list(do_tasks(refused, None, range(4)))


def site(folder, name, towards=90):
    (folder / f"{name}.toml").write_text(
        f'[site]\nname = "{name}"\n[ground]\nplane = {{ fall = 10, towards = {towards}, extent = 20 }}\n'
    )


def test_a_folder_of_sites_on_a_cluster(address, tmp_path):
    """Each site is done by a worker; one that fails is told as it is here, and the others are finished."""
    for number in range(4):
        site(tmp_path, f"farm {number}")
    site(tmp_path, "farm 9", towards=9000)
    paths = site_files(tmp_path)
    with on_cluster(address) as do_tasks:
        done = dict(each_site(named, paths, do_tasks))
    assert [done[place].result[0] for place in range(4)] == [f"farm {number}" for number in range(4)]
    assert os.getpid() not in {done[place].result[1] for place in range(4)}
    assert done[4] == dict(each_site(named, paths))[4]
    assert "9000.0 is out of bounds" in done[4].fault or "9000 is out of bounds" in done[4].fault


def test_workers_that_stay_away_are_not_waited_for(monkeypatch):
    """When all workers are gone and none comes back, the search ends in words."""
    monkeypatch.setattr(module, "_AWAY_S", 0.4)
    monkeypatch.setattr(module, "_LOOK_S", 0.1)
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, host="127.0.0.1", dashboard_address="127.0.0.1:0",
        protocol="tcp", silence_logs=50,
    ) as cluster, on_cluster(cluster.scheduler_address) as do_tasks:  # fmt: skip
        results = do_tasks(added, {"base": 1}, range(200))
        assert next(results)[1][1] > 0
        cluster.scale(0)
        with pytest.raises(InputError, match=r"lost all its workers(.|\n)*start some"):
            list(results)


def test_workers_of_another_version_are_refused(address, monkeypatch):
    """Results are the same everywhere only where the program is the same."""
    monkeypatch.setattr(module, "__version__", "99.0")
    with (
        pytest.raises(InputError, match=r"this is terrain3d 99.0(.|\n)*same version on every worker"),
        on_cluster(address),
    ):
        pass


def test_work_that_kills_every_worker_is_told(address):
    """The rest is done; what no worker survives ends in words, not in a search without end."""
    done = []
    with on_cluster(address) as do_tasks:
        results = do_tasks(deadly, None, range(4))
        done += [next(results)[0] for _ in range(3)]
        with pytest.raises(InputError, match=r"died again and again over 1 of 4(.|\n)*more memory"):
            next(results)
    assert sorted(done) == [0, 2, 3]


SEARCHED = """
[[protect]]
name = "yard"
outline = [[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]
[[mount]]
name = "pole"
at = [5.0, 0.0]
heights = [1.0]
[[mount]]
name = "post"
at = [-4.0, 1.0]
heights = [0.8, 1.0]
[search]
types = ["one-head-90"]
bearing_step = 10
tilts = [0]
units = 2
"""


def test_whole_searches_come_out_the_same_on_a_cluster(address, tmp_path):
    """Mounts of one site, or whole sites: what is chosen and every verdict is as it is found here."""
    site(tmp_path, "farm")
    path = tmp_path / "farm.toml"
    path.write_text(path.read_text() + SEARCHED)
    task = partial(search_site, (None, None, None))
    ((_, alone),) = each_site(task, (path,))
    with on_cluster(address) as do_tasks:
        ((_, sent),) = each_site(task, (path,), do_tasks)
        parted = run_search(read_search(path, quiet), quiet, do_tasks=do_tasks)
    for other in (sent.result, parted):
        assert search_why(other) == search_why(alone.result)
        assert [content(unit) for unit in other.best.option.detectors] == [
            content(unit) for unit in alone.result.best.option.detectors
        ]
        for choice, same in ((other.best, alone.result.best), (other.best_unit, alone.result.best_unit)):
            assert choice.option.verdicts.tobytes() == same.option.verdicts.tobytes()
            assert choice.steady.verdicts.tobytes() == same.steady.verdicts.tobytes()
            assert (choice.held_m2, choice.slack_deg) == (same.held_m2, same.slack_deg)


def quiet(_step, _fraction):
    pass


def worker_at_work(folder):
    """The process of a worker that has something in hand."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        # What was only just begun takes longer than it takes to kill whoever does it.
        begun_ns = time.time_ns() - 100_000_000
        running = [path for path in folder.iterdir() if path.suffix != ".done"]
        busy = [path for path in running if int(path.name.split("-")[2]) > begun_ns]
        if busy:
            return int(busy[0].name.split("-")[1])
        time.sleep(0.01)
    raise AssertionError("no worker started anything")


def test_a_worker_killed_half_way_loses_nothing(settled, tmp_path):
    """Every mount comes back once, with the same bytes as here, though its worker was killed over it."""
    shared = farm()
    expected = {place: content(result) for place, result in here(judged, shared, MOUNTS)}
    assert any(result[6] for result in expected.values())
    found, killed = {}, None
    with on_cluster(settled) as do_tasks:
        for place, result in do_tasks(judged_with_a_trace, (tmp_path, *shared), MOUNTS):
            assert place not in found
            found[place] = content(result)
            if len(found) == 2:
                killed = worker_at_work(tmp_path)
                os.kill(killed, signal.SIGKILL)
    assert found == expected
    cut_short = [path for path in tmp_path.iterdir() if path.suffix != ".done"]
    assert [path.name.split("-")[1] for path in cut_short] == [str(killed)]
    assert len(list(tmp_path.glob("*.done"))) >= len(MOUNTS)


def test_what_is_shared_goes_out_again_when_all_who_had_it_died(settled):
    """The terrain is sent once; when every copy is gone with its worker it is sent anew."""
    found = {}
    with on_cluster(settled) as do_tasks:
        shared = {"base": 100}
        first = {pid for _, (pid, _) in do_tasks(added, shared, range(6))}
        for pid in first:
            os.kill(pid, signal.SIGKILL)
        for place, (pid, total) in do_tasks(added, shared, range(12)):
            found[place] = total
            assert pid not in first
    assert found == {n: 100 + n for n in range(12)}


def test_no_cluster_at_the_address(monkeypatch):
    """An address where nothing answers is named, with what to do."""
    monkeypatch.setattr(module, "_CONNECT_S", 0.3)
    for address in ("tcp://127.0.0.1:9", "nowhere.invalid:8786"):
        with (
            pytest.raises(InputError, match=rf"no cluster answers at {address}(.|\n)*dask scheduler"),
            on_cluster(address),
        ):
            pass


def test_a_cluster_without_workers(monkeypatch):
    """A scheduler alone does nothing: it is said how to start workers."""
    monkeypatch.setattr(module, "_FIRST_WORKER_S", 0.2)
    with (
        local_cluster(0) as empty,
        pytest.raises(InputError, match=r"has no workers(.|\n)*dask worker tcp://127.0.0.1"),
        on_cluster(empty.scheduler_address),
    ):
        pass


def test_a_cluster_without_dask_names_the_extra(monkeypatch):
    """Who has not installed Dask is told what to install."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r'pip install "terrain3d\[cluster\]"'), on_cluster("tcp://x:1"):
        pass


def test_a_terrain_in_use_goes_through_pickle_both_ways():
    """What a terrain remembers of itself does not hinder it: sent and sent back it shows the same."""
    terrain, _, _ = farm()
    eye, ahead = (0.0, 0.0, 1.0), np.array([[0.8, 0.6, 0.0]])
    before, hits = panorama(terrain, eye, 12.0), first_hits(terrain, eye, ahead, 50.0)
    sent = pickle.loads(pickle.dumps(terrain))
    panorama(sent, eye, 12.0)
    back = pickle.loads(pickle.dumps(sent))
    for other in (sent, back):
        assert content(panorama(other, eye, 12.0)) == content(before)
        assert content(first_hits(other, eye, ahead, 50.0)) == content(hits)
    assert content(pickle.loads(pickle.dumps(before))) == content(before)


@pytest.mark.parametrize("address", ["", "nonsense", "tcp://", "tcp://127.0.0.1:99999", "a b:1"])
def test_what_is_no_address_is_told_at_once(address):
    """Nothing is asked of Dask."""
    with pytest.raises(InputError, match="no address of a cluster"), on_cluster(address):
        pass


@pytest.mark.parametrize(
    ("said", "message"),
    [
        (None, "nothing is said there"),
        (b"HTTP/1.1 400 Bad Request", "no Dask scheduler"),
        (b"", "no Dask scheduler"),
    ],
)
def test_a_listener_that_is_no_scheduler_is_told(said, message, monkeypatch):
    """One that is silent, one that says something else, one that hangs up: in words, and soon."""
    monkeypatch.setattr(module, "_CONNECT_S", 0.3)
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()

        def answer() -> None:
            connection, _ = listening.accept()
            with connection:
                if said is None:
                    time.sleep(2)
                else:
                    connection.sendall(said)

        answering = threading.Thread(target=answer)
        answering.start()
        port = listening.getsockname()[1]
        with pytest.raises(InputError, match=message), on_cluster(f"tcp://127.0.0.1:{port}"):
            pass
        answering.join()
