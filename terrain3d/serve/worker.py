"""The process that works beside a page: it does one task, tells how far it is, and gives what it found.

It takes its task from its standard input, and lives no longer than whoever holds the other end.
"""

import datetime
import os
import pickle
import signal
import struct
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from terrain3d.draft.document import UNNAMED, checked_draft, draft_of
from terrain3d.errors import InputError
from terrain3d.lengths import UNITS, Units, lengths_in, units
from terrain3d.ready import Ready

if TYPE_CHECKING:
    from terrain3d.site import Option
    from terrain3d.walktest.read import WalkReading

#: Told what is being done, and how far it is (0 to 1).
Tell = Callable[[str, float], None]
#: How long each message is stands before it, in eight bytes.
LENGTH = struct.Struct(">Q")
#: Seconds between two words of progress, unless the step is another.
_EVERY_S = 0.1
#: Said beside the step that waits for it.
COMPILING = " (compiling, once after installation)"


@dataclass(frozen=True)
class Task:
    """What is to be done, for a site as its draft has it: its file is not looked at.

    Parameters
    ----------
    what : str
        Of `TASKS`.
    content : bytes
        Of the site file, as it would be saved.
    path : Path or None
    folder : Path
        Names of files are relative to it.
    how : mapping
        What the task takes beside that.
    """

    what: str
    content: bytes
    path: Path | None
    folder: Path
    how: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Written:
    """Files that were written, and what they say, a line each, in each of the units of lengths."""

    files: tuple[Path, ...]
    lines: Mapping[Units, tuple[str, ...]] = field(default_factory=dict)

    @property
    def told(self) -> tuple[str, ...]:
        """What they say, as lengths are told here."""
        return self.lines.get(units(), ())


@dataclass(frozen=True, eq=False)
class WalksRead:
    """A walk test read back: what was written of it, the option that was walked, what its answers say, and
    the day of it.
    """

    written: Written
    option: "Option"
    reading: "WalkReading"
    on: datetime.date


def study(ready: Ready, tell: Tell, parts: tuple[str, ...] = (), draws: int | None = None) -> Any:
    """What walks through the options of a site: a `Study`."""
    from terrain3d.job import judge_ready
    from terrain3d.study import PARTS, study_of

    return study_of(judge_ready(ready, tell), tuple(parts) or PARTS, tell, draws)


def search(
    ready: Ready, tell: Tell, units: int | None = None, budget: float | None = None, hold: float | None = None
) -> Any:
    """The best unit and the best set: a `SearchResult`, or `NothingFits`."""
    from terrain3d.search.run import ready_search, run_search

    return run_search(ready_search(ready, tell, units, budget, hold), tell)


def mounts(ready: Ready, tell: Tell, every_m: float = 5.0) -> Any:
    """Places where a unit could be fixed: a `Proposed`."""
    from terrain3d.search.propose import propose_ready

    return propose_ready(ready, every_m, tell)


def results(ready: Ready, tell: Tell, out: Path, which: str = "none", date: str = "") -> Written:
    """Results of all options put into a folder, with pictures of all, of the best or of none of them."""
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import write_results
    from terrain3d.show.pages.context import PageContext
    from terrain3d.show.pages.names import FIRST_KINDS

    outcome = judge_ready(ready, tell)
    context = None if which == "none" else PageContext(outcome, date=date, best_only=which == "best")
    write_results(outcome, out, _pictures(context, FIRST_KINDS, tell))
    return Written(_written(out))


def stills(
    ready: Ready, tell: Tell, out: Path, kinds: tuple[str, ...] = (), size: str = "screen", date: str = ""
) -> Written:
    """The pictures of all options, of some kinds or of all but films, put into a folder."""
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import STILLS, check_place, write_pictures
    from terrain3d.show.pages.context import PageContext
    from terrain3d.show.pages.names import KINDS, pages_of
    from terrain3d.show.pages.size import SIZES

    wanted = tuple(kinds) or KINDS
    check_place(out, (), pages_of(wanted, [(option.name,) for option in ready.site.option]))
    pictures = _pictures(PageContext(judge_ready(ready, tell), SIZES[size], date), wanted, tell)
    write_pictures(out, pictures)
    return Written(tuple(path for path in _written(out) if path.parent.name == STILLS))


