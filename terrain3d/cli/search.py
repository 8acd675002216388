"""`terrain3d search`: which mounts, which settings."""

from pathlib import Path

import click

from terrain3d.cli.options import out_option, progress_on_terminal, site_argument


@click.command("search")
@site_argument
@out_option(Path("out"), "Folder for results.json, verdicts.tif and stills/.")
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
def command(
    site: Path, out: Path, units: int | None, budget: float | None, hold: float | None, resume: bool
) -> None:
    """Judge every mount, height, type, bearing, tilt and range; find the best unit and the best set."""
    from terrain3d.paper.folder import write_results
    from terrain3d.paper.search import print_search, search_outcome, search_results_json
    from terrain3d.paper.whole import whole_folder
    from terrain3d.search.checkpoint import checkpoint_folder
    from terrain3d.search.run import open_checkpoint, read_search, run_search
    from terrain3d.show.stills import FIRST_KINDS, write_stills

    with progress_on_terminal() as progress:
        search = read_search(site, progress, units, budget, hold)
        checkpoint = open_checkpoint(checkpoint_folder(out), search, anew=not resume)
        if checkpoint.outdated and resume:
            click.echo(
                "the site has changed since its mounts were judged: judging all of them anew", err=True
            )
        result = run_search(search, progress, checkpoint)
        outcome = search_outcome(result)
        write_results(
            outcome,
            out,
            lambda drawn, folder: write_stills(
                drawn, folder, lambda share: progress("drawing", share), FIRST_KINDS
            ),
        )
        with whole_folder(out) as scratch:
            text = search_results_json(result, outcome)
            (scratch / "results.json").write_text(text, encoding="utf-8")
    print_search(result)
    click.echo(f"written to {out}; what was judged of each mount is kept in {checkpoint.folder}")
