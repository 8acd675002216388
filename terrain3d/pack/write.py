"""A pack, whole or not at all: every file made beside its place, then all moved into it in one step."""

import json
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pyproj

from terrain3d.apart import end_waiting
from terrain3d.cover.option import OptionResult
from terrain3d.errors import InputError
from terrain3d.fixing.unit import UnitFixing, option_fixing
from terrain3d.frame import Frame
from terrain3d.job import Outcome
from terrain3d.lengths import lengths_in, units
from terrain3d.opened import Progress
from terrain3d.pack.dxf import dxf_bytes, metric_crs
from terrain3d.pack.geojson import geojson_text
from terrain3d.pack.geopackage import write_geopackage
from terrain3d.pack.glb import glb_bytes
from terrain3d.pack.kml import kml_bytes
from terrain3d.pack.layers import Layer, layers_of, site_crs
from terrain3d.pack.meshes import Hillside, hillside
from terrain3d.pack.names import CONTENTS, GEOJSON, KINDS, RESULTS, TABLES, kind_of
from terrain3d.pack.report import report_of
from terrain3d.pack.scene import scene_html
from terrain3d.pack.sheets import csv_bytes, xlsx_bytes
from terrain3d.pack.svg import svg_bytes
from terrain3d.pack.tables import tables_of
from terrain3d.paper.fixing import fixing_values
from terrain3d.paper.folder import STILLS
from terrain3d.paper.ours import is_folder, ours
from terrain3d.paper.rasters import leaves_tif, option_tifs, verdicts_tif
from terrain3d.paper.results import json_text
from terrain3d.paper.study import study_rasters, study_values
from terrain3d.paper.walktest import plan_values
from terrain3d.paper.whole import whole_folder, writing_to
from terrain3d.readers.crs import crs_words
from terrain3d.sentences.pack import contents_text, drawing_notes
from terrain3d.show.libraries import hand_back_memory
from terrain3d.study import Study
from terrain3d.typeset.pages import pdf
from terrain3d.walktest.plan import WalkTest, plan_walks


@dataclass(frozen=True, eq=False)
class Pack:
    """What the files of a pack are made of; each part is worked out when the first file needs it."""

    study: Study
    tell: Progress

    @property
    def outcome(self) -> Outcome:
        return self.study.outcome

    @property
    def frame(self) -> Frame:
        return self.outcome.terrain.frame

    @cached_property
    def crs(self) -> pyproj.CRS | None:
        site = self.outcome.site
        return site_crs(site.file, Path() if site.path is None else site.path.parent)

    @property
    def best(self) -> OptionResult:
        return self.outcome.option(self.outcome.ranking[0])

    @cached_property
    def fixing(self) -> tuple[UnitFixing, ...]:
        """What the units of the best option are fixed by."""
        self.tell("looking along each unit", 0.0)
        try:
            return option_fixing(self.outcome, self.best.name, self.crs, self.outcome.site.file.site.date)
        except InputError:
            # No magnetic model covers the day of the site: what a compass shows stays out, as without a day.
            return option_fixing(self.outcome, self.best.name, self.crs, None)

    @cached_property
    def walks(self) -> WalkTest | None:
        """The walk test of the best option; None where nobody could walk."""
        try:
            return plan_walks(self.outcome, self.best.name, self.tell)
        except InputError:
            return None

    @cached_property
    def results(self) -> str:
        document = study_values(self.study)
        best = next(option for option in document["options"] if option["name"] == self.best.name)
        best["fixing"] = fixing_values(self.outcome, self.fixing)
        if self.walks is not None:
            best["walktest"] = plan_values(self.outcome, self.walks)
        return json_text(document)

    @cached_property
    def layers(self) -> tuple[Layer, ...]:
        return layers_of(self.study, self.walks)

    @cached_property
    def hillside(self) -> Hillside:
        """With contours that are round in the units of whoever reads."""
        return hillside(self.study)

    @cached_property
    def hillside_in_metres(self) -> Hillside:
        """The same as data."""
        if units() == "m":
            return self.hillside
        with lengths_in("m"):
            return hillside(self.study)


def write_pack(
    study: Study,
    out: Path,
    kinds: Collection[str],
    progress: Progress | None = None,
    waiting: Callable[[], object] | None = None,
) -> list[Path]:
    """Write a pack.

    Files of an earlier pack that are not made anew stay where the results are to the byte those that stood
    there, and go away in the same step otherwise: none is left that shows other numbers.

    Parameters
    ----------
    study : Study
        With every part.
    out : Path
    kinds : collection of str
        Of `KINDS`.
    progress : callable, optional
        Told what is being made, and how far it is.
    waiting : callable, optional
        Called once, before this waits for another run that writes there.

    Returns
    -------
    list of Path
        Pictures of earlier runs in `out`, where the results are others than those that stood there.

    Raises
    ------
    InputError
        When there is no option, something of the user's is in the way (nothing has been changed then), or
        `out` cannot be written.
    """
    if not study.outcome.options:
        raise InputError("there is no option to pack", mend="add an [[option]] to the site file")
    tell = progress or (lambda _step, _fraction: None)
    pack = Pack(study, tell)
    with writing_to(out, waiting):
        is_same = _content(out / RESULTS) == pack.results.encode()
        there = [path.relative_to(out) for path in _ours_in(out)]
        kept = [path for path in there if is_same and (kind := kind_of(path)) and kind not in kinds]

        def is_outdated(path: Path) -> bool:
            return kind_of(path) is not None and path not in kept

        with whole_folder(out, is_outdated) as scratch:
            _make(pack, scratch, kinds, kept, tell)
        return [*ours(out / STILLS)] if is_folder(out / STILLS) and not is_same else []


