"""The pictures themselves: what they show, that they repeat, and that no name breaks them."""

import pickle
import re
from dataclasses import replace

import numpy as np
import pytest
from blank_pages import draw_blanks
from page_checks import check_texts
from PIL import Image
from scenes import flat_ground, option, unit
from test_drape import pixels_of

from terrain3d.cli import options
from terrain3d.cover.verdict import VERDICT_KEYS, Verdict
from terrain3d.errors import InputError
from terrain3d.frame import site_frame
from terrain3d.job import Outcome
from terrain3d.opened import site_of
from terrain3d.sentences.warnings import option_warnings
from terrain3d.sentences.why import why
from terrain3d.show.extent import site_extent
from terrain3d.show.lettering import has_glyph, page_style, printable
from terrain3d.show.pages import column, outlook, section, sheet
from terrain3d.show.pages import stills as stills_room
from terrain3d.show.pages.context import Lines, PageContext
from terrain3d.show.pages.names import ASKED_KINDS, FIRST_KINDS, KINDS, PART_KINDS
from terrain3d.show.pages.page_of import page_of
from terrain3d.show.pages.plan import draw_plan
from terrain3d.show.pages.section import section_sheet
from terrain3d.show.pages.size import SIZES
from terrain3d.show.pages.stills import write_stills
from terrain3d.terrain import Area, Foliage, Mount, Solids, Terrain

#: Names that a file might bring: paths, mark-up, formulas, control characters, other scripts, length.
BAD_NAMES = [
    "../../etc/passwd",
    # Read as a formula this one is an error.
    "$x^2 \\nosuch{1}$ and more",
    "<b>bold</b> & more",
    "n" * 200,
    "word " * 40,
    "line\nbreak\ttab\x00\x1b[31m",
    "\u4e2d\u6587 \u0627\u0644",
    "$",
]


def shown(path):
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


def facts(path):
    """What a picture file says of itself: its size, and the names of its notes."""
    with Image.open(path) as image:
        return image.size, set(image.info)


def patchwork():
    """Level ground with the five verdicts as squares of known size around a unit."""
    ground = flat_ground(40.0)
    terrain = Terrain(
        site_frame(None, 0, 0), ground, Solids.none(), Foliage.none(), (Mount("pole", 0.0, -6.0),), ()
    )
    codes = np.zeros(ground.z.shape, np.uint8)
    x, y = np.meshgrid(ground.xs, ground.ys)
    for code, west, south, east, north in (
        (Verdict.BOTH, -6, 0, 0, 5),
        (Verdict.UPPER_ONLY, 0, 0, 4, 5),
        (Verdict.LOWER_ONLY, 4, 0, 6, 5),
        (Verdict.DEAD, -6, -4, -1, 0),
    ):
        codes[(x > west) & (x < east) & (y > south) & (y < north)] = code
    base = option(terrain, "patches", (unit(terrain, "D1", "pole", "one-head-90", 0.0),))
    areas = {VERDICT_KEYS[v]: float((codes == v).sum()) * ground.cell_m**2 for v in Verdict}
    patches = replace(base, verdicts=codes, area_m2=areas)
    return Outcome(site_of(terrain, "patchwork"), (patches,), ("patches",))


def test_plan_shows_each_verdict_at_its_share_and_at_scale(tmp_path):
    """Pixels of each verdict colour, by the plan's own scale, are the areas of the verdicts within 6 %."""
    outcome = patchwork()
    (plan,) = write_stills(PageContext(outcome), tmp_path, ("plan",))
    image = shown(plan)
    # The legend's swatches and bars lie right of the picture.
    picture = image[:, : round(sheet.COLUMN_LEFT * sheet.WIDTH_PX)]
    extent = site_extent(outcome, sheet.PICTURE_ASPECT)
    picture_px = sheet.PICTURE[2] * sheet.WIDTH_PX, sheet.PICTURE[3] * sheet.HEIGHT_PX
    px_per_m = min(picture_px[0] / extent.width_m, picture_px[1] / extent.depth_m)
    areas = outcome.options[0].area_m2
    drawn = {
        v: pixels_of(picture, v).sum() / px_per_m**2
        for v in (Verdict.BOTH, Verdict.UPPER_ONLY, Verdict.LOWER_ONLY, Verdict.DEAD)
    }
    for verdict, area_m2 in drawn.items():
        # Grid, sector and mark cover a few pixels of each.
        assert area_m2 == pytest.approx(areas[VERDICT_KEYS[verdict]], rel=0.06), verdict
    shares = np.array(list(drawn.values())) / sum(drawn.values())
    truth = np.array([areas[VERDICT_KEYS[v]] for v in drawn])
    assert shares == pytest.approx(truth / truth.sum(), abs=0.01)


