"""Workbook and text as openpyxl and csv read them: numbers are numbers, names are never formulas."""

import csv
import json

import openpyxl
import pytest
from packed import NAMES
from site_files import SLOPE, option_text, written

from terrain3d.job import run
from terrain3d.pack.tables import tables_of
from terrain3d.paper.results import results_json


@pytest.fixture(scope="module")
def book(strange):
    return openpyxl.load_workbook(strange.folder / "tables.xlsx")


def rows(sheet) -> list[dict]:
    header, *body = sheet.iter_rows(values_only=True)
    return [dict(zip(header, values, strict=True)) for values in body]


def test_no_cell_is_a_formula_or_a_link(book):
    kinds = {cell.data_type for sheet in book for line in sheet.iter_rows() for cell in line}
    assert kinds <= {"s", "n"}  # `n` is an empty cell too
    assert not [cell for sheet in book for line in sheet.iter_rows() for cell in line if cell.hyperlink]


def test_the_numbers_of_the_options_are_those_of_the_results(book, strange):
    found = rows(book["options"])
    assert [row["option"] for row in found] == strange.document["ranking"]
    for row in found:
        told = strange.option(row["option"])
        assert row["held of protected ground (share, 0 to 1)"] == told["protected_share"]
        assert row["both layers (m2)"] == told["area_m2"]["both"]
        assert row["dead ground (m2)"] == told["area_m2"]["dead"]
        assert isinstance(row["upper only (m2)"], (int, float))


def test_what_is_told_of_areas_and_causes_adds_up(book, strange):
    """Every row of results.json is a row of its sheet."""
    for name in strange.document["ranking"]:
        option = strange.option(name)
        causes = {
            (row["layer"], row["cause"]): row["area (m2)"]
            for row in rows(book["causes"])
            if row["option"] == name
        }
        assert causes == {
            (layer, cause): area_m2 for layer, by in option["causes"].items() for cause, area_m2 in by.items()
        }
        lost = [
            (row["cause"], row["thing"], row["area not held (m2)"])
            for row in rows(book["not held"])
            if row["option"] == name
        ]
        assert lost == [
            (loss["cause"], loss["name"], loss["area_m2"])
            for part in option["protect"]
            for loss in part["lost_to"]
        ]
        (walk,) = [row for row in rows(book["walks"]) if row["option"] == name]
        assert walk["walk"] == NAMES["walk"]
        assert walk["in words"] == option["walks"]["paths"][0]["words"]


def test_units_stand_in_the_coordinates_of_the_site_file(book):
    places = {
        row["mount"]: (row["easting (site CRS)"], row["northing (site CRS)"]) for row in rows(book["units"])
    }
    assert places == {NAMES["pole"]: (560000, 4949996), NAMES["post"]: (559994, 4950003)}


def test_text_files_hold_the_same_and_guard_against_formulas(book, strange):
    """A name that begins as a formula has an apostrophe before it; numbers stay numbers."""
    for sheet in book.worksheets[1:]:
        path = strange.folder / "tables" / f"{sheet.title.replace(' ', '-')}.csv"
        header, *body = csv.reader(path.read_text(encoding="utf-8-sig").splitlines())
        assert header == list(next(sheet.iter_rows(values_only=True)))
        for told, line in zip(body, sheet.iter_rows(min_row=2, values_only=True), strict=True):
            for text, value in zip(told, line, strict=True):
                if isinstance(value, (int, float)):
                    assert float(text) == value
                else:
                    assert not text.startswith(("=", "+", "-", "@"))
                    assert text.removeprefix("'") == (value or "").removeprefix("'")


def test_units_are_in_the_headers(book):
    """Whatever holds numbers says in what, but for counts, numbers on a sheet, weights and money."""
    plain = {"place", "pulses", "weight", "price", "number", "pieces"}
    for sheet in book.worksheets[1:]:
        for column in sheet.iter_cols(values_only=True):
            if any(isinstance(value, (int, float)) for value in column[1:]):
                assert "(" in column[0] or column[0] in plain, (sheet.title, column[0])


def test_what_the_best_option_is_fixed_and_walked_by(book, strange):
    """Row by row what results.json says; it is said of the best option alone."""
    best = strange.option(strange.document["ranking"][0])
    fixed = rows(book["fixing"])
    assert [(row["option"], row["unit"]) for row in fixed] == [
        (best["name"], one["name"]) for one in best["fixing"]
    ]
    assert [row["over a level (mm)"] for row in fixed] == [one["level_mm"] for one in best["fixing"]]
    tapes = [[*one["tapes"], {}, {}][:2] for one in best["fixing"]]
    assert [row["taped from"] for row in fixed] == [one.get("name") for one, _ in tapes]
    assert [row["second tape (m, along the slope)"] for row in fixed] == [
        two.get("tape_m") for _, two in tapes
    ]
    assert [row["looks beside"] for row in fixed] == [
        (one["mark"] or {}).get("name") for one in best["fixing"]
    ]
    walked = rows(book["walk test"])
    assert [(row["number"], row["expected"]) for row in walked] == [
        (point["number"], point["expect"]) for point in best["walktest"]["points"]
    ]


def test_how_an_option_is_fed(tmp_path):
    """The voltage at the end of 120 m of 0.5 mm2: copper of 36 ohm a km a core (IEC 60228, class 2 at 20 °C),
    both ways, at 40 °C (1 + 0.00393 x 20), by Ohm's law."""
    supply = '[supply]\nvolts = 12\n[[supply.run]]\nto = "pole"\nlength = 120\nmm2 = 0.5\nprice = 0.5\n'
    outcome = run(written(tmp_path, SLOPE + supply + option_text("fed")))
    (unit,) = outcome.options[0].detectors
    document = json.loads(results_json(outcome))
    tables = {one.name: one for one in tables_of(document, {("fed", unit.name): (0.0, -9.0)})}
    (fed,) = (dict(zip(tables["supply"].headers, row, strict=True)) for row in tables["supply"].rows)
    drop_v = 2 * 0.036 * 120 * (1 + 0.00393 * 20) * unit.type.supply.milliamps / 1000
    assert fed["in alarm (V)"] == pytest.approx(12 - drop_v, abs=0.01)
    (run_,) = (dict(zip(tables["cables"].headers, row, strict=True)) for row in tables["cables"].rows)
    assert (run_["from"], run_["to"], run_["length (m)"]) == ("panel", "pole", 120.0)
    assert {row[2]: row[-1] for row in tables["materials"].rows}["cable of 0.5 mm², class 2"] == 60.0
