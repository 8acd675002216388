"""Sessions on a small site and on the demo, opened once a file of tests; what a page would send."""

import shutil
from pathlib import Path

import pytest

from terrain3d.draft.document import read_draft
from terrain3d.serve.session import Session

DATA = Path(__file__).parents[2] / "data"
#: A slope with two poles, a yard, a wall and a hedge, and two options.
SITE = """\
# Drawn by hand; what stands after a # is kept.
[site]
name = "slope"
cell = 0.5
[ground]
plane = { fall = 10, towards = 180, extent = 30 }

[[solid]]
name = "garden wall"    # of stone
path = [[-5, 4], [2, 4]]
height = 1.2
thickness = 0.3

[[foliage]]
name = "hedge"
outline = [[4, 2], [5, 2], [5, 6], [4, 6]]
height = 1.4
density = 2.0

[[mount]]
name = "low pole"
at = [0, 0]

[[mount]]
name = "side pole"
at = [8, 5]

[[protect]]
name = "yard"
outline = [[-4, 2], [4, 2], [4, 9], [-4, 9]]

[[walk]]
name = "across"
path = [[-9, 6], [9, 6]]

[[scenario]]
name = "without the hedge"
without = ["hedge"]

[[option]]
name = "from below"
[[option.detector]]
name = "D1"
mount = "low pole"
type = "one-head-90"
height = 1.0
bearing = 0
tilt = -6

[[option]]
name = "from the side"
[[option.detector]]
name = "D1"
mount = "side pole"
type = "two-head-180"
height = 1.0
bearing = 270
"""


class Page:
    """What a page does with a session: sends, and looks at what is shown."""

    def __init__(self, session: Session) -> None:
        self.session = session

    def __call__(self, do, **keys):
        return self.session.do({"do": do, **keys})

    @property
    def state(self):
        return self.session.state()

    @property
    def said(self):
        return self.state["said"]["text"]

    @property
    def text(self):
        return self.session.draft.text

    def thing(self, name):
        return next(one for one in self.state["things"] if one["name"] == name)

    def refuses(self, do, words, **keys):
        """Whether a message is refused in those words, with nothing changed by it."""
        before = self.text if self.session.history is not None else None
        self(do, **keys)
        said = self.state["said"]
        assert said["is_refusal"], said
        assert words in said["text"]
        assert before is None or self.text == before


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    return tmp_path


@pytest.fixture
def page(folder):
    """The small site, open."""
    session = Session(folder, read_draft(folder / "site.toml"))
    yield Page(session)
    session.end()


@pytest.fixture
def write_levels(tmp_path):
    """Writes spot levels of a slope, those north of y = 3 lifted by so many metres."""

    def write(lift_m):
        rows = [
            f"{x},{y},{0.05 * y + lift_m * (y > 3)}" for x in range(-30, 31, 2) for y in range(-30, 31, 2)
        ]
        (tmp_path / "levels.csv").write_text("\n".join(["x,y,z", *rows]), encoding="utf-8")

    return write


@pytest.fixture
def levels_page(folder, write_levels):
    """The small site on spot levels of a file, open."""
    write_levels(0.0)
    path = folder / "site.toml"
    text = SITE.replace("plane = { fall = 10, towards = 180, extent = 30 }", 'file = "levels.csv"')
    path.write_text(text, encoding="utf-8")
    session = Session(folder, read_draft(path))
    yield Page(session)
    session.end()


@pytest.fixture
def begin(request):
    """Begins a session on a folder, as a server that is started there anew does."""

    def begun(folder):
        session = Session(folder)
        request.addfinalizer(session.end)
        return Page(session)

    return begun


@pytest.fixture
def empty_page(tmp_path):
    """Nothing open yet."""
    session = Session(tmp_path)
    yield Page(session)
    session.end()


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo, open; tests of a file share it and leave it as it was."""
    folder = tmp_path_factory.mktemp("demo")
    for name in ("demo.toml", "demo.laz"):
        shutil.copy(DATA / name, folder)
    session = Session(folder, read_draft(folder / "demo.toml"))
    yield Page(session)
    session.end()