def test_plan_is_north_up_and_east_right(tmp_path):
    """What lies north-west is drawn upper left, what lies south-west lower left."""
    (plan,) = write_stills(PageContext(patchwork()), tmp_path, ("plan",))
    image = shown(plan)[:, : round(sheet.COLUMN_LEFT * sheet.WIDTH_PX)]
    middle = {
        v: np.argwhere(pixels_of(image, v)).mean(axis=0)
        for v in (Verdict.BOTH, Verdict.LOWER_ONLY, Verdict.DEAD)
    }
    assert middle[Verdict.BOTH][0] < middle[Verdict.DEAD][0]
    assert middle[Verdict.BOTH][1] < middle[Verdict.LOWER_ONLY][1]


def test_oblique_shows_each_verdict(stills):
    """The oblique view has ground of every verdict that the option has, in a hue near its colour."""
    image = shown(named(stills, "01-oblique"))[200:900, :1100].astype(int)
    red, green, blue = image[..., 0], image[..., 1], image[..., 2]
    assert ((blue - red > 60) & (green > 120)).sum() > 20_000
    assert ((red - green > 50) & (blue < 90) & (green < 60)).sum() > 200
    assert ((blue - green > 30) & (red - green > 15) & (red < 150)).sum() > 1000


def test_same_input_same_bytes(outcome, stills, tmp_path, monkeypatch):
    """Drawing again gives the same files, byte for byte, without dates or versions inside.

    Of the kinds that no other command draws: `test_same_bytes` of the command line looks at the others.
    """
    monkeypatch.setattr(sheet.Sheet, "number", lambda page, *_: page)
    again = write_stills(PageContext(outcome), tmp_path, set(KINDS) - set(FIRST_KINDS))
    first = {path.name: path for path in stills}
    assert len(again) == 6
    for second in again:
        assert first[second.name].read_bytes() == second.read_bytes()
    assert all(facts(path)[1] <= {"dpi"} for path in stills)


def test_a_context_goes_to_another_process_as_it_was_given(outcome):
    """What was worked out for earlier pages stays behind: some of it cannot go to another process."""
    context = PageContext(outcome, date="1 May")
    assert context.base.extent is not None
    assert context.reach is context.reach
    again = pickle.loads(pickle.dumps(context))
    assert (again.date, again.outcome.site_name) == ("1 May", outcome.site_name)
    assert not {"base", "reach"} & set(vars(again))


def named(stills, start):
    """The one picture whose file name starts so."""
    (path,) = [path for path in stills if path.name.startswith(start)]
    return path


def test_every_option_has_its_pictures(stills):
    """All kinds of every option, a section for each head, and five pages of all; 1600 pixels wide."""
    assert [re.sub(r"-(house|north)-.*|\.png", "", path.name) for path in stills] == [
        "00-client",
        "00-contact",
        "00-side-by-side",
        "00-survey",
        "00-warnings",
        "01-oblique",
        "01-outlook",
        "01-plan",
        "01-section-1",
        "01-section-2",
        "02-against",
        "02-oblique",
        "02-outlook-1",
        "02-outlook-2",
        "02-plan",
        "02-section-1",
        "02-section-2",
    ]
    assert {facts(path)[0] for path in stills} == {(sheet.WIDTH_PX, sheet.HEIGHT_PX)}


def test_the_command_offers_what_can_be_drawn():
    """Every kind that is named can be drawn; the command line's own list of sizes is that of the room."""
    assert list(stills_room._PAGES) == [
        *KINDS,
        *ASKED_KINDS,
        *(kind for kinds in PART_KINDS.values() for kind in kinds),
    ]
    assert set(options.SIZES) == set(SIZES)


