"""A pack made once of a site whose names are meant to break files, and a small one in local metres."""

import json
import shutil
from collections.abc import Collection
from pathlib import Path

import pytest
from packed import LOCAL, STRANGE, Packed
from site_files import EVERYTHING, option_text, written

from terrain3d.job import run
from terrain3d.pack.names import KINDS
from terrain3d.pack.write import write_pack
from terrain3d.study import study_of


def _packed(folder: Path, text: str, kinds: Collection[str]) -> Packed:
    study = study_of(run(written(folder, text)), draws=2)
    out = folder / "pack"
    write_pack(study, out, kinds)
    copy = shutil.copytree(out, folder / "copy")
    return Packed(study, out, copy, json.loads((out / "results.json").read_text(encoding="utf-8")))


@pytest.fixture(scope="session")
def strange(tmp_path_factory) -> Packed:
    """On earth, with strange names in every field."""
    return _packed(tmp_path_factory.mktemp("strange"), STRANGE, KINDS)


@pytest.fixture(scope="session")
def local(tmp_path_factory) -> Packed:
    """In local metres, two options, plain names."""
    text = EVERYTHING + option_text("north") + option_text("north, nose up", tilt=-3)
    return _packed(tmp_path_factory.mktemp("local"), text, LOCAL)
