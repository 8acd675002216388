"""The pages of docs/: made from the code as it is, and the rules that they tell are those of the code."""

import importlib
import math
import re
import sys
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from terrain3d.conditions import heat, sun
from terrain3d.cover import wedges
from terrain3d.nuisance import animals, spill
from terrain3d.search import judge, run
from terrain3d.search.settings import Space
from terrain3d.sight import microwave
from terrain3d.site import LEAF_DENSITIES
from terrain3d.survey import above, build, dates, overlaid, shots
from terrain3d.terrain import LEAF_DB_PER_M
from terrain3d.uncertainty import error_field, tolerance
from terrain3d.walk import fans, ground, routes, track, ways_in

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def docs() -> ModuleType:
    """The script that writes what is made from the code."""
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        return importlib.import_module("write_docs")
    finally:
        sys.path.remove(str(ROOT / "scripts"))


@pytest.fixture(scope="module")
def guide() -> str:
    """Its text, every space one."""
    return re.sub(r"\s+", " ", (ROOT / "docs" / "guide.md").read_text(encoding="utf-8"))


def test_what_is_made_from_the_code_is_as_it_should_be(docs: ModuleType) -> None:
    """Whoever changes a key runs scripts/write_docs.py."""
    for path, text in docs.written().items():
        assert path.read_text(encoding="utf-8") == text, f"run scripts/write_docs.py: {path.name} is outdated"


def rows_of(page: str, mark: str) -> list[list[str]]:
    """The cells of the table between two marks, without its head."""
    lines = page.split(f"<!-- {mark} -->")[1].split(f"<!-- end {mark} -->")[0].strip().splitlines()
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines[2:]]


@pytest.mark.parametrize(("mark", "keys"), [("site keys", "site_rows"), ("type keys", "type_rows")])
def test_every_key_has_its_row_with_its_default(docs: ModuleType, mark: str, keys: str) -> None:
    """Read as TOML, what the page calls a default is the model's; each key has a meaning."""
    rows = rows_of((ROOT / "docs" / "guide.md").read_text(encoding="utf-8"), mark)
    known = getattr(docs, keys)()
    assert [row[0] for row in rows] == [f"`{table} {name}`".replace("` ", "`") for table, name, _ in known]
    for (name, default, _, _, meaning), (_, _, info) in zip(rows, known, strict=True):
        assert meaning, name
        assert (default == "needed") == info.is_required(), name
        if default.startswith("`"):
            told = tomllib.loads(f"x = {default.strip('`')}")["x"]
            assert (tuple(told) if isinstance(told, list) else told) == info.default, name
        elif default == "none":
            assert info.default in (None, ()), name


@pytest.mark.parametrize(("mark", "keys"), [("site keys", "site_rows"), ("type keys", "type_rows")])
def test_bounds_are_those_that_are_kept(docs: ModuleType, mark: str, keys: str) -> None:
    """A number at a bound is taken or refused as the page says, and one past it is refused."""
    rows = rows_of((ROOT / "docs" / "guide.md").read_text(encoding="utf-8"), mark)
    n_bounds = 0
    for (name, _, _, allowed, _), (_, _, info) in zip(rows, getattr(docs, keys)(), strict=True):
        for words, figure in re.findall(r"(more than|at least|less than|at most) (-?[\d.,]+)", allowed):
            bound, n_bounds = float(figure.rstrip(",").replace(",", "")), n_bounds + 1
            assert taken(info, bound) == words.startswith("at "), (name, words, figure)
            step = 1 if "whole" in allowed else 1e-6 * max(abs(bound), 1)
            past = bound - step if words in ("more than", "at least") else bound + step
            assert not taken(info, past), (name, words, figure)
    assert n_bounds >= 20


def taken(info: FieldInfo, number: float) -> bool:
    """Whether a key takes a number; one that is a list takes it as all of its entries."""
    whole: Any = int(number) if number == int(number) else number
    kind = TypeAdapter(Annotated[info.annotation, info])
    least = max((limit.min_length for limit in info.metadata if hasattr(limit, "min_length")), default=1)
    for value in (number, whole, (number,) * least, (number, number), (whole,), {"a name": number}):
        try:
            kind.validate_python(value)
        except ValidationError:
            continue
        return True
    return False