def test_only_the_kinds_asked_for_are_drawn(outcome, tmp_path, monkeypatch):
    """Asked for outlooks alone, nothing else is written."""
    draw_blanks(monkeypatch)
    drawn = write_stills(PageContext(outcome), tmp_path, ("outlook",))
    assert [path.name[:10] for path in drawn] == ["01-outlook", "02-outlook", "02-outlook"]
    assert sorted(tmp_path.iterdir()) == drawn


@pytest.mark.usefixtures("coarse_ground")
def test_one_page_as_a_figure(outcome):
    """A page for a notebook is the page that is written; what there is not is refused in words."""
    figure = page_of(outcome, "section", outcome.options[0].name, 2)
    said = " ".join(text.get_text() for text in figure.texts)
    assert "D1, head 2 of 2" in said
    assert "All options" in [text.get_text() for text in page_of(outcome, "contact").texts]
    with pytest.raises(InputError, match=r"no page of kind 'plans'(.|\n)*there are client, contact, "):
        page_of(outcome, "plans")
    with pytest.raises(InputError, match=r"has 2 pages of kind 'section', and no page 3"):
        page_of(outcome, "section", outcome.options[0].name, 3)


def titles_of(monkeypatch, outcome, folder, kinds, lines):
    """File names and what each page says that it shows, without the drawing."""
    said = []

    def title(context, option, unit, *more):
        said.append((option.name, unit.name, more[0] if more else None))
        return option_page(context.outcome, option)

    monkeypatch.setattr(sheet.Sheet, "save", lambda _page, path: path.touch())
    monkeypatch.setattr(section, "section_sheet", title)
    monkeypatch.setattr(outlook, "outlook_sheet", title)
    drawn = write_stills(PageContext(outcome, lines=lines), folder, kinds)
    return [path.stem for path in drawn], said


def option_page(outcome, option):
    return column.option_sheet(PageContext(outcome), option, "plan", site_extent(outcome))


def test_every_unit_has_its_section_and_its_outlook(outcome, tmp_path, monkeypatch):
    """Each unit of an option, and each head of a unit, is cut along its facing and looks around."""
    names, said = titles_of(monkeypatch, outcome, tmp_path, ("section", "outlook"), Lines())
    assert len(names) == 7
    one, two = (option.name for option in outcome.options)
    assert said == [
        (one, "D1", 90.0), (one, "D1", 180.0), (two, "D1", 195.0), (two, "D2", 140.0),
        (one, "D1", None), (two, "D1", None), (two, "D2", None),
    ]  # fmt: skip


def test_a_unit_and_a_bearing_of_ones_own(outcome, tmp_path, monkeypatch):
    """Asked for one unit and one bearing, there is one section along it wherever that unit stands."""
    lines = Lines(("D2",), -20.0)
    names, said = titles_of(monkeypatch, outcome, tmp_path, ("section",), lines)
    assert said == [(outcome.options[1].name, "D2", 340.0)]
    assert names[0].startswith("02-section-north-pole")
    with pytest.raises(InputError, match=r"no option has a unit 'D7'(.|\n)*give one of 'D1', 'D2'"):
        write_stills(PageContext(outcome, lines=Lines(("D7",))), tmp_path)


@pytest.mark.usefixtures("coarse_ground")
def test_a_section_away_from_the_unit_says_so(outcome, tmp_path):
    """Behind the unit the cut is drawn as well, and the page names its bearing."""
    (path,) = write_stills(PageContext(outcome, lines=Lines(("D2",), 320.0)), tmp_path, ("section",))
    assert facts(path)[0] == (sheet.WIDTH_PX, sheet.HEIGHT_PX)
    option = outcome.options[1]
    with page_style():
        page = section_sheet(PageContext(outcome), option, option.detectors[1], 320.0, "D2")
        said = " ".join(text.get_text() for text in page.figure.texts)
        check_texts(page)
    assert "section from D2, bearing 320" in said
    assert "outside" in said


