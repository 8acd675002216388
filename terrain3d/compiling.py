"""Whether kernels are being compiled just now: once after installation, and again after a change of them."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def compiling_told(tell: Callable[[bool], object]) -> Iterator[None]:
    """Tell when compiling begins and when it is over, for as long as the block runs.

    Nothing is looked up on disk: numba itself says when it has a kernel to compile, and what it finds
    compiled it only loads, without a word.

    Parameters
    ----------
    tell : callable
        Called with True when a kernel begins to be compiled, and with False when it is done, the kernels that
        it calls included; from whatever thread needs the kernel.

    Examples
    --------
    >>> from numba import njit
    >>> twice = njit(lambda number: 2 * number)
    >>> with compiling_told(print):
    ...     _ = twice(3)
    ...     _ = twice(4)
    True
    False
    """
    if "numba" not in sys.modules:  # nothing that has kernels is loaded, and loading it takes a while
        yield
        return
    from numba.core import event

    depth = 0

    class _Compiling(event.Listener):  # type: ignore[misc]
        def on_start(self, _event: Any) -> None:
            nonlocal depth
            depth += 1
            if depth == 1:
                tell(True)

        def on_end(self, _event: Any) -> None:
            nonlocal depth
            depth -= 1
            if depth == 0:
                tell(False)

    with event.install_listener("numba:compile", _Compiling()):
        yield
