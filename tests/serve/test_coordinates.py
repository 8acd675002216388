"""Places read and typed as the site file has them: projected, in degrees, or in metres of its own."""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pyproj
import pytest
from made_files import write_tif
from rasterio.transform import from_origin

from terrain3d.draft.document import read_draft
from terrain3d.serve.session import Session

DATA = Path(__file__).parents[2] / "data"
#: A slope under a pole in UTM zone 31N, with ground to hold that another file draws.
SITE = """\
[site]
name = "slope"
crs = "EPSG:32631"
cell = 0.5
[ground]
plane = { fall = 10, towards = 180, extent = 40 }

[[mount]]
name = "pole"
at = [560018.125, 4950020.75]

[[protect]]
file = "yard.geojson"
"""
AT = (560018.125, 4950020.75)


def write_yard(folder, north_m):
    """A yard of 6 x 4 m, so far north of the pole, as a drawing program saves it."""
    x, y = AT[0] - 3, AT[1] + north_m
    ring = [[x, y], [x + 6, y], [x + 6, y + 4], [x, y + 4], [x, y]]
    outline = {"type": "Polygon", "coordinates": [ring]}
    feature = {"type": "Feature", "properties": {"name": "yard"}, "geometry": outline}
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32631"}}
    layer = {"type": "FeatureCollection", "crs": crs, "features": [feature]}
    (folder / "yard.geojson").write_text(json.dumps(layer), encoding="utf-8")


def opened(folder, text):
    write_yard(folder, 3.0)
    (folder / "site.toml").write_text(text, encoding="utf-8")
    return Session(folder, read_draft(folder / "site.toml"))


@pytest.fixture
def utm(tmp_path):
    """The slope, open."""
    session = opened(tmp_path, SITE)
    yield session
    session.end()


def thing(session, name):
    return next(one for one in session.state()["things"] if one["name"] == name)


def test_places_are_told_as_the_site_file_has_them(utm):
    """To the digit that stands there, with the CRS, and what its two numbers are called."""
    assert thing(utm, "pole")["of_file"] == [list(AT)]
    told = utm.state()["site"]["coordinates"]
    assert (told["axes"], told["unit"]) == (["easting", "northing"], "m")
    assert told["words"] == "The site file is in WGS 84 / UTM zone 31N."
    under = utm.do({"do": "point", "px": 400, "py": 300})
    x, y = utm.site.to_local(np.array([under["of_file"]]))[0, :2]
    assert (x, y) == pytest.approx(under["ground"][:2], abs=1e-6)


def test_a_place_that_is_typed_is_written_as_it_was_typed(utm):
    """No digit is lost on the way, and PROJ puts it where the page has it."""
    typed = [560020.5, 4950015.25]
    utm.do({"do": "move", "id": thing(utm, "pole")["id"], "points": [typed], "is_of_file": True})
    assert "at = [560020.5, 4950015.25]" in utm.draft.text
    assert thing(utm, "pole")["of_file"] == [typed]
    back = pyproj.Transformer.from_crs(utm.site.terrain.frame.wkt, "EPSG:32631", always_xy=True)
    assert back.transform(*thing(utm, "pole")["points"][0][:2]) == pytest.approx(typed, abs=1e-6)
    answer = utm.do({"do": "check_draw", "points": [typed], "form": "point", "is_of_file": True})
    assert answer["points"][0] == pytest.approx(thing(utm, "pole")["points"][0])


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (
            (570018.1, 4950020.8),
            "lies 10.0 km from the ground; check its digits; easting comes before northing",
        ),
        ((4950020.8, 560018.1), "check its digits; easting comes before northing"),
        ((1e12, 0.0), "the coordinates (1e+12, 0) cannot be in WGS 84 / UTM zone 31N"),
    ],
)
def test_a_place_far_from_the_ground_is_refused_in_words(utm, place, words):
    """A digit too many, the two turned round, and what is no place at all; nothing is changed."""
    before = utm.draft.text
    utm.do({"do": "move", "id": thing(utm, "pole")["id"], "points": [list(place)], "is_of_file": True})
    assert utm.is_refusal
    assert words in utm.message
    answer = utm.do({"do": "check_draw", "points": [list(place)], "form": "point", "is_of_file": True})
    assert words in answer["refusal"]
    assert utm.draft.text == before


def test_degrees_keep_their_digits(tmp_path):
    """EPSG:4326 is longitude before latitude, to a hundred millionth of a degree."""
    text = SITE.replace("EPSG:32631", "EPSG:4326").replace("[560018.125, 4950020.75]", "[3.75, 44.7]")
    session = opened(tmp_path, text.partition("[[protect]]")[0])
    told = session.state()["site"]["coordinates"]
    assert (told["axes"], told["unit"], told["digits"]) == (["longitude", "latitude"], "\u00b0", 8)
    id_ = thing(session, "pole")["id"]
    session.do({"do": "move", "id": id_, "points": [[3.75000123, 44.69998765]], "is_of_file": True})
    assert "at = [3.75000123, 44.69998765]" in session.draft.text
    session.do({"do": "move", "id": id_, "points": [[44.7, 3.75]], "is_of_file": True})
    assert "longitude comes before latitude" in session.message
    session.end()


