"""What every answer of a search says of what was asked."""

from dataclasses import dataclass

from terrain3d.detector.figures import Figure
from terrain3d.opened import OpenedSite
from terrain3d.search.best import Limits
from terrain3d.search.settings import Space
from terrain3d.terrain import Terrain


@dataclass(frozen=True, eq=False)
class Searched:
    """The site, what was tried, and within which limits; `settings_judged` and `n_mounts` count it."""

    site: OpenedSite
    space: Space
    limits: Limits
    settings_judged: int
    n_mounts: int

    @property
    def terrain(self) -> Terrain:
        return self.site.terrain

    @property
    def figure(self) -> Figure:
        return self.site.figure

    @property
    def seed(self) -> int:
        return self.site.file.site.seed