def pack(ready: Ready, tell: Tell, out: Path) -> Written:
    """All that is handed over to a client, put into a folder of its own."""
    from terrain3d.pack.checked import check_pack
    from terrain3d.pack.extra import check_extra
    from terrain3d.pack.names import kind_of

    check_extra()
    kinds = check_pack(ready, ready.site.site.name, out)
    from terrain3d.job import judge_ready
    from terrain3d.pack.write import write_pack
    from terrain3d.study import study_of

    write_pack(study_of(judge_ready(ready, tell), progress=tell), out, kinds, tell)
    made = (path for path in out.rglob("*") if path.is_file() and not path.name.startswith("."))
    return Written(tuple(sorted(path for path in made if kind_of(path.relative_to(out)) in kinds)))


def sheet(ready: Ready, tell: Tell, out: Path, option: str, on: datetime.date | None = None) -> Written:
    """What the units of an option are fixed by; `on` is the day for which is told what a compass shows."""
    from terrain3d.fixing.unit import option_fixing
    from terrain3d.job import judge_ready
    from terrain3d.paper.fixing import fixing_json
    from terrain3d.paper.folder import RESULTS, check_place, write_results
    from terrain3d.paper.pages import SHEET_PDF
    from terrain3d.sentences.fixing import fixing_lines
    from terrain3d.sentences.words import unit_title
    from terrain3d.survey.build import crs_of_site

    check_place(out, (*RESULTS, SHEET_PDF))
    outcome = judge_ready(ready, tell)
    tell("looking along each unit", 0.0)
    day = ready.site.site.date if on is None else on
    fixings = option_fixing(outcome, option, crs_of_site(ready.site, ready.folder), day)
    tell("drawing the pages", 0.9)
    from terrain3d.pack.on_site import sheet_files

    files = sheet_files(outcome, option, fixings)
    write_results(outcome, out, None, fixing_json(outcome, option, fixings), files)

    def lines() -> Iterator[str]:
        for one in fixings:
            yield from (unit_title(one.unit), *fixing_lines(one))

    return Written(tuple(out / name for name in (*files, RESULTS[0])), _in_each(lines))


def walktest(ready: Ready, tell: Tell, out: Path, option: str) -> Written:
    """The short walks that prove or break the map of an option: to walk by, and to fill in."""
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import RESULTS, check_place, write_results
    from terrain3d.paper.pages import WALK_PDF
    from terrain3d.paper.walktest import SHEET, plan_json
    from terrain3d.sentences.walktest import plan_lines
    from terrain3d.survey.build import crs_of_site
    from terrain3d.walktest.plan import plan_walks

    check_place(out, (*RESULTS, SHEET, WALK_PDF))
    outcome = judge_ready(ready, tell)
    plan = plan_walks(outcome, option, tell)
    from terrain3d.pack.on_site import walk_files

    files = walk_files(outcome, plan, crs_of_site(ready.site, ready.folder))
    write_results(outcome, out, None, plan_json(outcome, plan), files)
    return Written(tuple(out / name for name in (*files, RESULTS[0])), _in_each(lambda: plan_lines(plan)))


def read_walks(
    ready: Ready, tell: Tell, out: Path, option: str, answers: Path, on: datetime.date
) -> WalksRead:
    """What the answers on a sheet say of an option; `on` is the day on which it was walked."""
    from terrain3d.job import judge_ready
    from terrain3d.paper.folder import RESULTS, check_place, write_results
    from terrain3d.paper.walktest import NEXT, reading_json
    from terrain3d.sentences.walktest import reading_lines
    from terrain3d.survey.build import crs_of_site
    from terrain3d.walktest.answers import read_answers
    from terrain3d.walktest.read import read_walks as read

    check_place(out, (*RESULTS, NEXT))
    told, crs = read_answers(answers), crs_of_site(ready.site, ready.folder)
    outcome = judge_ready(ready, tell)
    reading = read(outcome, option, told, crs, str(answers), tell)
    from terrain3d.pack.on_site import next_files

    files = next_files(outcome, told, reading, crs)
    write_results(outcome, out, None, reading_json(outcome, reading), files)
    walked = next(one for one in outcome.site.file.option if one.name == option)
    lines = _in_each(lambda: reading_lines(reading))
    written = Written(tuple(out / name for name in (*files, RESULTS[0])), lines)
    return WalksRead(written, walked, reading, on)


#: What can be done, by its name.
TASKS: dict[str, Callable[..., Any]] = {
    "study": study, "search": search, "mounts": mounts, "results": results, "stills": stills, "pack": pack,
    "sheet": sheet, "walktest": walktest, "read_walks": read_walks,
}  # fmt: skip


