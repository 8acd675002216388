"""`terrain3d search`: which mounts, which settings, for one site or for a folder of them."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from terrain3d.cli.options import (
    Finite,
    out_option,
    progress_on_terminal,
    say_done,
    site_bytes,
    tell_in,
    waiting_for,
    whoever_reads,
)
from terrain3d.cli.pictures import check_drawing, check_out, outcome_pictures, stills_option, write_and_tell
from terrain3d.cli.stopping import hear_no_more
from terrain3d.terminal import say

if TYPE_CHECKING:
    from terrain3d.opened import Progress
    from terrain3d.search.budget import NothingFits
    from terrain3d.search.result import SearchResult
    from terrain3d.search.tasks import DoTasks

#: Most units of a set, most money, the share to hold: None is what the site file says.
Wanted = tuple[int | None, float | None, float | None]


@click.command("search")
@click.argument("site", type=click.Path(path_type=Path), metavar="SITE.toml|FOLDER")
@out_option(Path("out"), "Folder for results.json, maps and stills/; of a folder one for each site.")
@click.option("--units", type=click.IntRange(1, 50), metavar="N", help="Most units of a set.")
@click.option("--budget", type=Finite(0, min_open=True), metavar="X", help="Most money, by price.")
@click.option(
    "--hold",
    type=Finite(0, 1, min_open=True),
    metavar="SHARE",
    help="Find the cheapest set, or the one of fewest units, that holds this share of the protected ground.",
)
@click.option(
    "--resume/--anew",
    default=True,
    show_default=True,
    help="Go on with the mounts that are finished, kept beside the results; or judge all of them again.",
)
@click.option(
    "--write",
    is_flag=True,
    help="Put the best set and the runner-up into the site file as options, in place of those found before.",
)
@stills_option()
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Judge on a Dask cluster of your own, such as tcp://192.168.1.5:8786; needs the extra `cluster`."
    " Whoever runs the scheduler can run anything here: name only your own.",
)
@click.pass_context
def command(
    ctx: click.Context,
    site: Path,
    out: Path,
    units: int | None,
    budget: float | None,
    hold: float | None,
    resume: bool,
    write: bool,
    which: str,
    cluster: str | None,
) -> None:
    """Judge every mount, height, type, bearing, tilt and range; find the best unit and the best set.

    Of a folder every site file is searched, results come as they are ready, and a site that fails is told
    and costs the others nothing.
    """
    wanted = (units, budget, hold)
    if site.is_dir():
        ctx.exit(_search_folder(site, out, wanted, resume, write, which, cluster))
    as_read = site_bytes(site)
    _check_out(site, as_read, out, write, which)
    from terrain3d.paper.search import print_search

    began = time.monotonic()
    try:
        with progress_on_terminal() as progress, _workers(cluster) as do_tasks:
            result = _searched(site, out, wanted, resume, progress, do_tasks)
    except KeyboardInterrupt:
        say(f"finished mounts are kept in {_kept(out)}: the same command goes on from there", err=True)
        raise
    if sys.stderr.isatty():
        say(f"searched in {time.monotonic() - began:.0f} s", err=True)
    written = ""

    def put() -> None:
        nonlocal written
        if write:
            written = _write_back(site, as_read, result)

    tell_in(result.site.file.paper.units)

    def tell() -> None:
        with whoever_reads():
            print_search(result)

    _write_out(result, out, which, tell, put)
    kept = f"; what was judged of each mount is kept in {_kept(out)}" if result.settings_judged else ""
    say_done(f"written to {out}{kept}")
    if written:
        say_done(written)


def _check_out(site: Path, as_read: bytes, out: Path, write: bool, which: str) -> None:
    """Refuse what could not be drawn or written in the end, for a search may take long."""
    check_drawing(which)
    from terrain3d.paper.search import NAMES
    from terrain3d.paper.whole import check_folder
    from terrain3d.paper.write_options import check_takes_options
    from terrain3d.search.result import WRITTEN_NAMES
    from terrain3d.show.pages.names import FIRST_KINDS

    check_out(out, which, FIRST_KINDS, lambda: NAMES)
    check_folder(_kept(out))
    if write and as_read:
        check_takes_options(site, as_read, WRITTEN_NAMES)


@contextmanager
def _workers(cluster: str | None) -> Iterator["DoTasks | None"]:
    """Who does the judging: None is this machine."""
    if cluster is None:
        yield None
        return
    from terrain3d.search.cluster import on_cluster

    with on_cluster(cluster) as do_tasks:
        yield do_tasks


def _searched(
    site: Path,
    out: Path,
    wanted: Wanted,
    resume: bool,
    progress: "Progress",
    do_tasks: "DoTasks | None" = None,
) -> "SearchResult | NothingFits":
    """Search one site; its finished mounts are kept beside its results."""
    from terrain3d.errors import InputError
    from terrain3d.paper.whole import writing_to
    from terrain3d.ready import in_file
    from terrain3d.search.run import open_checkpoint, read_search, run_search

    search = read_search(site, progress, *wanted)
    kept = _kept(out)
    with writing_to(kept, waiting_for(kept)):
        checkpoint = open_checkpoint(kept, search, anew=not resume)
        if checkpoint.outdated and resume:
            say("the site has changed since its mounts were judged: judging all of them anew", err=True)
        try:
            return run_search(search, progress, checkpoint, do_tasks)
        except InputError as error:
            raise in_file(error, site) from error


def _kept(out: Path) -> Path:
    from terrain3d.search.checkpoint import checkpoint_folder

    return checkpoint_folder(out)


def _write_out(
    result: "SearchResult | NothingFits",
    out: Path,
    which: str,
    tell: Callable[[], object],
    put: Callable[[], object],
    progress: "Progress | None" = None,
) -> None:
    """Write everything that was found, tell it, then draw it."""
    from terrain3d.paper.search import search_results_json

    drawn = outcome_pictures(result.outcome, which, progress)
    write_and_tell(result.outcome, out, drawn, tell, search_results_json(result), put=put)


def _write_back(site: Path, as_read: bytes, result: "SearchResult | NothingFits") -> str:
    """Put what was found into the site file; says what is in it now."""
    from terrain3d.paper.site_file import before_of
    from terrain3d.paper.write_options import write_options
    from terrain3d.search.budget import NothingFits
    from terrain3d.search.result import as_options
    from terrain3d.wording import listed

    if isinstance(result, NothingFits):
        return f"nothing was put into {site}"
    comment = "found by terrain3d search; what it holds is told in results.json"
    options = as_options(result)
    write_options(site, as_read, options, replace=True, comment=comment)
    named = listed([f'"{option.name}"' for option in options])
    are = "is" if len(options) == 1 else "are"
    return f"{named} {are} in {site} now; as it was before it is in {before_of(site, as_read)}"


def _search_folder(
    folder: Path, out: Path, wanted: Wanted, resume: bool, write: bool, which: str, cluster: str | None
) -> int:
    """Search every site of a folder, each into a folder of its own; returns the exit status."""
    from terrain3d.cli.main import BAD_INPUT, FAULT, INTERRUPTED
    from terrain3d.lengths import lengths_in
    from terrain3d.paper.sites import print_sites
    from terrain3d.search.sites import SiteDone, attempt, each_site, search_site, site_files
    from terrain3d.search.tasks import here
    from terrain3d.sentences.search import site_line

    paths = site_files(folder)
    as_read = [site_bytes(path) for path in paths]
    done: dict[int, SiteDone] = {}

    for place, path in enumerate(paths):
        first = attempt(path, partial(_check_out, path, as_read[place], out / path.stem, write, which))
        if first.fault:
            done[place] = first
            say(site_line(first), err=True)
    left = [place for place in range(len(paths)) if place not in done]
    try:
        with progress_on_terminal() as progress, _workers(cluster) as do_tasks:

            def tell(step: str, fraction: float) -> None:
                progress(f"site {min(len(done) + 1, len(paths))} of {len(paths)}: {step}", fraction)

            def searched(path: Path) -> "SearchResult | NothingFits":
                return _searched(path, out / path.stem, wanted, resume, tell)

            def finished(place: int, result: "SearchResult | NothingFits") -> "SearchResult | NothingFits":
                def put() -> None:
                    if write:
                        _write_back(paths[place], as_read[place], result)

                def found() -> None:
                    with whoever_reads():
                        say(site_line(SiteDone(paths[place], result)))

                with lengths_in(result.site.file.paper.units):
                    _write_out(result, out / paths[place].stem, which, found, put, tell)
                return result

            tell("searching", 0.0)
            # Elsewhere there is no folder of ours to keep finished mounts in.
            task = searched if do_tasks is None else partial(search_site, wanted)
            for number, one in each_site(task, tuple(paths[place] for place in left), do_tasks or here):
                place, is_searched = left[number], not one.fault
                done[place] = attempt(one.path, partial(finished, place, one.result)) if is_searched else one
                if done[place].fault:
                    say(site_line(done[place]), err=True)
    except KeyboardInterrupt as stopped:
        hear_no_more()
        words = [f"{len(done)} of {len(paths)} sites were done", *getattr(stopped, "__notes__", ())]
        say(f"terrain3d: stopped; {'; '.join(words)}", err=True)
        return INTERRUPTED
    print_sites([done[place] for place in range(len(paths))])
    failed = [one for one in done.values() if one.fault]
    if not failed:
        return 0
    return BAD_INPUT if all(one.is_input for one in failed) else FAULT
