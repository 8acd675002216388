"""A site file that asks for feet: every command tells feet, and every file of data stays as it was."""

import json
import re
from pathlib import Path

import pypdf
import pytest
from site_files import EVERYTHING, option_text
from site_files import run as called

from terrain3d.job import run
from terrain3d.lengths import lengths_in
from terrain3d.pack.names import kind_of
from terrain3d.pack.write import write_pack
from terrain3d.study import study_of

SUPPLY = """
[supply]
volts = 13.8
lowest_volts = 11.0
[[supply.run]]
to = "pole"
path = [[0, -12], [0, -4]]
mm2 = 0.5
"""
MARKS = """
[[mark]]
name = "gate"
at = [9, -3]
[[mark]]
name = "stone"
at = [-8, -4]
"""
SITE = EVERYTHING + MARKS + SUPPLY + option_text("north", tilt=-4) + option_text("steep", tilt=7.5)
FEET = '\n[paper]\nunits = "ft"\n'
#: Of conductors: their size in mm2 is how they are called in any country, and radiance has no foot.
METRE = re.compile(r"\bm\b|\bm2\b|(?<!m)m²(?!/sr)|metre|\b[ck]?m/s|\b[ck]m\b")


@pytest.fixture(scope="module")
def sites(tmp_path_factory) -> dict[str, Path]:
    """The same site in metres and in feet, each in a folder of its own."""
    found = {}
    for units, more in (("m", ""), ("ft", FEET)):
        folder = tmp_path_factory.mktemp(units)
        (folder / "site.toml").write_text(SITE + more, encoding="utf-8")
        found[units] = folder / "site.toml"
    return found


@pytest.mark.parametrize(
    "words",
    [
        ("cover", "--stills", "none"), ("compare", "--stills", "none"), ("study", "--stills", "none"),
        ("sheet", "--on", "2026-05-03"), ("walktest",), ("mounts", "--stills", "none"),
        ("search", "--stills", "none"), ("supply",),
    ],
    ids=lambda words: words[0],
)  # fmt: skip
def test_commands_print_feet_and_write_metres(sites, words, monkeypatch, capfd):
    """What is printed in feet has no metre; results, maps and the sheet to fill in are the same bytes."""
    printed, written = {}, {}
    for units, site in sites.items():
        monkeypatch.chdir(site.parent)
        command, *rest = words
        out = site.parent / command
        asked = [] if command == "supply" else ["--out", str(out)]
        assert called(command, "site.toml", *asked, *rest) == 0
        printed[units] = capfd.readouterr().out.replace(str(site.parent), "")
        data = [path for path in out.rglob("*") if path.suffix in (".json", ".csv", ".tif")]
        written[units] = {path.name: path.read_bytes() for path in data}
    assert METRE.search(printed["m"])
    assert METRE.findall(printed["ft"]) == []
    assert re.search(r"\bft2?\b|ft²", printed["ft"])
    assert written["m"] == written["ft"]


def test_a_pack_is_read_in_feet_and_its_data_are_metres(sites, tmp_path):
    """Report, scene and plan turn; drawing, model, tables and results are the same bytes."""
    kinds = ("report", "scene", "plan", "drawing", "tables", "model")
    packs = {}
    for units, site in sites.items():
        packs[units] = tmp_path / units
        with lengths_in(units):
            write_pack(study_of(run(site), draws=2), packs[units], kinds)
    turned, same = [], []
    for path in sorted(packs["m"].rglob("*")):
        if path.is_file():
            name = path.relative_to(packs["m"])
            is_same = path.read_bytes() == (packs["ft"] / name).read_bytes()
            (same if is_same else turned).append(kind_of(name) or name.name)
    assert {*turned} >= {"report", "scene", "plan"}
    assert {*same} >= {"drawing", "model", "tables", "results.json"}
    pages = pypdf.PdfReader(packs["ft"] / "report.pdf").pages
    report = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))
    assert METRE.findall(report) == []
    assert "ft²" in report
    plan = re.sub(r"<[^>]*>", " ", (packs["ft"] / "plan.svg").read_text(encoding="utf-8"))
    assert METRE.findall(plan) == []
    scene = (packs["ft"] / "scene.html").read_text(encoding="utf-8")
    data = json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', scene)[1])
    assert data["unit"] == {"sign": "ft", "metres": 0.3048}  # NIST SP 811 (2008), B.8
    words = [*_texts({key: below for key, below in data.items() if key not in ("ground", "meshes", "unit")})]
    assert [text for text in words if len(text) < 2000 and METRE.search(text)] == []
    assert any("ft²" in text for text in words)


def _texts(value):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for below in value:
            yield from _texts(below)
    elif isinstance(value, str):
        yield value
