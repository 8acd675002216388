"""One door to every survey file: look at what it is, then hand it to the reader of its format."""

from pathlib import Path

from terrain3d.site import GroundSource
from terrain3d.survey.source import Box, Cloud, Header, Progress, Raster, Surface


def read_header(path: Path, ground: GroundSource) -> Header:
    """What is known of a survey without reading its points."""
    from terrain3d.survey.points import las_header

    return las_header(path, ground)


def read_survey(
    path: Path, header: Header, box: Box | None, progress: Progress | None = None
) -> Cloud | Raster | Surface:
    """Read the part of a survey inside `box` (all of it where None)."""
    from terrain3d.survey.points import read_las

    return read_las(path, header, box, progress)