def _in_each(tell: Callable[[], Iterable[str]]) -> dict[Units, tuple[str, ...]]:
    """Lines in each of the units: the page may be turned to the other when they are there."""
    told = {}
    for one in UNITS:
        with lengths_in(one):
            told[one] = tuple(tell())
    return told


def _pictures(context: Any, kinds: tuple[str, ...], tell: Tell) -> Any:
    from terrain3d.paper.folder import Pictures
    from terrain3d.show.pages.names import pages_of

    if context is None:
        return Pictures((), lambda _folder: None, pages_of(kinds))
    from terrain3d.show.pages.stills import still_names, write_stills

    files = still_names(context, kinds)

    def draw(folder: Path) -> None:
        def drawn(share: float) -> None:
            tell(f"drawing: {round(share * len(files))} of {len(files)} pictures done", share)

        drawn(0.0)
        write_stills(context, folder, kinds, drawn)

    return Pictures(files, draw, pages_of(kinds))


def _written(out: Path) -> tuple[Path, ...]:
    """What stands in a folder of results, as far as it is ours."""
    from terrain3d.paper.folder import STILLS
    from terrain3d.paper.ours import is_folder, ours

    return tuple(sorted([*ours(out), *(ours(out / STILLS) if is_folder(out / STILLS) else [])]))


def send(stream: IO[bytes], message: tuple[Any, ...]) -> None:
    """Put a message into a pipe, whole."""
    words = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(LENGTH.pack(len(words)) + words)
    stream.flush()


def received(stream: IO[bytes]) -> tuple[Any, ...] | None:
    """The next message of a pipe; None where its other end is closed, within a message too."""
    head = stream.read(LENGTH.size)
    if len(head) < LENGTH.size:
        return None
    (length,) = LENGTH.unpack(head)
    words = stream.read(length)
    return pickle.loads(words) if len(words) == length else None


def main() -> None:
    """Do the task that comes through standard input, and tell of it through standard output."""
    told = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # a library that prints does not print into what is told
    if hasattr(os, "nice"):
        os.nice(10)  # whoever works by hand goes first
    message = received(sys.stdin.buffer)
    if message is None:
        return
    threading.Thread(target=_live_with, args=(sys.stdin.buffer,), daemon=True).start()
    (task,) = message
    send(told, _done(task, _teller(told)))
    told.close()
    os._exit(0)  # taking compiled libraries down can crash, and everything is told


def _live_with(stream: IO[bytes]) -> None:
    """End at once, with all that was started here, when whoever wanted the work is gone."""
    stream.read()
    if hasattr(os, "killpg") and os.getpgrp() == os.getpid():
        os.killpg(os.getpid(), signal.SIGKILL)
    os._exit(1)


def _teller(stream: IO[bytes]) -> Tell:
    """What tells of progress, now and then; kernels that are compiled are told beside the step."""
    lock = threading.Lock()
    last: tuple[str, float] = ("", 0.0)

    def tell(step: str, share: float) -> None:
        nonlocal last
        now = time.monotonic()
        if step == last[0] and now - last[1] < _EVERY_S:
            return
        with lock:
            last = (step, now)
            send(stream, ("told", step, float(share)))

    return tell


def _done(task: Task, tell: Tell) -> tuple[Any, ...]:
    """What the task gives, or what went wrong with it, as a message."""
    where = UNNAMED if task.path is None else str(task.path)
    try:
        ready = checked_draft(draft_of(task.content, task.path, task.folder))
        import terrain3d.job  # noqa: F401  kernels are only told of once what has them is loaded
        from terrain3d.compiling import compiling_told

        step = ("", 0.0)

        def told(words: str, share: float) -> None:
            nonlocal step
            step = (words, share)
            tell(words, share)

        def compiling(is_compiling: bool) -> None:
            tell(f"{step[0]}{COMPILING if is_compiling else ''}", step[1])

        with compiling_told(compiling), lengths_in(ready.site.paper.units):
            return ("done", TASKS[task.what](ready, told, **task.how))
    except InputError as error:
        return ("refused", error.what, error.where.replace(str(task.folder / UNNAMED), where), error.mend)
    except Exception as error:  # noqa: BLE001  it is told on the page
        return ("broken", f"{type(error).__name__}: {error}")


if __name__ == "__main__":
    main()
