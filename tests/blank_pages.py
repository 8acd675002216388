"""Pages that hold their own names, for tests of which pages there are and not of what they show."""

import pytest

from terrain3d.show.pages import drawing

#: The same for a process that a test starts: to be run before its command.
IN_A_PROCESS = """
from terrain3d.show.pages import drawing
drawing._draw = lambda page, folder: (folder / page.file).write_text(page[0])
"""


def draw_blanks(patch: pytest.MonkeyPatch) -> None:
    """From now on a page is a file with its own name in it, and all are made by this process."""
    patch.setattr(drawing, "_cores", lambda: 1)
    patch.setattr(drawing, "_draw", lambda page, folder: (folder / page.file).write_text(page[0]))