def test_metres_of_the_file_are_told_for_what_they_are(page, levels_page):
    """Without a CRS there is nothing to choose, and the page says so."""
    for one in (page, levels_page):
        told = one.state["site"]["coordinates"]
        assert told["axes"] is None
        assert told["words"].startswith("The site file is in metres of its own")


def test_a_survey_lends_its_crs(tmp_path):
    """Where the site file names none, the page says whose coordinates are meant."""
    for name in ("demo.toml", "demo.laz"):
        shutil.copy(DATA / name, tmp_path)
    path = tmp_path / "demo.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r'\ncrs = "EPSG:\d+"[^\n]*', "", text, count=1), encoding="utf-8")
    session = Session(tmp_path, read_draft(path))
    told = session.state()["site"]["coordinates"]
    assert told["words"] == (
        "The site file names no CRS: its coordinates are in the survey's, WGS 84 / UTM zone 31N."
    )
    x, y = thing(session, "gate pole")["of_file"][0]
    id_ = thing(session, "gate pole")["id"]
    session.do({"do": "move", "id": id_, "points": [[x + 2000.0, y]], "is_of_file": True})
    assert "km from the survey" in session.message
    session.end()


def test_a_file_that_draws_is_told_when_it_changes(utm):
    """Told once; read anew the yard lies where it was moved to, and what was drawn here stays."""
    utm.do({"do": "draw", "kind": "mount", "points": [[-3, -3]], "name": "mine"})
    utm.tick()
    assert not utm.state()["site"]["is_stale"]
    (before,) = utm.site.terrain.protect
    write_yard(utm.folder, 5.0)
    assert utm.tick()
    told = utm.state()["site"]
    assert (told["is_stale"], told["changed_survey"], told["changed_layers"]) == (True, "", "yard.geojson")
    assert "yard.geojson was changed on disk" in utm.message
    assert not utm.tick()
    utm.do({"do": "keep_mine"})
    utm.tick()
    assert not utm.state()["site"]["is_stale"]
    assert utm.site.terrain.protect == (before,)
    write_yard(utm.folder, 7.0)
    utm.tick()
    utm.do({"do": "reread"})
    utm.tick()
    assert not utm.state()["site"]["is_stale"], utm.message
    (after,) = utm.site.terrain.protect
    assert after.outline[:, 1] - before.outline[:, 1] == pytest.approx(4.0, abs=0.01)
    assert thing(utm, "mine")
    (utm.folder / "yard.geojson").unlink()
    utm.tick()
    assert utm.state()["site"]["changed_layers"] == "yard.geojson"
    utm.do({"do": "reread"})
    assert utm.is_refusal


def test_a_tile_that_comes_later_is_told(folder, write_levels):
    """A folder of tiles is a survey: another file in it, or another of the same name, is another survey."""
    write_levels(0.0)
    (folder / "tiles").mkdir()
    (folder / "levels.csv").rename(folder / "tiles" / "one.csv")
    path = folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("plane = { fall = 10, towards = 180, extent = 30 }", 'file = "tiles/*.csv"'),
        encoding="utf-8",
    )
    session = Session(folder, read_draft(path))
    session.tick()
    assert not session.is_stale
    rows = [f"{x},{y},0" for x in range(40, 61, 2) for y in range(-10, 11, 2)]
    (folder / "tiles" / "two.csv").write_text("\n".join(["x,y,z", *rows]), encoding="utf-8")
    session.tick()
    assert session.state()["site"]["changed_survey"] == "two.csv"
    session.do({"do": "keep_mine"})
    session.tick()
    assert not session.is_stale
    session.end()


def test_places_in_the_degrees_of_a_survey_are_written_to_the_millimetre(tmp_path):
    """Its site file names no CRS: a place drawn comes back where it was drawn, to 8 decimals (1.1 mm)."""
    steps = np.arange(60)
    z = 100 + 0.1 * steps[:, None] + 0 * steps
    write_tif(tmp_path / "survey.tif", z, from_origin(3.757, 44.7012, 1e-5, 1e-5), crs="EPSG:4326")
    text = '[site]\nname = "slope"\n[ground]\nfile = "survey.tif"\n'
    (tmp_path / "site.toml").write_text(
        f'{text}[[mount]]\nname = "pole"\nat = [3.7573, 44.7009]\n', encoding="utf-8"
    )
    session = Session(tmp_path, read_draft(tmp_path / "site.toml"))
    try:
        session.do({"do": "draw", "kind": "mark", "points": [[1.234, -2.345]], "name": "post"})
        assert not session.is_refusal, session.message
        (mark,) = session.draft.get(("mark",))
        x, y = session.site.terrain.frame.to_local(*map(np.array, mark["at"]), session.site.site_crs)
        assert (float(x), float(y)) == pytest.approx((1.234, -2.345), abs=2e-3)
    finally:
        session.end()
