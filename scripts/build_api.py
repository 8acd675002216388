"""Build the page of the package's face from its docstrings: .venv/bin/python scripts/build_api.py [FOLDER]

Writes out/api/index.html where no folder is given. A warning of the documentation tool is an error.
"""

import sys
import tempfile
from pathlib import Path

import terrain3d

ROOT = Path(__file__).resolve().parents[1]
#: What the face is for, in the order in which it is used; a test holds it to `terrain3d.__all__`.
GROUPS = {
    "Open a site": ("open_site", "OpenedSite", "site_of", "InputError"),
    "A terrain": (
        "terrain_from_heights", "Terrain", "Ground", "Solids", "wall", "block", "Foliage", "Mount", "Area",
        "Walk", "Approach", "Nuisance", "Beyond",
    ),
    "Units": ("load_type", "DetectorType", "Detector", "unit_on", "sighted", "SightedUnit"),
    "Judge": (
        "judge", "judge_units", "with_units", "with_figure", "Outcome", "OptionResult", "option_verdicts",
        "Verdict", "Figure",
    ),
    "Study": ("study_of", "Study", "OptionStudy"),
    "Search": ("search_of", "SearchResult", "NothingFits"),
    "Write and draw": ("results_of", "write", "page_of"),
}  # fmt: skip
CONF = """
project = "terrain3d"
extensions = ["sphinx.ext.autodoc", "sphinx.ext.napoleon"]
autodoc_typehints = "none"
autodoc_member_order = "bysource"
napoleon_numpy_docstring, napoleon_google_docstring = True, False
napoleon_use_ivar = True
html_theme = "alabaster"
html_copy_source = False
html_show_sphinx = False
default_role = "code"
"""
HEAD = """
terrain3d {version} as a library
================================

{about}

A planning aid, not proof of detection: walk-test every unit after fixing.

"""


def main(words: list[str]) -> int:
    out = Path(words[0]) if words else ROOT / "out" / "api"
    return build(out)


def build(out: Path) -> int:
    """Write the page; 0 where the tool had nothing to say."""
    from sphinx.cmd.build import build_main

    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder)
        (source / "conf.py").write_text(CONF, "utf-8")
        (source / "index.rst").write_text(page(), "utf-8")
        trees = str(source / "trees")
        return build_main(["-W", "--keep-going", "-q", "-E", "-d", trees, str(source), str(out)])


def page() -> str:
    """The source of the page."""
    about = (terrain3d.__doc__ or "").replace("# doctest: +SKIP", "").strip()
    text = [HEAD.format(version=terrain3d.__version__, about=about)]
    for heading, names in GROUPS.items():
        text.append(f"{heading}\n{'-' * len(heading)}\n")
        for name in names:
            kind = "class" if isinstance(getattr(terrain3d, name), type) else "function"
            members = "   :members:\n" if kind == "class" else ""
            text.append(f".. auto{kind}:: terrain3d.{name}\n{members}\n")
    return "\n".join(text)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