RULES = [
    f"Ground is read {build._AROUND_M:g} m past the reach of the units",
    f"lose {microwave.LEAF_MOST_DB:g} (1 - exp(-d g / {microwave.LEAF_MOST_DB:g})) dB one way",
    f"`microwave_db_per_m`, else {LEAF_DB_PER_M:g}",
    f"{10 ** (-microwave.leaf_loss_db(1.0, LEAF_DB_PER_M) / 20):.0%} of the range".replace("%", " %"),
    f"Told to a step of {track.STEP_M:g} m",
    f"every {fans.FAN_STEP_DEG:g} degrees of its arcs",
    f"from {fans.LEAD_IN_M:g} m past `max_range` to {fans.LAST_M:g} m, and {fans.ACROSS_M:g} m across",
    f'"More than {fans.NEAR_M:g} m from the unit"',
    f"between {ground.STEP_UP_M:g} m and the figure's head",
    f"are walked at {routes.SPEED_MPS:g} m/s",
    f"whose chances are alike to {100 * ways_in.ALIKE:g} %",
    {(2 / 3, 10.0): "**much shorter**: by a third, and by 10 m"}[(ways_in.MUCH_SHARE, ways_in.MUCH_M)],
    f"measured over {ground.STRIDE_M:g} m",
    f"broader than {wedges.MOST_DEG:g} degrees",
    f"your own figures lower than {animals.OWN_BELOW_M:g} m",
    {3: "from there to three times it"}[int(spill.FOLLOW_ON)],
    f"a vehicle ({spill.VEHICLE_M:g} m)",
    f"a figure {heat.REFERENCE_K:g} K over ground of {heat.REFERENCE_GROUND_C:g} °C",
    f"every {sun.STEP_MIN} minutes of a year",
    f"less than {100 * sun.LEAST_LIGHT:g} %",
    f"Where nothing states it, {error_field.ASSUMED_RMSE_M:g} m is taken",
    f"what stands higher than {above.STANDS_ABOVE_M:g} m over the ground",
    {(0.5, 0.25): "more than 0.5 m below its ground over more than a quarter of it"}[
        (overlaid.REFUSED_BELOW_M, overlaid.REFUSED_SHARE)
    ],
    f"ends more than {shots.CLOSES_M:g} m from where its mount or mark is drawn",
    f"differs by more than {shots.CLOSES_IN_HEIGHT_M:g} m from an earlier one",
    {365: "past a year"}[dates.OLD_DAYS],
    *(
        f'`"{word}"` is {density:g}{" m²/m³" * (word == "thin")}, '
        f"{'and a metre of it lets ' * (word == 'thin')}{math.exp(-density / 2):.0%}".replace("%", " %")
        for word, density in LEAF_DENSITIES.items()
    ),
    f"else {error_field.ASSUMED_RMSE_M:g}, as of quality level 2",
    f"before {100 * tolerance.LOSS:g} % of what the option holds is lost",
    f"Height is looked at to {tolerance.LIMITS['height']:g} m, bearing to {tolerance.LIMITS['bearing']:g}"
    f" degrees, tilt and roll to {tolerance.LIMITS['tilt']:g}",
    {1.0: "one degree of tilt"}[Space.tilt_slip_deg],
    f"with {100 * judge.SLACK_LOSS:g} % lost at most",
    f"as steep as the ground, {run.LEAST_TILT_DEG} to {run.MOST_TILT_DEG} each way",
    f"below {animals.OWN_BELOW_M:g} m it counts as an animal",
]


@pytest.mark.parametrize("rule", RULES)
def test_figures_of_the_guide_are_those_of_the_code(guide: str, rule: str) -> None:
    """A rule with a figure in it says the figure that is used."""
    assert rule in guide


def test_every_link_leads_somewhere(docs: ModuleType) -> None:
    """Pages and headings that pages name are there."""
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")]
    anchors = {
        page.resolve(): {
            docs.slug(line.lstrip("#").strip()) for line in page.read_text().splitlines() if line[:1] == "#"
        }
        for page in pages
    }
    for page in pages:
        for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
            file, _, anchor = target.partition("#")
            place = (page.parent / file).resolve() if file else page.resolve()
            assert place.exists(), f"{page.name}: {target}"
            assert not anchor or anchor in anchors[place], f"{page.name}: {target}"
