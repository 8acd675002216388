"""Names beside marks meet neither each other nor what is taken, and stay on the picture."""

from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from terrain3d.show.pages.on_picture import Label, boxes_meet, place_labels

places = st.lists(
    st.tuples(st.floats(-20, 420), st.floats(-20, 320), st.text("abc", min_size=1, max_size=25)), max_size=14
)


@settings(max_examples=25, deadline=None)
@given(places)
def test_labels_never_meet(marks):
    """Whatever the marks, placed names are apart from each other and inside the picture."""
    figure = Figure(figsize=(5, 4), dpi=100)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
    taken = Bbox.from_extents(60, 50, 160, 100)
    boxes = place_labels(axes, [Label(text, x, y) for x, y, text in marks], [taken])
    frame = axes.get_window_extent()
    assert len(axes.texts) == len(boxes)
    assert not any(boxes_meet(a, b) for a, b in combinations([*boxes, taken], 2))
    assert all(frame.x0 < box.x0 and box.x1 < frame.x1 for box in boxes)
    for text, box in zip(axes.texts, boxes, strict=True):
        drawn = text.get_window_extent()
        assert drawn.x0 >= box.x0
        assert drawn.y1 <= box.y1
