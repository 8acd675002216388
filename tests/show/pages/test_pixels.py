"""Images laid on pages dot by dot, and pages packed into files: nothing of a picture is lost on the way."""

import gc
from io import BytesIO

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from PIL import Image

from terrain3d.show.pages.packing import packed
from terrain3d.show.pages.pixels import lay_pixels
from terrain3d.show.pages.sheet import Sheet
from terrain3d.show.pages.size import SIZES

pictures = arrays(np.uint8, st.tuples(st.integers(1, 40), st.integers(1, 40), st.just(3)))


@settings(max_examples=40, deadline=None)
@given(pictures, st.sampled_from([160, 300]))
def test_a_packed_picture_is_read_as_it_was(picture, dots):
    """Pillow reads the same colours, and the dots per inch, from what is packed here."""
    with Image.open(BytesIO(packed(picture, dots))) as read:
        read.load()
        assert read.mode == "RGB"
        assert np.array_equal(np.asarray(read), picture)
        assert read.info["dpi"] == pytest.approx((dots, dots), abs=0.02)
        assert set(read.info) == {"dpi"}


def drawn(lay, size_px, place):
    """What a page of some dots shows once something is laid into a place on it."""
    figure = Figure(figsize=(size_px[0] / 100, size_px[1] / 100), dpi=100)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes(place)
    axes.set_axis_off()
    lay(axes)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3].copy()


@pytest.mark.parametrize("shape", [(7, 5), (60, 80), (333, 517)])
@pytest.mark.parametrize("view", [(0, 10, 0, 8), (2.3, 7.9, 1.1, 6.05)])
def test_pixels_lie_where_matplotlib_lays_them(shape, view):
    """Against `imshow` with the nearest pixel: the same dots, but those on an edge between two pixels.

    matplotlib takes 256ths of a dot there, and may be off by one of them.
    """
    rng = np.random.default_rng(3)
    picture = rng.integers(0, 256, (*shape, 3), np.uint8)
    whole = (0.0, 10.0, 0.0, 8.0)

    def ours(axes):
        axes.set(xlim=view[:2], ylim=view[2:])
        lay_pixels(axes, picture, whole, 1)

    def theirs(axes):
        axes.imshow(picture, extent=whole, origin="lower", aspect="auto", interpolation="nearest")
        axes.set(xlim=view[:2], ylim=view[2:])

    place = (0.1, 0.15, 0.73, 0.61)
    one, other = (drawn(lay, (401, 299), place) for lay in (ours, theirs))
    differs = (one != other).any(axis=-1)
    assert differs.mean() < 0.01
    # Whole rows and columns of dots, and no dot alone.
    rows, columns = differs.all(axis=1), differs.all(axis=0)
    inside = (other != 255).any(axis=-1)
    rows, columns = ((differs | ~inside).all(axis=axis) & inside.any(axis=axis) for axis in (1, 0))
    assert not (differs & ~rows[:, None] & ~columns).any()


@pytest.mark.parametrize("view", [(0, 10, 0, 8), (2.3, 7.9, 1.1, 6.05)])
def test_colours_run_as_matplotlib_has_them_run(view):
    """Against `imshow` between the middles of pixels: the same to two steps of 255."""
    picture = np.random.default_rng(3).integers(0, 256, (60, 80, 3), np.uint8)
    whole = (0.0, 10.0, 0.0, 8.0)

    def ours(axes):
        axes.set(xlim=view[:2], ylim=view[2:])
        lay_pixels(axes, picture, whole, 1, is_smooth=True)

    def theirs(axes):
        axes.imshow(picture, extent=whole, origin="lower", aspect="auto", interpolation="bilinear")
        axes.set(xlim=view[:2], ylim=view[2:])

    one, other = (drawn(lay, (801, 599), (0.1, 0.15, 0.73, 0.61)).astype(int) for lay in (ours, theirs))
    # matplotlib has the edge of the picture run out into what is around it.
    inside = np.s_[110:450, 100:650]
    assert np.percentile(np.abs(one - other)[inside], 99) <= 4
    assert np.abs(one - other)[inside].mean() < 1


def test_pages_of_one_size_are_drawn_onto_one(tmp_path):
    """What a page is drawn onto, 27 MB for A4, is there once, however many pages there were."""

    def count():
        gc.collect()
        # Of its type, for what only stands for another, which is gone, answers nothing.
        return sum(issubclass(type(one), RendererAgg) for one in gc.get_objects())

    pages = []
    for k in range(3):
        page = Sheet(SIZES["a4"])
        page.text(0.1, 0.1, f"page {k}", 9)
        page.save(tmp_path / f"{k}.png")
        pages.append(page)
        if k == 0:
            first = count()
    assert count() == first
    assert len({(tmp_path / f"{k}.png").read_bytes() for k in range(3)}) == 3


def test_what_is_clear_shows_what_is_under_it():
    """The fourth number of a pixel says whether it is drawn; the order of drawing is that of `zorder`."""
    clear = np.zeros((2, 2, 4), np.uint8)
    clear[0, 0] = 9, 8, 7, 255

    def lay(axes):
        axes.set(xlim=(0, 2), ylim=(0, 2))
        lay_pixels(axes, clear, (0, 2, 0, 2), 2)
        lay_pixels(axes, np.full((1, 1, 3), 50, np.uint8), (0, 2, 0, 2), 1)

    image = drawn(lay, (100, 100), (0, 0, 1, 1))
    assert (image[60:, :40] == [9, 8, 7]).all()  # row 0 is the lowest
    assert (image[:40] == 50).all()
    assert (image[60:, 60:] == 50).all()


@pytest.mark.parametrize(("size", "dots"), [("screen", 160), ("a4", 300)])
def test_a_page_has_the_dots_of_its_size(tmp_path, size, dots):
    """Every dot of it, and how many of them are an inch of its paper."""
    path = Sheet(SIZES[size]).save(tmp_path / "page.png")
    with Image.open(path) as page:
        assert page.size == (SIZES[size].width_px, SIZES[size].height_px)
        assert page.info["dpi"] == pytest.approx((dots, dots), abs=0.02)
