"""The order of steps, from a site file to an outcome; computes nothing itself."""

from dataclasses import dataclass

from terrain3d.cover.verdict import Codes
from terrain3d.detector.figures import Figure
from terrain3d.detector.pose import Detector
from terrain3d.terrain import Terrain


@dataclass(frozen=True)
class ProtectedResult:
    """How much of one protected area an option holds with both layers."""

    name: str
    area_m2: float
    both_fraction: float
    weight: float


@dataclass(frozen=True)
class OptionResult:
    """One option, judged.

    `verdicts` is (ny, nx) on the ground's grid, row 0 the southernmost, codes of `Verdict` with
    255 where no ground is known. `area_m2` is keyed by VERDICT_KEYS; `causes` by layer, then by
    cause, in m2.
    """

    name: str
    detectors: tuple[Detector, ...]
    verdicts: Codes
    area_m2: dict[str, float]
    protect: tuple[ProtectedResult, ...]
    causes: dict[str, dict[str, float]]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Outcome:
    """All options of a site judged and ranked, best first by name."""

    site_name: str
    terrain: Terrain
    figure: Figure
    options: tuple[OptionResult, ...]
    ranking: tuple[str, ...]
    why: str