def _make(pack: Pack, scratch: Path, kinds: Collection[str], kept: list[Path], tell: Progress) -> None:
    """Every file, and the list of them with those that stay."""
    asked = [kind for kind in KINDS if kind in kinds]
    # All that is read has been.
    end_waiting()
    hand_back_memory()
    for number, kind in enumerate(asked):
        tell(f"packing: {kind}", number / len(asked))
        _MAKERS[kind](pack, scratch)
    made = [path.relative_to(scratch) for path in scratch.rglob("*") if path.is_file()]
    (scratch / RESULTS).write_text(pack.results, encoding="utf-8")
    listed = {kind: [path for path in (*made, *kept) if kind_of(path) == kind] for kind in KINDS}
    text = contents_text(pack.outcome, {**listed, "results": [Path(RESULTS)]})
    (scratch / CONTENTS).write_text(text, encoding="utf-8")


def _ours_in(out: Path) -> Iterable[Path]:
    """The files in a folder and in those of a pack that this program wrote."""
    for folder in (out, out / GEOJSON, out / TABLES):
        if is_folder(folder):
            yield from ours(folder)


def _content(path: Path) -> bytes:
    return path.read_bytes() if path.is_file() else b""


def _report(pack: Pack, folder: Path) -> None:
    report = report_of(pack.study)
    hand_back_memory()
    (folder / "report.pdf").write_bytes(pdf("report", report.data, report.pictures))


def _scene(pack: Pack, folder: Path) -> None:
    (folder / "scene.html").write_text(scene_html(pack.study, pack.hillside), encoding="utf-8")


def _plan(pack: Pack, folder: Path) -> None:
    (folder / "plan.svg").write_bytes(svg_bytes(pack.outcome, pack.layers, pack.best))


@lengths_in("m")
def _drawing(pack: Pack, folder: Path) -> None:
    crs = metric_crs(pack.crs)
    named = None if crs is None else pack.outcome.site.file.site.crs or crs_words(crs)
    notes = drawing_notes(pack.outcome, named)
    (folder / "plan.dxf").write_bytes(dxf_bytes(pack.layers, notes, pack.frame, crs))


def _model(pack: Pack, folder: Path) -> None:
    (folder / "scene.glb").write_bytes(glb_bytes(pack.hillside_in_metres, pack.best.name))


def _map(pack: Pack, folder: Path) -> None:
    write_geopackage(folder / "site.gpkg", pack.layers, pack.frame, pack.crs)


def _geojson(pack: Pack, folder: Path) -> None:
    (folder / GEOJSON).mkdir()
    for layer in pack.layers:
        path = folder / GEOJSON / f"{layer.name}.geojson"
        path.write_text(geojson_text(layer, pack.frame), encoding="utf-8")


def _kml(pack: Pack, folder: Path) -> None:
    (folder / "site.kml").write_bytes(kml_bytes(pack.outcome.site_name, pack.layers, pack.frame))


def _tables(pack: Pack, folder: Path) -> None:
    document: Mapping[str, Any] = json.loads(pack.results)
    tables = tables_of(document, _places(pack))
    (folder / "tables.xlsx").write_bytes(xlsx_bytes(pack.outcome.site_name, tables))
    (folder / TABLES).mkdir()
    for table in tables:
        (folder / TABLES / f"{table.name.replace(' ', '-')}.csv").write_bytes(csv_bytes(table))


def _places(pack: Pack) -> dict[tuple[str, str], tuple[float, float]]:
    """Where each unit is in the site's own coordinates: metres to a millimetre, degrees likewise."""
    digits = 8 if pack.crs is not None and pack.crs.is_geographic else 3
    places = {}
    for option in pack.outcome.options:
        for unit in option.detectors:
            x, y = pack.frame.from_local(unit.x, unit.y, pack.crs)
            places[option.name, unit.name] = (round(float(x), digits), round(float(y), digits))
    return places


def _rasters(pack: Pack, folder: Path) -> None:
    maps = {"verdicts.tif": verdicts_tif(pack.outcome), **option_tifs(pack.outcome)}
    if len(pack.outcome.terrain.foliage.base_z):
        maps["leaves.tif"] = leaves_tif(pack.outcome)
    for name, content in (maps | study_rasters(pack.study)).items():
        (folder / name).write_bytes(content)


_MAKERS: Mapping[str, Callable[[Pack, Path], None]] = {
    "report": _report,
    "scene": _scene,
    "plan": _plan,
    "drawing": _drawing,
    "model": _model,
    "map": _map,
    "geojson": _geojson,
    "kml": _kml,
    "tables": _tables,
    "rasters": _rasters,
}