def test_progress_ends_at_the_whole(tmp_path, monkeypatch):
    """Progress is told as a share of the pages and ends at one."""
    draw_blanks(monkeypatch)
    told = []
    write_stills(PageContext(patchwork()), tmp_path, ("plan", "outlook"), told.append)
    assert told == [0.5, 1.0]


def with_bad_names(outcome):
    """The same site with every name from a file replaced by a bad one."""
    bad = BAD_NAMES
    options = tuple(
        replace(
            one,
            name=bad[k],
            units=tuple(
                replace(u, unit=replace(u.unit, name=bad[k + 2], mount=bad[k + 1])) for u in one.units
            ),
            protect=tuple(replace(p, name=bad[k + 3]) for p in one.protect),
        )
        for k, one in enumerate(outcome.options)
    )
    terrain = replace(
        outcome.terrain,
        protect=tuple(Area(bad[k], a.outline) for k, a in enumerate(outcome.terrain.protect)),
        mounts=tuple(replace(m, name=bad[k + 3]) for k, m in enumerate(outcome.terrain.mounts)),
        solids=replace(outcome.terrain.solids, names=tuple(bad[: len(outcome.terrain.solids.names)])),
        doubts=tuple(bad),
    )
    return replace(
        outcome,
        site=site_of(terrain, bad[3] + bad[1]),
        options=options,
        ranking=tuple(one.name for one in options),
    )


@pytest.mark.usefixtures("coarse_ground", "seen_once")
def test_bad_names_are_data(outcome, tmp_path, monkeypatch):
    """Paths, mark-up, formulas and endless names become file names of plain letters in the folder.

    Every text is set as it is for a picture; only the picture itself is not painted.
    """

    def save(page, path):
        page.figure.draw_without_rendering()
        path.touch()

    monkeypatch.setattr(sheet.Sheet, "save", save)
    hostile = with_bad_names(outcome)
    folder = tmp_path / "stills"
    folder.mkdir()
    drawn = write_stills(PageContext(hostile), folder)
    assert sorted(tmp_path.iterdir()) == [folder]
    assert sorted(folder.iterdir()) == sorted(drawn)
    assert all(re.fullmatch(r"\d\d-[a-z0-9-]{1,60}\.png", path.name) for path in drawn)
    assert len(set(drawn)) == 17


@pytest.mark.usefixtures("coarse_ground")
@pytest.mark.parametrize("hostile", [False, True])
def test_no_text_leaves_the_page_or_covers_other_text(outcome, hostile):
    """Every line of text lies on the page, and none runs into another, whatever the names."""
    drawn = with_bad_names(outcome) if hostile else outcome
    extent = site_extent(drawn, sheet.PICTURE_ASPECT)
    with page_style():
        context = PageContext(drawn)
        for one in drawn.options:
            page = column.option_sheet(context, one, "plan, north up", extent)
            draw_plan(page, drawn, one, context.base)
            check_texts(page)


@pytest.mark.usefixtures("coarse_ground")
def test_caution_and_warnings_are_on_the_page(outcome):
    """Every page carries the caution, the option's warnings and the survey's doubts."""
    extent = site_extent(outcome)
    with page_style():
        page = column.option_sheet(PageContext(outcome), outcome.options[0], "plan", extent)
    said = " ".join(text.get_text() for text in page.figure.texts)
    assert "planning aid, not proof of detection" in said
    assert "walk-test every unit after fixing" in said
    warnings = option_warnings(outcome.options[0], outcome.terrain)
    assert set(warnings) > set(outcome.terrain.doubts)
    for warning in warnings:
        assert printable(warning, has_glyph) in said
    assert printable(why(outcome), has_glyph) in said


def test_many_warnings_end_in_a_pointer(outcome):
    """What does not fit in the column is counted, and the reader is told where it stands."""
    many = tuple(f"warning number {k} about something that takes its room on the page" for k in range(40))
    crowded = outcome.on(replace(outcome.terrain, doubts=many))
    with page_style():
        page = column.option_sheet(PageContext(crowded), crowded.options[0], "plan", site_extent(outcome))
    said = [text.get_text() for text in page.figure.texts]
    assert any(re.fullmatch(r"and \d+ more: see the page of warnings", line) for line in said)
