"""`terrain3d serve`: the whole job in the browser, from loopback."""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from terrain3d.cli.options import progress_on_terminal
from terrain3d.errors import InputError
from terrain3d.terminal import say

if TYPE_CHECKING:
    from terrain3d.serve.server import Tell
    from terrain3d.serve.session import Session


@click.command("serve")
@click.argument("start", type=click.Path(path_type=Path), metavar="[SITE.toml|SURVEY|FOLDER]", default=Path())
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    metavar="N",
    help="Where it listens; else a free port.",
)
@click.option("--no-browser", is_flag=True, help="Open no browser; the address is printed all the same.")
def command(start: Path, port: int, no_browser: bool) -> None:
    """Open a page in the browser: draw the site, aim units by hand, ask why, save the site file.

    This machine alone can open the address, and once. Nothing is written until you save. Ctrl-C ends it.
    """
    import asyncio
    from urllib.parse import quote

    from terrain3d.sentences.drawing import left_words
    from terrain3d.serve.server import serve
    from terrain3d.show.libraries import check_libraries

    check_libraries()
    kind = _kind_of(start)
    unsaved: list[str] = []

    def begin(tell: "Tell") -> "Session":
        with progress_on_terminal() as progress:

            def both(step: str, share: float) -> None:
                progress(step, share)
                tell(step, share)

            return _session(start, kind, both)

    def tell_address(address: str) -> None:
        whole = f"{address}#{quote(start.name)}" if kind == "survey" else address
        say(f"terrain3d: open {whole}")
        if not no_browser and sys.stdout.isatty() and _has_desktop():
            import webbrowser

            webbrowser.open(whole)

    try:
        asyncio.run(serve(begin, port, tell_address, unsaved.extend))
    except KeyboardInterrupt as stopped:
        stopped.add_note(left_words(unsaved))
        raise


def _kind_of(start: Path) -> str:
    """What it is started with, by what is there."""
    if start.is_dir():
        return "folder"
    if not start.is_file():
        raise InputError(
            f"there is no {str(start)!r}",
            "terrain3d serve",
            "give a site file, a survey or a folder that is there",
        )
    return "site" if start.suffix.lower() == ".toml" else "survey"


def _session(start: Path, kind: str, tell: "Tell") -> "Session":
    from terrain3d.draft.document import read_draft
    from terrain3d.serve.keeping import bring_back
    from terrain3d.serve.session import Session

    folder = start if kind == "folder" else start.parent
    if kind != "site":
        return Session(folder, tell=tell)
    session = Session(folder, read_draft(start), tell=tell)
    bring_back(session)
    return session


def _has_desktop() -> bool:
    """Whether a browser opened from here would be seen."""
    return sys.platform in ("win32", "darwin") or bool(
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )
