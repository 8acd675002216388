"""The gallery for reviewers, and the pictures of the README that it makes."""

import importlib
import re
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image

from terrain3d.job import run

ROOT = Path(__file__).parent.parent


@pytest.fixture
def gallery(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> ModuleType:
    """The script, with its folders elsewhere."""
    monkeypatch.syspath_prepend(str(ROOT / "scripts"))
    script = importlib.import_module("gallery")
    monkeypatch.setattr(script, "OUT", tmp_path / "gallery")
    monkeypatch.setattr(script, "DOCS", tmp_path / "docs")
    return script


def test_its_own_sites_can_be_judged(gallery: ModuleType) -> None:
    """The plain slope and the poles on a real survey are site files without a fault."""
    survey = (ROOT / "tests" / "data" / "file_with_both_wkt_and_geotiff_vlrs.las").as_posix()
    slope = run(gallery._written("plain-slope", gallery.SLOPE))
    real = run(gallery._written("real-survey", gallery.REAL.replace("{survey}", survey)))
    assert [len(slope.options), len(real.options)] == [4, 2]
    assert all(option.area_m2["both"] > 5 for option in (*slope.options, *real.options))


def test_small_pictures_are_small_and_come_out_alike(gallery: ModuleType, tmp_path: Path) -> None:
    """A picture for the README is narrower than the page, and the same at every run."""
    page = tmp_path / "page.png"
    noise = np.random.default_rng(7).integers(0, 255, (1132, 1600, 3), dtype=np.uint8)
    Image.fromarray(noise // 64 * 64).save(page)
    first, second = tmp_path / "first.png", tmp_path / "second.png"
    gallery.write_small(page, first)
    gallery.write_small(page, second)
    assert first.read_bytes() == second.read_bytes()
    with Image.open(first) as small:
        assert small.size == (1100, 778)


def test_small_pictures_keep_rare_colours(gallery: ModuleType, tmp_path: Path) -> None:
    """A thin strip of the lower layer's hue on a page of many greys does not turn grey."""
    page = np.repeat(np.linspace(0, 255, 1600).astype(np.uint8)[None], 1132, axis=0)
    image = np.stack([page] * 3, axis=-1)
    image[500:506, 300:420] = (199, 182, 213)
    Image.fromarray(image).save(tmp_path / "page.png")
    gallery.write_small(tmp_path / "page.png", tmp_path / "small.png")
    with Image.open(tmp_path / "small.png") as small:
        pixels = np.asarray(small.convert("RGB")).astype(int)
    assert (np.ptp(pixels, axis=2) > 20).sum() > 200


def test_the_index_shows_every_picture(gallery: ModuleType, tmp_path: Path) -> None:
    """One thumbnail a picture, in rows."""
    paths = []
    for k in range(5):
        paths.append(tmp_path / f"{k}.png")
        Image.new("RGB", (160, 113), (40 * k, 200, 0)).save(paths[-1])
    gallery.write_index(paths, tmp_path / "index.png")
    with Image.open(tmp_path / "index.png") as index:
        pixels = np.asarray(index.convert("RGB")).reshape(-1, 3)
    for k in range(5):
        assert (pixels == [40 * k, 200, 0]).all(axis=1).sum() > 0.9 * 480 * 339


def test_the_readme_shows_its_pictures(gallery: ModuleType) -> None:
    """Each picture is there, is named in words, and is under 300 kB."""
    text = (ROOT / "README.md").read_text("utf-8")
    shown = re.findall(r"!\[([^\]]{10,})\]\((docs/[a-z-]+\.png)\)", text)
    assert {Path(path).name for _, path in shown} == {*gallery.README.values(), gallery.PAGE}
    for _, path in shown:
        assert (ROOT / path).stat().st_size < 300_000
