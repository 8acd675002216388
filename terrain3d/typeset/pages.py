"""Pages set in type: a template of ours, facts as data, pictures; the same bytes for the same facts.

What comes from files never meets the markup: it goes in as JSON, and the templates show it as text. No font
of the machine is used, no package of others and no network.
"""

import base64
import datetime
import importlib.util
import json
import os
import struct
import subprocess
import sys
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
#: Templates that make accessible PDF (ISO 14289-1): tagged, with its language, no picture without words for
#: it.
_ACCESSIBLE = ("report",)

#: The file that another process leaves its PDF in, and what it does.
_MADE = "made.pdf"
_SET = f"""
import sys
from pathlib import Path
from terrain3d.typeset.pages import compiled
folder, template, *fonts = sys.argv[1:]
Path(folder, "{_MADE}").write_bytes(compiled(folder, template, fonts, "pdf", None, ["ua-1"]))
"""

Data = Mapping[str, Any]
#: SVG as text, PNG as bytes, by the names that the data calls them.
Pictures = Mapping[str, str | bytes]


def pdf(template: str, data: Data, pictures: Pictures | None = None) -> bytes:
    """The bytes of a PDF.

    Parameters
    ----------
    template : str
        Name of one of the templates beside this module, such as "sheet".
    data : mapping
        Plain values; the template knows their keys.
    pictures : mapping of str to str or bytes, optional

    Examples
    --------
    >>> pdf("sheet", {"head": "A site", "units": [], "foot": ""})[:5]
    b'%PDF-'
    """
    found = _compiled(template, data, pictures or {}, "pdf", None)
    assert isinstance(found, bytes)
    return found


def png_pages(
    template: str, data: Data, pictures: Pictures | None = None, dots_an_inch: float = 100.0
) -> list[bytes]:
    """The same pages as pictures, to be looked at."""
    found = _compiled(template, data, pictures or {}, "png", dots_an_inch)
    return found if isinstance(found, list) else [found]


def _compiled(template: str, data: Data, pictures: Pictures, kind: Any, dots_an_inch: float | None) -> Any:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for ours in ("common.typ", f"{template}.typ"):
            (folder / ours).write_bytes((files("terrain3d.typeset") / ours).read_bytes())
        told = json.dumps({**data, "families": _FAMILIES}, ensure_ascii=False)
        (folder / "data.json").write_text(told, encoding="utf-8")
        for picture, content in pictures.items():
            svg = content if isinstance(content, str) else _framed(content)
            (folder / picture).write_text(svg, encoding="utf-8")
        if kind == "pdf" and template in _ACCESSIBLE:
            return _elsewhere(folder, template)
        return compiled(str(folder), template, [str(path) for path in _fonts()], kind, dots_an_inch, [])


def compiled(
    folder: str, template: str, fonts: list[str], kind: Any, dots_an_inch: float | None, standards: Any
) -> Any:
    """What the typesetter makes of a template and its data, which lie in a folder."""
    import typst

    return typst.compile(
        f"{folder}/{template}.typ",
        root=folder,
        font_paths=fonts,
        ignore_system_fonts=True,
        format=kind,
        ppi=dots_an_inch,
        timestamp=_NO_DAY,
        pdf_standards=standards,
    )


def _framed(png: bytes) -> str:
    """The same picture in SVG, of which the typesetter keeps no dots; of PNG it does, 20 MB for A4."""
    # Width and height are the first two numbers of the first part of a PNG (ISO/IEC 15948, 11.2.2).
    width, height = struct.unpack(">II", png[16:24])
    across = f'width="{width}" height="{height}"'
    data = base64.b64encode(png).decode()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {across}>'
        f'<image {across} href="data:image/png;base64,{data}"/></svg>'
    )


def _elsewhere(folder: Path, template: str) -> bytes:
    """The bytes of accessible PDF, set by a process of its own, for the typesetter keeps what it has set."""
    asked = [str(folder), template, *map(str, _fonts())]
    told = subprocess.run(
        # What is imported is found where it was found here, and never where this happens to be called.
        [sys.executable, "-P", "-c", _SET, *asked],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        capture_output=True,
        text=True,
        check=False,
    )
    if told.returncode:
        raise RuntimeError(f"the typesetter ended with {told.returncode}: {told.stderr.strip()}")
    return (folder / _MADE).read_bytes()


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
