"""Draw every kind of picture for three sites, and every type: .venv/bin/python scripts/gallery.py

They are made to be looked at. The demo, a small real survey and a plain slope go to out/gallery, a folder a
site, the types to a folder of their own, with one picture of them all, index.png. With --readme the pictures
of the README are drawn anew as well, into docs.
The same code gives the same bytes, but of the page in the browser, which is drawn where Chromium is there.
"""

import re
import shutil
import subprocess
import sys
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from terrain3d.detector.types import builtin_names, load_type
from terrain3d.job import run
from terrain3d.show.pages.context import PageContext
from terrain3d.show.pages.names import FIRST_KINDS, KINDS, PART_KINDS
from terrain3d.show.pages.stills import write_stills
from terrain3d.show.pages.type_page import check_range, write_type_page
from terrain3d.study import study_of

ROOT = Path(__file__).resolve().parents[1]
OUT, DOCS = ROOT / "out" / "gallery", ROOT / "docs"
#: What looks at the page, and its picture in the README.
BROWSER, PAGE = "chromium", "page.png"
#: Pictures of the demo that the README shows, and their names there.
README = {
    "00-contact.png": "all-options.png",
    "01-section-gate-pole-one-head.png": "section.png",
    "04-oblique-shed-pole-two-heads.png": "oblique.png",
}
README_PX, THUMB_PX, ACROSS = 1100, 480, 4
#: Enough for a map of chances to be looked at.
DRAWS = 50

_POLE = """
[[option]]
name = "{name}"
[[option.detector]]
name = "D1"
mount = "pole"
type = "{type}"
height = 1.0
bearing = {bearing}
tilt = {tilt}
range = {range}
"""

SLOPE = """# A plain slope of 15 %: what closed forms answer, drawn.
[site]
name = "Plain slope, 15 %"
[ground]
plane = { fall = 15, towards = 180, extent = 70 }
[[mount]]
name = "pole"
at = [0, 0]
[[protect]]
name = "lawn"
outline = [[-8, -9], [8, -9], [8, 9], [-8, 9]]
""" + "".join(
    _POLE.format(name=name, type=type_name, bearing=bearing, tilt=tilt, range=reach)
    for name, type_name, bearing, tilt, reach in (
        ("up the slope", "one-head-90", 0, 0, 12),
        ("down the slope, nose down with it", "one-head-90", 180, 8.5, 12),
        ("across the slope", "two-head-180", 90, 0, 10),
        ("far across the slope", "far.toml", 90, 0, 30),
    )
)

#: An invented unit that looks far through a narrow arc.
FAR = """name = "far"
about = "one head, 20 degree arc, 30 m, two layers; invented"
nominal_height = 1.0
mount_height = [0.8, 1.2]
max_range = 30
range_settings = [20, 30]
[[head]]
arc = 20
[[head.layer]]
name = "upper"
elevation = 0
thickness = 2
[[head.layer]]
name = "lower"
elevation = "range"
thickness = 2
"""

#: Poles and areas invented on a real survey; its origin is in tests/data/README.md.
REAL = """[site]
name = "Small real survey, invented poles"
crs = "EPSG:6880"
[ground]
file = "{survey}"
[[mount]]
name = "pole"
at = [2445226.0, 604332.0]
[[protect]]
name = "lawn"
outline = [[2445183.0, 604312.0], [2445213.0, 604312.0], [2445213.0, 604333.0], [2445183.0, 604333.0]]
""" + "".join(
    _POLE.format(name=name, type=type_name, bearing=bearing, tilt=0, range=12)
    for name, type_name, bearing in (
        ("one head to the west", "one-head-90", 255),
        ("two heads to the west", "two-head-180", 265),
    )
)


