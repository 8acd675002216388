"""One task for many items: done here one after another, or handed to whoever does it elsewhere."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

#: Given what all items share and one of them.
Task = Callable[[Any, Any], Any]
#: Does a task for each item; gives (place of the item, result) as they come, in any order.
DoTasks = Callable[[Task, Any, Sequence[Any]], Iterator[tuple[int, Any]]]


def here(task: Task, shared: Any, items: Sequence[Any]) -> Iterator[tuple[int, Any]]:
    """Do a task for each item in this process, in their order.

    >>> list(here(lambda base, n: base + n, 10, [1, 2]))
    [(0, 11), (1, 12)]
    """
    for place, item in enumerate(items):
        yield place, task(shared, item)
