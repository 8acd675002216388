"""Work for a cluster of tests: light to load, for every worker started anew loads it."""

import os
import time
from types import SimpleNamespace

from terrain3d.errors import InputError


def judged(shared, mount):
    from terrain3d.search.judge import judge_mount

    return judge_mount(shared[0], mount, *shared[1:])


def judged_with_a_trace(shared, mount):
    """Leave word when the work starts and ends, and who does it."""
    folder, *rest = shared
    start = folder / f"{mount.name}-{os.getpid()}-{time.time_ns()}"
    start.touch()
    result = judged(rest, mount)
    time.sleep(0.4)
    start.rename(start.with_suffix(".done"))
    return result


def added(base, number):
    time.sleep(0.05)
    return os.getpid(), base["base"] + number


def deadly(_shared, number):
    """What the scheduler makes of work that no worker survives."""
    from distributed.scheduler import KilledWorker

    if number == 1:
        raise KilledWorker("work", SimpleNamespace(address="tcp://127.0.0.1:9"), 1)
    return number


def refused(_shared, number):
    if number == 2:
        raise InputError("no ground is known", "mount 'pole'", "move it")
    return number


def named(path):
    from terrain3d.site import load_site

    return load_site(path).site.name, os.getpid()
