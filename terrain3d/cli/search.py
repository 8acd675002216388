"""`terrain3d search`: which mounts, which settings, for one site or for a folder of them."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from terrain3d.cli.options import out_option, progress_on_terminal, whoever_reads
from terrain3d.cli.pictures import check_out, outcome_pictures, stills_option, write_and_tell
from terrain3d.cli.start import hear_no_more

if TYPE_CHECKING:
    from terrain3d.job import Progress
    from terrain3d.search.result import SearchResult
    from terrain3d.search.spread import Spread

#: Most units of a set, most money, the share to hold: None is what the site file says.
Wanted = tuple[int | None, float | None, float | None]


@click.command("search")
@click.argument("site", type=click.Path(path_type=Path), metavar="SITE.toml|FOLDER")
@out_option(Path("out"), "Folder for results.json, verdicts.tif and stills/; of a folder one for each site.")
@click.option("--units", type=click.IntRange(1, 50), metavar="N", help="Most units of a set.")
@click.option("--budget", type=click.FloatRange(0, min_open=True), metavar="X", help="Most money, by price.")
@click.option(
    "--hold",
    type=click.FloatRange(0, 1, min_open=True),
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
    help="Judge on a Dask cluster of your own, such as tcp://192.168.1.5:8786; needs the extra `cluster`.",
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
    from terrain3d.paper.search import print_search

    _check_out(out, which)
    as_read = site.read_bytes() if site.is_file() else b""
    try:
        with progress_on_terminal() as progress, _workers(cluster) as spread:
            result = _searched(site, out, wanted, resume, progress, spread)
    except KeyboardInterrupt:
        click.echo(f"finished mounts are kept in {_kept(out)}: the same command goes on from there", err=True)
        raise

    def tell() -> None:
        with whoever_reads():
            print_search(result)
        if write:
            _write_back(site, as_read, result)

    _write_out(result, out, which, tell)
    click.echo(f"written to {out}; what was judged of each mount is kept in {_kept(out)}")
    if write:
        click.echo(f"the best set and the runner-up are in {site}")


@contextmanager
def _workers(cluster: str | None) -> Iterator["Spread | None"]:
    """Who does the judging: None is this machine."""
    if cluster is None:
        yield None
        return
    from terrain3d.search.cluster import on_cluster

    with on_cluster(cluster) as spread:
        yield spread


def _searched(
    site: Path, out: Path, wanted: Wanted, resume: bool, progress: "Progress", spread: "Spread | None" = None
) -> "SearchResult":
    """Search one site; its finished mounts are kept beside its results."""
    from terrain3d.search.run import open_checkpoint, read_search, run_search

    search = read_search(site, progress, *wanted)
    checkpoint = open_checkpoint(_kept(out), search, anew=not resume)
    if checkpoint.outdated and resume:
        click.echo("the site has changed since its mounts were judged: judging all of them anew", err=True)
    return run_search(search, progress, checkpoint, spread)


def _kept(out: Path) -> Path:
    from terrain3d.search.checkpoint import checkpoint_folder

    return checkpoint_folder(out)


def _check_out(out: Path, which: str) -> None:
    """Refuse a folder where something of the user's is in the way of what a search writes."""
    from terrain3d.paper.search import NAMES
    from terrain3d.show.pages.names import FIRST_KINDS

    check_out(out, which, FIRST_KINDS, lambda: NAMES)


def _write_out(
    result: "SearchResult",
    out: Path,
    which: str,
    tell: Callable[[], object],
    progress: "Progress | None" = None,
) -> None:
    """Write everything that was found, tell it, then draw it."""
    from terrain3d.paper.search import search_outcome, search_results_json

    outcome = search_outcome(result)
    drawn = outcome_pictures(outcome, which, progress)
    write_and_tell(outcome, out, drawn, tell, search_results_json(result, outcome))


def _write_back(site: Path, as_read: bytes, result: "SearchResult") -> None:
    from terrain3d.paper.write_options import write_options
    from terrain3d.search.result import as_options

    comment = "found by terrain3d search; what it holds is told in results.json"
    write_options(site, as_read, as_options(result), replace=True, comment=comment)


def _search_folder(
    folder: Path, out: Path, wanted: Wanted, resume: bool, write: bool, which: str, cluster: str | None
) -> int:
    """Search every site of a folder, each into a folder of its own; returns the exit status."""
    from terrain3d.cli.main import BAD_INPUT, FAULT, INTERRUPTED
    from terrain3d.paper.sites import print_sites, site_line
    from terrain3d.search.sites import SiteDone, attempt, each_site, search_site, site_files
    from terrain3d.search.spread import here

    paths = site_files(folder)
    as_read = [path.read_bytes() if path.is_file() else b"" for path in paths]
    done: dict[int, SiteDone] = {}
    try:
        with progress_on_terminal() as progress, _workers(cluster) as spread:

            def tell(step: str, fraction: float) -> None:
                progress(f"site {min(len(done) + 1, len(paths))} of {len(paths)}: {step}", fraction)

            def searched(path: Path) -> "SearchResult":
                return _searched(path, out / path.stem, wanted, resume, tell)

            def finished(place: int, result: "SearchResult") -> "SearchResult":
                def found() -> None:
                    with whoever_reads():
                        click.echo(site_line(SiteDone(paths[place], result)))
                    if write:
                        _write_back(paths[place], as_read[place], result)

                _write_out(result, out / paths[place].stem, which, found, tell)
                return result

            for place, path in enumerate(paths):
                one = attempt(path, partial(_check_out, out / path.stem, which))
                if one.fault:
                    done[place] = one
                    click.echo(site_line(one), err=True)
            rest = [place for place in range(len(paths)) if place not in done]
            tell("searching", 0.0)
            # Elsewhere there is no folder of ours to keep finished mounts in.
            task = searched if spread is None else partial(search_site, wanted)
            for nth, one in each_site(task, tuple(paths[place] for place in rest), spread or here):
                place, is_searched = rest[nth], not one.fault
                done[place] = attempt(one.path, partial(finished, place, one.result)) if is_searched else one
                if done[place].fault:
                    click.echo(site_line(done[place]), err=True)
    except KeyboardInterrupt as stopped:
        hear_no_more()
        words = [f"{len(done)} of {len(paths)} sites were done", *getattr(stopped, "__notes__", ())]
        click.echo(f"terrain3d: stopped; {'; '.join(words)}", err=True)
        return INTERRUPTED
    print_sites([done[place] for place in range(len(paths))])
    failed = [one for one in done.values() if one.fault]
    if not failed:
        return 0
    return BAD_INPUT if all(one.is_input for one in failed) else FAULT
