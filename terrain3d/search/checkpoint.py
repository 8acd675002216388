"""Finished mounts kept on disk, so that a search that was stopped goes on where it was."""

import hashlib
import os
import re
import tempfile
import zipfile
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain3d import __version__
from terrain3d.errors import InputError
from terrain3d.search.judge import Judged
from terrain3d.search.settings import Space
from terrain3d.search.target import Target
from terrain3d.terrain import Mount, Terrain

#: Tells in a folder which inputs its files are for.
_INPUTS, _INPUTS_SAID = "inputs.sha256", re.compile(r"[0-9a-f]{64}")
#: What the files of finished mounts are called.
_NAME = re.compile(r"[0-9a-f]{32}\.npz")
#: And what is left of one where a run was killed while it wrote it.
_UNFINISHED = re.compile(r"\.unfinished-[a-z0-9_]{8}")


def checkpoint_folder(out: Path) -> Path:
    """Where the finished mounts of a search are kept: beside its results.

    >>> checkpoint_folder(Path("work/out")).name
    'out.judged'

    >>> checkpoint_folder(Path("work/deep/..")).name
    'work.judged'
    """
    if out.name in ("", ".."):  # a place without a name of its own, such as `.`
        out = Path(os.path.normpath(out.absolute()))
    return out.with_name(f"{out.name}.judged") if out.name else out / "judged"


def inputs_digest(terrain: Terrain, space: Space, target: Target) -> str:
    """One number for all that the settings of a mount depend on, but for the mount itself."""
    ground, solids, leaves = terrain.ground, terrain.solids, terrain.foliage
    digest = hashlib.sha256(f"terrain3d {__version__}, judged 3".encode())
    for detector_type in space.detector_types:
        digest.update(detector_type.model_dump_json().encode())
    lattices = (ground.x0, ground.y0, ground.cell_m, leaves.x0, leaves.y0, leaves.cell_m, leaves.step_m)
    settings = (
        space.bearing_step_deg, space.tilts_deg, space.ranges_m, space.tilt_slip_deg, space.labels,
        space.masks, space.mask_nuisances,
    )  # fmt: skip
    kept_out_m = [height_m for height_m, _ in target.keep_out]
    digest.update(
        repr((lattices, settings, target.figure_height_m, target.animal_m, kept_out_m, target.whole)).encode()
    )
    arrays: list[NDArray[Any]] = [
        ground.z, solids.vertices, solids.triangles, leaves.column, leaves.base_z, leaves.above,
        target.cells, target.weight, *(cells for _, cells in target.keep_out),
    ]  # fmt: skip
    for array in arrays:
        digest.update(repr((array.shape, array.dtype.str)).encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


class Checkpoint:
    """The folder of finished mounts.

    Parameters
    ----------
    folder : Path
    inputs : str
        From `inputs_digest`; files of other inputs are thrown away.
    anew : bool
        Throw away all of them.

    One run at a time may have it: what another has not finished would be taken for left behind.

    Attributes
    ----------
    outdated : bool
        Whether there were files of other inputs.

    Raises
    ------
    InputError
        When the folder cannot be written, or a file of the user's is in the way.
    """

    def __init__(self, folder: Path, inputs: str, anew: bool = False) -> None:
        self.folder = folder
        self._inputs = inputs
        said = folder / _INPUTS
        try:
            folder.mkdir(parents=True, exist_ok=True)
            before = said.read_text(encoding="utf-8", errors="replace") if said.is_file() else None
            if before is not None and not _INPUTS_SAID.fullmatch(before):
                raise InputError(
                    "this file was not written by terrain3d, and would be overwritten",
                    str(said),
                    "move it away, or name another folder with --out",
                )
            self.outdated = before is not None and before != inputs
            for path in folder.glob(".unfinished-*"):
                if _UNFINISHED.fullmatch(path.name) and path.is_file() and not path.is_symlink():
                    path.unlink()
            if anew or before != inputs:
                for path in folder.glob("*.npz"):
                    # What has another name is not ours.
                    if _NAME.fullmatch(path.name):
                        path.unlink()
            _write(said, inputs.encode())
        except OSError as error:
            raise _unwritable(folder, error) from None

    def load(self, mount: Mount) -> Judged | None:
        """What was judged of a mount; None where it was not, or its file is broken."""
        try:
            with self._path(mount).open("rb") as opened, np.load(opened, allow_pickle=False) as file:
                values = {field.name: file[field.name] for field in fields(Judged)}
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return None
        return Judged(**{**values, "mount": str(values["mount"]), "n_settings": int(values["n_settings"])})

    def save(self, mount: Mount, judged: Judged) -> None:
        """Keep what was judged of a mount, whole or not at all."""
        path = self._path(mount)
        try:
            handle, name = tempfile.mkstemp(prefix=".unfinished-", dir=self.folder)
            try:
                with os.fdopen(handle, "wb") as file:
                    np.savez(file, **{field.name: getattr(judged, field.name) for field in fields(Judged)})
                Path(name).replace(path)
            except BaseException:
                Path(name).unlink(missing_ok=True)
                raise
        except OSError as error:
            raise _unwritable(self.folder, error) from None

    def _path(self, mount: Mount) -> Path:
        digest = hashlib.sha256(f"{self._inputs} {mount!r}".encode()).hexdigest()
        return self.folder / f"{digest[:32]}.npz"


def _write(path: Path, content: bytes) -> None:
    beside = path.with_name(f".{path.name}.unfinished")
    beside.write_bytes(content)
    beside.replace(path)


def _unwritable(folder: Path, error: OSError) -> InputError:
    return InputError(
        f"what is judged cannot be kept: {error.strerror}",
        str(folder),
        "name a folder you may write beside with --out",
    )
