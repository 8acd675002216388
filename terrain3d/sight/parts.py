"""Work on many cells shared among plain threads: the kernels of sight let go of the interpreter."""

import itertools
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import TypeVar

_N_PARTS = 8
#: Fewer cells than this are not worth sharing.
_FEW = 500

T = TypeVar("T")


def in_parts(n: int, part: Callable[[int, int], T]) -> list[T]:
    """What `part` makes of runs of `n` cells, from first to last, in order.

    >>> in_parts(3, lambda first, last: (first, last))
    [(0, 3)]
    """
    if n <= _FEW:
        return [part(0, n)]
    cuts = [round(n * k / _N_PARTS) for k in range(_N_PARTS + 1)]
    return list(_pool().map(lambda span: part(*span), itertools.pairwise(cuts)))


@lru_cache(maxsize=1)
def _pool() -> ThreadPoolExecutor:
    # More threads than processors take turns and are a third slower.
    return ThreadPoolExecutor(os.cpu_count() or 1, thread_name_prefix="sight")
