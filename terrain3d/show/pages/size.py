"""What a page is made for: a screen or a sheet of paper, and the scales that go with paper."""

from dataclasses import dataclass

#: A page is laid out on a grid of this many pixels; finer pages draw the same layout with more of them.
WIDTH_PX, HEIGHT_PX, DPI = 1600, 1132, 160
#: Dots per inch of a printed page (common practice, no source).
PRINT_DPI = 300
#: Denominators of the scales of a printed drawing, as scale rulers carry them (common practice, no source).
SCALES = (10, 20, 25, 50, 75, 100, 125, 200, 250, 300, 400, 500, 750, 1000, 1250, 2000, 2500, 5000, 10000)


@dataclass(frozen=True)
class Size:
    """A page's size.

    Parameters
    ----------
    name : str
        As a person names it.
    width_px, height_px : int
    width_mm : float or None
        Of the paper; None for a screen.
    """

    name: str
    width_px: int
    height_px: int
    width_mm: float | None = None

    @property
    def fineness(self) -> float:
        """Pixels of the file for one of the layout."""
        return self.width_px / WIDTH_PX

    @property
    def dots_an_inch(self) -> int:
        """Dots of the file for an inch: of the paper, or of the layout on a screen."""
        return DPI if self.width_mm is None else PRINT_DPI

    def paper_m(self, share: float) -> float:
        """Metres of paper of a share of the page's width; the page must be paper."""
        assert self.width_mm is not None
        return share * self.width_mm / 1000


#: ISO 216: A4 is 210 x 297 mm, A3 297 x 420 mm; here lying.
SIZES = {
    "screen": Size("screen", WIDTH_PX, HEIGHT_PX),
    "a4": Size("A4", round(297 / 25.4 * PRINT_DPI), round(210 / 25.4 * PRINT_DPI), 297.0),
    "a3": Size("A3", round(420 / 25.4 * PRINT_DPI), round(297 / 25.4 * PRINT_DPI), 420.0),
}
SCREEN = SIZES["screen"]


def scale_for(ground_m: tuple[float, float], paper_m: tuple[float, float]) -> int:
    """Denominator of the largest scale at which a piece of ground fits on a piece of paper.

    Parameters
    ----------
    ground_m, paper_m : (width, height)

    Examples
    --------
    >>> scale_for((40.0, 36.0), (0.19, 0.15))        # 1:250 is 16 cm by 14.4 cm
    250
    """
    needed = max(ground / paper for ground, paper in zip(ground_m, paper_m, strict=True))
    return next((scale for scale in SCALES if scale >= needed * (1 - 1e-9)), SCALES[-1])


def scale_words(scale: int, size: Size) -> str:
    """A scale as a page states it.

    >>> scale_words(250, SIZES["a4"])
    '1:250 on A4'
    """
    return f"1:{scale} on {size.name}"
