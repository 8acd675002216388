"""A report set in type: the template beside this module, facts as data, pictures as PNG.

What comes from files never meets the markup: it goes in as JSON, and the template shows it as text. No font
of the machine is used, no package of others and no network; the same facts give the same bytes.
"""

import datetime
import importlib.util
import json
import tempfile
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

#: A day that stands for all: what a PDF tells of itself would differ from run to run.
_NO_DAY = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
#: The typefaces, in the order in which they are asked for a letter: matplotlib's, then those that have what
#: it lacks, with Chinese characters as in simplified writing, Japanese, Korean and traditional writing.
_FAMILIES = ("DejaVu Sans", *(f"Kurinto Sans{of}" for of in (" SC", " JP", " KR", " TC", "")))
#: Accessible PDF (ISO 14289-1): tagged, with its language, and no picture without words for it.
_STANDARD: Any = "ua-1"


def report_pdf(data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
    """The bytes of the PDF of a report.

    Parameters
    ----------
    data : mapping
        Plain values; `report.typ` knows their keys.
    pictures : mapping of str to bytes
        PNG by the names that the data calls them.
    """
    pages = _compiled(data, pictures, "pdf", None)
    assert isinstance(pages, bytes)
    return pages


def report_pages(
    data: Mapping[str, Any], pictures: Mapping[str, bytes], dots_an_inch: float = 60.0
) -> list[bytes]:
    """The same pages as PNG, to be looked at."""
    pages = _compiled(data, pictures, "png", dots_an_inch)
    return pages if isinstance(pages, list) else [pages]


def _compiled(
    data: Mapping[str, Any], pictures: Mapping[str, bytes], kind: Any, dots_an_inch: float | None
) -> Any:
    import typst

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        template = (files("terrain3d.typeset") / "report.typ").read_text(encoding="utf-8")
        (folder / "report.typ").write_text(template, encoding="utf-8")
        told = json.dumps({**data, "families": _FAMILIES}, ensure_ascii=False)
        (folder / "data.json").write_text(told, encoding="utf-8")
        for picture, content in pictures.items():
            (folder / picture).write_bytes(content)
        return typst.compile(
            str(folder / "report.typ"),
            root=str(folder),
            font_paths=[str(path) for path in _fonts()],
            ignore_system_fonts=True,
            format=kind,
            ppi=dots_an_inch,
            timestamp=_NO_DAY,
            pdf_standards=[_STANDARD] if kind == "pdf" else [],
        )


def _fonts() -> list[Path]:
    """The folders of the typefaces, found without loading what brings them."""
    return [
        _folder("matplotlib") / "mpl-data" / "fonts" / "ttf",
        _folder("weblate_fonts") / "static" / "weblate_fonts" / "kurinto" / "ttf",
    ]


def _folder(package: str) -> Path:
    found = importlib.util.find_spec(package)
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent
