"""`terrain3d type`: a detector type checked, told and drawn."""

from pathlib import Path

import click

from terrain3d.cli.options import Finite, out_option, say_done, waiting_for, whoever_reads
from terrain3d.cli.pictures import check_drawing, check_out
from terrain3d.terminal import say


@click.command("type")
@click.argument("name", metavar="[FILE.toml|NAME]", required=False)
@click.option(
    "--range",
    "range_m",
    type=Finite(0, 100),
    metavar="M",
    help="Range setting at which the layers are shown from the side; the longest where it is not given.",
)
@out_option(Path("out"), "Folder for the page, type-NAME.png.")
def command(name: str | None, range_m: float | None, out: Path) -> None:
    """Check a detector type, say its numbers, and draw it on level ground: from above, and from the side.

    NAME is a built-in type, FILE.toml one of your own. Without either the built-in types are listed.
    """
    from terrain3d.detector.types import builtin_names, load_type

    if name is None:
        for known in builtin_names():
            say(f"{known}: {load_type(known).about}")
        return
    kind = load_type(name)
    check_drawing("all")
    from terrain3d.caution import SHORT_CAUTION
    from terrain3d.paper.whole import whole_folder, writing_to
    from terrain3d.sentences.types import type_lines
    from terrain3d.show.pages.type_page import check_range, write_type_page
    from terrain3d.wording import slug

    page = f"type-{slug(kind.name)}.png"
    setting = check_range(kind, range_m)
    check_out(out, "none", (), list, (page,))
    with whoever_reads():
        for line in [*type_lines(kind), SHORT_CAUTION]:
            say(line)
    with writing_to(out, waiting_for(out)), whole_folder(out) as scratch:
        write_type_page(kind, setting, scratch / page)
    say_done(f"page written to {out / page}")