def main(words: list[str]) -> int:
    survey = (ROOT / "tests" / "data" / "file_with_both_wkt_and_geotiff_vlrs.las").as_posix()
    sites = {
        "demo": ROOT / "data" / "demo.toml",
        "real-survey": _written("real-survey", REAL.replace("{survey}", survey)),
        "plain-slope": _written("plain-slope", SLOPE),
    }
    drawn = []
    for name, site in sites.items():
        folder = OUT / name
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.glob("*.png"):
            old.unlink()
        result = study_of(run(site), draws=DRAWS)
        kinds = [*KINDS, *(kind for part in result.parts for kind in PART_KINDS[part])]
        drawn += write_stills(PageContext(result.outcome, study=result), folder, kinds, is_shared=True)
        print(f"{name}: {len(list(folder.glob('*.png')))} pictures in {folder.relative_to(ROOT)}")
    types = OUT / "types"
    types.mkdir(parents=True, exist_ok=True)
    for name in builtin_names():
        kind = load_type(name)
        drawn.append(write_type_page(kind, check_range(kind, None), types / f"{name}.png"))
    write_index(drawn, OUT / "index.png")
    print(f"all of them: {(OUT / 'index.png').relative_to(ROOT)}")
    if "--readme" in words:
        DOCS.mkdir(exist_ok=True)
        # As a comparison draws them: pages are numbered among those drawn together.
        folder = OUT / "readme"
        folder.mkdir(exist_ok=True)
        write_stills(PageContext(run(sites["demo"])), folder, FIRST_KINDS, is_shared=True)
        for name, shown in README.items():
            write_small(folder / name, DOCS / shown)
        if shutil.which(BROWSER) is None:
            print(f"there is no {BROWSER}: {PAGE} stays as it is")
        else:
            write_small(page_picture(sites["demo"], folder), DOCS / PAGE)
    return 0


def page_picture(site: Path, folder: Path) -> Path:
    """The page of a site in the browser, as it is when it opens."""
    from playwright.sync_api import sync_playwright

    to = folder / PAGE
    command = [sys.executable, "-c", "from terrain3d.cli.start import main; main()", "serve", str(site)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as serving:
        try:
            said = serving.stdout.readline() if serving.stdout else ""
            found = re.search(r"http://\S+", said)
            assert found, said
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=shutil.which(BROWSER),
                    args=["--headless", "--no-sandbox", "--disable-gpu"],
                )
                page = browser.new_page(viewport={"width": 1280, "height": 720})
                page.goto(found[0])
                page.wait_for_selector("[data-serial]", timeout=300_000)
                page.wait_for_load_state("networkidle")
                page.wait_for_timeout(2000)
                page.screenshot(path=to)
                browser.close()
        finally:
            serving.terminate()
    return to


def _written(name: str, text: str) -> Path:
    folder = OUT / name
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "far.toml").write_text(FAR, "utf-8")
    path = folder / "site.toml"
    path.write_text(text, "utf-8")
    return path


def write_small(picture: Path, to: Path) -> None:
    """A picture made small enough for a page: fewer pixels, and colours in steps that pack better."""
    with Image.open(picture) as page:
        height = round(README_PX * page.height / page.width)
        small = page.convert("RGB").resize((README_PX, height), Image.Resampling.LANCZOS)
    # A palette of a few hundred colours would be smaller still, and lose the hue of a thin layer.
    small.point([min(255, (value + 2) // 5 * 5) for value in range(256)] * 3).save(to, optimize=True)


def write_index(pictures: list[Path], to: Path) -> None:
    """All pictures small, side by side, each with its name."""
    tall, font = round(THUMB_PX * 0.71) + 26, ImageFont.load_default(13)
    rows = -(-len(pictures) // ACROSS)
    sheet = Image.new("RGB", (ACROSS * (THUMB_PX + 12) + 12, rows * (tall + 10) + 10), "#d8d6d0")
    pen = ImageDraw.Draw(sheet)
    for place, path in enumerate(pictures):
        x, y = 12 + (place % ACROSS) * (THUMB_PX + 12), 10 + (place // ACROSS) * (tall + 10)
        with Image.open(path) as page:
            height = round(THUMB_PX * page.height / page.width)
            sheet.paste(page.convert("RGB").resize((THUMB_PX, height), Image.Resampling.LANCZOS), (x, y))
        pen.text((x, y + height + 4), f"{path.parent.name}/{path.name}", fill="#1d1d1b", font=font)
    sheet.save(to)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
