"""Pages set in type: a template of ours, facts as data, pictures as SVG; the same bytes for the same facts.

What comes from files never meets the markup: it goes in as JSON, and the templates show it as text. No font
of the machine is used and no package of others: the letters are those that come with matplotlib.
"""

import datetime
import importlib.util
import json
from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

#: Days that a PDF tells of itself would differ from run to run.
_NO_DAY = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
#: Letters that no typeface can show, or that turn the direction of writing, are not in what files say; what
#: is left #: and has no sign is shown as a box.
Data = Mapping[str, Any]


def pdf(template: str, data: Data, pictures: Mapping[str, str] | None = None) -> bytes:
    """The bytes of a PDF.

    Parameters
    ----------
    template : str
        Name of one of the templates beside this module, such as "sheet".
    data : mapping
        Plain values; the template knows their keys.
    pictures : mapping of str to str, optional
        SVG texts by the names that the data calls them.

    Examples
    --------
    >>> pdf("sheet", {"head": "A site", "units": [], "foot": ""})[:5]
    b'%PDF-'
    """
    found = _compiled(template, data, pictures or {}, "pdf", None)
    assert isinstance(found, bytes)
    return found


def png_pages(
    template: str, data: Data, pictures: Mapping[str, str] | None = None, dots_an_inch: float = 100.0
) -> list[bytes]:
    """The same pages as pictures, to be looked at."""
    found = _compiled(template, data, pictures or {}, "png", dots_an_inch)
    return found if isinstance(found, list) else [found]


def _compiled(
    template: str, data: Data, pictures: Mapping[str, str], kind: Any, dots_an_inch: float | None
) -> Any:
    import typst

    inputs = {"data": json.dumps(data, ensure_ascii=False), **{f"svg-{k}": v for k, v in pictures.items()}}
    with as_file(files("terrain3d.typeset")) as folder:
        return typst.compile(
            str(folder / f"{template}.typ"),
            root=str(folder),
            font_paths=[str(_fonts())],
            ignore_system_fonts=True,
            format=kind,
            ppi=dots_an_inch,
            sys_inputs=inputs,
            timestamp=_NO_DAY,
        )


def _fonts() -> Path:
    """The folder of matplotlib's typefaces, found without loading it."""
    found = importlib.util.find_spec("matplotlib")
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
