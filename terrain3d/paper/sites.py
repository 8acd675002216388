"""What came of many sites, as a table."""

from rich.table import Table
from rich.text import Text

from terrain3d.lengths import lengths_in
from terrain3d.search.budget import NothingFits
from terrain3d.search.result import SearchResult
from terrain3d.search.sites import SiteDone
from terrain3d.sentences.search import search_why, set_words
from terrain3d.terminal import lay_out


def print_sites(sites: list[SiteDone]) -> None:
    """Print the table to the standard output."""
    lay_out(sites_table(sites))


def sites_table(sites: list[SiteDone]) -> Table:
    """A row for each site: what its best set holds, from where, and by how much it leads."""
    failed = sum(bool(site.fault) for site in sites)
    title = f"{len(sites)} site{'' if len(sites) == 1 else 's'} searched"
    table = Table(title=Text(f"{title}, {failed} failed" if failed else title))
    table.add_column("site", overflow="fold")
    for words in ("settings\njudged", "held\nsurely", "runner-up"):
        table.add_column(words, justify="right")
    table.add_column("best set", overflow="fold")
    for site in sites:
        if site.fault:
            what = site.fault.partition("\n")[0]
            table.add_row(Text(site.path.name), "", "", "", Text(f"failed: {what}"))
            continue
        if isinstance(site.result, NothingFits):
            why = Text(search_why(site.result))
            table.add_row(Text(site.path.name), f"{site.result.settings_judged:,}", "", "", why)
            continue
        result: SearchResult = site.result
        other = result.runner_up
        with lengths_in(result.site.file.paper.units):
            best = Text(set_words(result.best))
        table.add_row(
            Text(site.path.name), f"{result.settings_judged:,}", f"{result.best.share:.1%}",
            "" if other is None else f"{other.share:.1%}", best,
        )  # fmt: skip
    return table
