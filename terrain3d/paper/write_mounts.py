"""Candidate mounts put into the site file, in the coordinates that it is drawn in."""

from pathlib import Path
from typing import Any

import pyproj

from terrain3d.frame import Frame
from terrain3d.paper.added_tables import entries, parsed, with_tables
from terrain3d.paper.mounts import site_place
from terrain3d.paper.site_file import rewrite, tried
from terrain3d.search.mounts import Proposal
from terrain3d.sentences.mounts import place_words


def write_mounts(
    path: Path, as_read: bytes, proposals: tuple[Proposal, ...], frame: Frame, crs: pyproj.CRS | None
) -> bytes:
    """Add proposed mounts to a site file, whole or not at all.

    Parameters
    ----------
    path : Path
    as_read : bytes
        The file as it was when it was read; it must not have changed since.
    proposals : tuple of Proposal
    frame : Frame
        The local frame that they are in.
    crs : pyproj.CRS or None
        Of the site file's coordinates; None where those are local metres.

    Returns
    -------
    bytes
        The file as it is now.

    Raises
    ------
    InputError
        When a name is taken, the file changed since it was read, may not be written, or is laid out so
        that no mount can be added. The file is then as it was.
    """
    tables = [(_table(proposal, frame, crs), f"proposed: {place_words(proposal)}") for proposal in proposals]
    return rewrite(path, as_read, lambda text: with_tables(text, "mount", tables, str(path)))


def check_takes_mounts(path: Path, as_read: bytes) -> None:
    """Refuse a site file into which no mount could be put, before any is proposed.

    Raises
    ------
    InputError
        As `write_mounts`.
    """

    def with_one_more(text: str) -> str:
        there = entries(parsed(text, str(path)), "mount", str(path))
        unused = "+".join(["one more", *(str(entry.get("name")) for entry in there)])
        return with_tables(text, "mount", [({"name": unused, "at": [0.0, 0.0]}, "")], str(path))

    tried(path, as_read, with_one_more)


def _table(proposal: Proposal, frame: Frame, crs: pyproj.CRS | None) -> dict[str, Any]:
    mount = proposal.mount
    at = list(site_place(mount, frame, crs))
    return {"name": mount.name, "at": at, "heights": list(mount.heights_m)}
