"""Types with a microwave, for tests."""

from pathlib import Path

from terrain3d.detector.types import DetectorType, load_type

#: The same with a text: `type_text` for a file beside a site file.
_TEXT = """
name = "with microwave"
nominal_height = 1.0
mount_height = [0.8, 1.2]
max_range = {max_range}
range_settings = [6, 12]
pulses = [1, 3]
alarm = "{alarm}"
[[head]]
arc = 90
layer = [{{ name = "upper", elevation = 0, thickness = 3, zones = 9 }}, {{ name = "lower", elevation = "range", thickness = 3, zones = 9 }}]
[microwave]
arc = {arc}
elevation = {elevation}
thickness = {thickness}
range = {range}
frequency_ghz = 10.525
needs = "{needs}"
slowest_mps = {slowest}
"""  # noqa: E501


def type_text(
    needs: str = "also",
    arc: float = 80.0,
    elevation: float = 0.0,
    thickness: float = 80.0,
    range_m: float = 10.0,
    slowest: float = 0.2,
    alarm: str = "all",
    max_range: float = 12.0,
) -> str:
    """A type as a file: one head of 90 degrees, and a lobe as given."""
    return _TEXT.format(
        needs=needs, arc=arc, elevation=elevation, thickness=thickness, range=range_m, slowest=slowest,
        alarm=alarm, max_range=max_range,
    )  # fmt: skip


def kind(folder: Path, **lobe) -> DetectorType:
    """The same as a type."""
    (folder / "microwave.toml").write_text(type_text(**lobe), encoding="utf-8")
    return load_type("microwave.toml", folder)
