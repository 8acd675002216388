"""What the commands that draw beside their results share: which pictures, into what folder, and when."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from terrain3d.cli.options import progress_on_terminal, say_done, tell_in, waiting_for, whoever_reads
from terrain3d.terminal import say

if TYPE_CHECKING:
    from terrain3d.job import Outcome
    from terrain3d.opened import Progress
    from terrain3d.paper.folder import Pictures
    from terrain3d.ready import Ready
    from terrain3d.show.pages.context import PageContext

WHICH = ("all", "best", "none")
#: With more options than this whoever waits is told what does not draw them all.
_MANY = 40


def stills_option(
    text: str = "Draw, once the results are written, the pages of every option, the page of all and those of"
    " the option ranked first, or nothing.",
) -> Callable[[Any], Any]:
    """The `--stills` option of the commands that draw beside their results."""
    return click.option(
        "--stills", "which", type=click.Choice(WHICH), default="all", show_default=True, help=text
    )


def check_drawing(which: str) -> None:
    """Refuse to draw without the system's libraries: to be called before anything loads what needs them."""
    if which != "none":
        from terrain3d.show.libraries import check_libraries

        check_libraries()


def check_out(
    out: Path,
    which: str,
    kinds: Collection[str],
    options: Callable[[], Sequence[tuple[str, ...]]],
    files: Collection[str] | None = None,
) -> None:
    """Refuse a folder where something of the user's is in the way, before anything is worked out for it.

    Parameters
    ----------
    out : Path
    which : str
        Of `WHICH`.
    kinds : collection of str
        Kinds of pages that may be drawn.
    options : callable
        Gives what each option may be called, in their order.
    files : collection of str, optional
        What is written beside the pictures; what is written of every outcome where it is not given.
    """
    from terrain3d.paper.folder import RESULTS, check_place, no_picture
    from terrain3d.show.pages.names import pages_of

    is_page = no_picture if which == "none" else pages_of(kinds, options())
    check_place(out, RESULTS if files is None else files, is_page)


def checked_site(
    site: Path, out: Path, which: str, kinds: Collection[str], files: Collection[str] | None
) -> "Ready":
    """A site file checked against all that it names, and the folder for its results, before anything is read.

    Parameters
    ----------
    site : Path
    out, which, kinds, files
        As for `check_out`.
    """
    from terrain3d.ready import ready_site

    ready = ready_site(site)
    check_out(out, which, kinds, lambda: [(option.name,) for option in ready.site.option], files)
    return ready


def tell_many(ready: "Ready", which: str) -> None:
    """Say, before anything is worked out, that pages of very many options take long."""
    if which == "all" and (n := len(ready.site.option)) > _MANY:
        say(
            f"pages of all {n} options are drawn after the results, which takes long: stop it then, or draw"
            " those of the best alone with --stills best",
            err=True,
        )


def pictures(
    which: str,
    kinds: Collection[str],
    context: Callable[[], "PageContext"],
    progress: "Progress | None" = None,
) -> "Pictures":
    """The pictures that a command draws beside its results.

    Parameters
    ----------
    which : str
        Of `WHICH`.
    kinds : collection of str
        Kinds of pages that the command draws.
    context : callable
        Gives what the pages start from; not called where nothing is drawn.
    progress : callable, optional
        Told how many are drawn; a bar of their own where it is not given.
    """
    from terrain3d.paper.folder import Pictures
    from terrain3d.show.pages.names import pages_of

    if which == "none":
        return Pictures((), lambda _folder: None, pages_of(kinds))
    from terrain3d.show.pages.stills import still_names, write_stills

    shared = replace(context(), best_only=which == "best")
    files = still_names(shared, kinds)

    def draw(folder: Path) -> None:
        def told(tell: "Progress") -> Callable[[float], None]:
            def share_done(share: float) -> None:
                tell(f"drawing: {round(share * len(files))} of {len(files)} pictures done", share)

            share_done(0.0)
            return share_done

        if progress is not None:
            write_stills(shared, folder, kinds, told(progress), is_shared=True)
            return
        with progress_on_terminal() as bar:
            write_stills(shared, folder, kinds, told(bar), is_shared=True)

    return Pictures(files, draw, pages_of(kinds))


def outcome_pictures(outcome: "Outcome", which: str, progress: "Progress | None" = None) -> "Pictures":
    """Those that go with the results of a comparison."""
    from terrain3d.show.pages.names import FIRST_KINDS

    def context() -> "PageContext":
        from terrain3d.show.pages.context import PageContext

        return PageContext(outcome)

    return pictures(which, FIRST_KINDS, context, progress)


def write_and_tell(
    outcome: "Outcome",
    out: Path,
    drawn: "Pictures | None",
    tell: Callable[[], object],
    text: str | None = None,
    rasters: Mapping[str, bytes] | None = None,
    put: Callable[[], object] | None = None,
) -> None:
    """Write results, tell the answer, draw; then say which pictures beside them may show other verdicts."""
    from terrain3d.paper.folder import write_results

    tell_older(out, write_results(outcome, out, drawn, text, rasters, tell, put, waiting_for(out)))


def tell_older(out: Path, older: Sequence[Path]) -> None:
    """Say which pictures beside new results may show other verdicts."""
    if older:
        count = "1 picture or map" if len(older) == 1 else f"{len(older)} pictures and maps"
        say(
            f"{count} of earlier runs stay in {out}, such as {older[0].relative_to(out)}, and may show other"
            " verdicts than the new results: make them anew, or take them away",
            err=True,
        )


def judge_and_write(site: Path, out: Path, which: str, tell: Callable[["Outcome"], Any]) -> None:
    """Run the job on a site file, write its results, tell the answer and draw."""
    check_drawing(which)
    from terrain3d.job import judge_ready
    from terrain3d.show.pages.names import FIRST_KINDS

    ready = checked_site(site, out, which, FIRST_KINDS, None)
    tell_many(ready, which)
    tell_in(ready.site.paper.units)
    with progress_on_terminal() as progress:
        outcome = judge_ready(ready, progress)

    def told() -> None:
        with whoever_reads():
            tell(outcome)

    write_and_tell(outcome, out, outcome_pictures(outcome, which), told)
    say_done(f"written to {out}")
