"""What the commands share: arguments, progress on a terminal."""

import math
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from terrain3d.terminal import say

if TYPE_CHECKING:
    # The job brings numba and the survey readers: only a command that runs it waits for them.
    from terrain3d.lengths import Units
    from terrain3d.opened import Progress

site_argument = click.argument("site", type=click.Path(path_type=Path), metavar="SITE.toml")


#: Sizes of pages, without loading what draws them; a test holds them to `show`.
SIZES = ("screen", "a4", "a3")
size_option = click.option(
    "--size",
    type=click.Choice(SIZES),
    default="screen",
    show_default=True,
    help="1600 pixels wide, or paper at 300 dots an inch with plans and sections to scale.",
)
date_option = click.option(
    "--date", default="", metavar="TEXT", help="Printed on every page as it is given; none without."
)


class Finite(click.FloatRange):
    """A number within bounds: `nan` and `inf` are none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is no finite number", param, ctx)
        return number


class Folder(click.Path):
    """A folder on this machine: an address would be made one, of that name."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if "://" in str(value):
            self.fail(f"{value!r} is an address, not a folder on this machine", param, ctx)
        return super().convert(value, param, ctx)


def out_option(default: Path, text: str) -> Callable[[Any], Any]:
    """The `--out` option of the commands that write."""
    return click.option(
        "--out", type=Folder(path_type=Path), default=default, metavar="DIR", show_default=True, help=text
    )


def site_bytes(site: Path) -> bytes:
    """A site file as it is now, to be put back changed; empty where it cannot be read, as is told later."""
    try:
        # A pipe would be waited for without end.
        return site.read_bytes() if site.is_file() else b""
    except OSError:
        return b""


def tell_in(units: "Units") -> None:
    """Tell lengths in these units until the command ends, printed and drawn; its errors are told by then."""
    from terrain3d.lengths import lengths_in

    click.get_current_context().with_resource(lengths_in(units))


@contextmanager
def whoever_reads() -> Iterator[None]:
    """What is printed in the block is lost where its reader has gone, and the work goes on all the same."""
    try:
        yield
    except (BrokenPipeError, SystemExit):  # the second is what rich makes of the first
        print_nowhere()


def say_done(words: str) -> None:
    """Say what is written by now; where that cannot be printed, whoever tells of it says this as well."""
    with whoever_reads():
        try:
            say(words)
        except OSError as error:
            error.add_note(words)
            raise


def print_nowhere() -> None:
    """Nothing reads the standard output any more: no later word may fail for that either."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    with suppress(OSError):
        os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def waiting_for(folder: Path) -> Callable[[], None]:
    """What says that another run is writing into a folder, and that this one waits for it."""
    return lambda: say(
        f"terrain3d: another run is writing into {folder}: this one waits until it has ended", err=True
    )


#: Said beside the step that waits for it.
COMPILING = " (compiling, once after installation)"


@contextmanager
def progress_on_terminal() -> Iterator["Progress"]:
    """A bar on standard error while the block runs, on a terminal only, gone when it ends.

    On the first run after installation kernels are compiled, which takes longer than the work: it says so.
    """
    if not sys.stderr.isatty():
        yield lambda _step, _fraction: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    from terrain3d.compiling import compiling_told

    columns = (TextColumn("{task.description}{task.fields[aside]}"), BarColumn(), TimeElapsedColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=1.0, aside="")

        def tell_compiling(is_compiling: bool) -> None:
            bar.update(task, aside=COMPILING if is_compiling else "", refresh=True)

        with compiling_told(tell_compiling):
            yield lambda step, fraction: bar.update(task, description=step, completed=fraction, refresh=True)
