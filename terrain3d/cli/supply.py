"""`terrain3d supply`: the voltage at each unit, the battery, what to change and what to buy."""

from pathlib import Path

import click

from terrain3d.cli.options import progress_on_terminal, site_argument, tell_in, whoever_reads


@click.command("supply")
@site_argument
def command(site: Path) -> None:
    """Say what voltage each unit gets through the cables of `[supply]`, and what battery that takes.

    Writes nothing: `cover` and `compare` put the same into results.json.
    """
    from terrain3d.errors import InputError
    from terrain3d.job import judge_ready
    from terrain3d.paper.supply import print_supply
    from terrain3d.ready import ready_site

    ready = ready_site(site)
    if ready.site.supply is None:
        raise InputError(
            "it has no [supply]", str(site), "add the panel's volts and a [[supply.run]] to each mount"
        )
    tell_in(ready.site.paper.units)
    with progress_on_terminal() as progress:
        outcome = judge_ready(ready, progress)
    with whoever_reads():
        print_supply(outcome)
