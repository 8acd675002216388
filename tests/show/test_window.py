"""The window: what keys do, and what is said where there is no display."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from terrain3d.errors import InputError
from terrain3d.show import window
from terrain3d.show.panel import WIDTH_PX, draw_panel


@pytest.fixture
def view(outcome):
    """A view without a window, closed at the end."""
    drawn = window.View(outcome, off_screen=True)
    yield drawn
    drawn.plotter.close()


def pixels(path):
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


def picture(view):
    return view.plotter.screenshot(None, return_img=True)


def test_no_display_names_the_other_way(outcome, monkeypatch):
    """Without a display the person is told so, and pointed to the pictures."""
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(InputError, match=r"there is no display(.|\n)*terrain3d stills"):
        window.open_window(outcome)


def test_switching_options_goes_round(view, outcome):
    """Right and left step through the options and come round; the picture changes with them."""
    first = picture(view)
    view.step(1)
    assert view.option == 1
    second = picture(view)
    assert not np.array_equal(first, second)
    view.step(1)
    assert view.option == 0
    assert np.array_equal(picture(view), first)
    view.step(-1)
    assert view.option == len(outcome.options) - 1


def test_layers_and_foliage_go_and_come_back(view):
    """A group that is switched off is gone from the picture, and comes back as it was."""
    whole = picture(view)
    for group in ("layers", "foliage"):
        view.toggle(group)
        without = picture(view)
        assert (without != whole).any(axis=-1).sum() > 500
        view.toggle(group)
        assert np.array_equal(picture(view), whole)


def test_hidden_layers_stay_hidden_in_the_next_option(view):
    """What is off stays off when the option changes."""
    view.toggle("layers")
    view.step(1)
    assert not any(actor.GetVisibility() for actors in view._actors for actor in actors["layers"])


def test_two_options_share_one_camera(view):
    """Compared options are both drawn, and turning one turns the other."""
    view.compare()
    assert view.shown == (1, 0)
    left, right = view.plotter.renderers[1], view.plotter.renderers[2]
    assert left.GetDraw()
    assert right.GetDraw()
    left.camera.position = (10.0, -40.0, 60.0)
    assert right.camera.position == pytest.approx((10.0, -40.0, 60.0))
    view.reset_camera()
    assert left.camera.position != pytest.approx((10.0, -40.0, 60.0))
    view.compare()
    assert view.shown == (0,)
    assert not view.plotter.renderers[2].GetDraw()


def test_panel_lists_the_keys_and_fits(outcome):
    """The column is as high as asked, has ink, and differs between options."""
    one = draw_panel(outcome, outcome.options[:1], window.KEYS, 900)
    two = draw_panel(outcome, outcome.options, window.KEYS, 900)
    assert one.shape == two.shape == (900, WIDTH_PX, 3)
    assert (one < 128).any()
    assert not np.array_equal(one, two)
    assert draw_panel(outcome, outcome.options, window.KEYS, 250).shape == (250, WIDTH_PX, 3)


IN_A_REAL_WINDOW = """
import sys
sys.path.insert(0, sys.argv[1])
from scenes import slope_outcome
from terrain3d.show.window import View

view = View(slope_outcome())
view.plotter.show(interactive=False, auto_close=False)
assert "EGL" not in view.plotter.render_window.GetClassName()
view.plotter.screenshot(sys.argv[2])
interactor = view.plotter.iren.interactor
def press(key):
    interactor.SetKeySym(key)
    interactor.InvokeEvent("KeyPressEvent")
press("Right")
assert view.option == 1
press("l")
assert view.hidden == {"layers"}
press("f")
assert view.hidden == {"layers", "foliage"}
press("c")
assert view.shown == (0, 1)
press("r")
view.plotter.screenshot(sys.argv[3])
view.plotter.close()
"""


@pytest.mark.skipif(shutil.which("Xvfb") is None, reason="Xvfb is not installed")
def test_keys_in_a_real_window(tmp_path):
    """On a display a window opens, its keys do what the column says, and it closes."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1600x1000x24"],
        pass_fds=[write],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        with os.fdopen(read) as told:
            display = f":{told.readline().strip()}"
        shots = [str(tmp_path / name) for name in ("first.png", "second.png")]
        done = subprocess.run(
            [sys.executable, "-c", IN_A_REAL_WINDOW, str(Path(__file__).parent), *shots],
            env={**os.environ, "DISPLAY": display},
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        first, second = (pixels(shot) for shot in shots)
        assert len(np.unique(first.reshape(-1, 3), axis=0)) > 100
        assert not np.array_equal(first, second)
    finally:
        server.terminate()
        server.wait()


def test_a_display_that_does_not_answer_is_no_display():
    """A display that is named yet not there ends in the same message, not in a hanging window."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from scenes import slope_outcome\n"
        "from terrain3d.errors import InputError\n"
        "from terrain3d.show.window import open_window\n"
        "try:\n    open_window(slope_outcome())\n"
        "except InputError as error:\n    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(Path(__file__).parent)],
        env={**os.environ, "DISPLAY": ":4711"},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert "there is no display" in done.stdout, done.stderr
