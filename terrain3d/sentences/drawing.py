"""What is said to whoever draws a site by hand: what to do next, what was done, what was kept."""

from collections.abc import Sequence
from pathlib import Path

from terrain3d.wording import counted, fit, listed


def next_step(has_mount: bool, has_area: bool, has_unit: bool) -> str:
    """What is to be done next on a site that is begun; empty where all that a verdict needs is there.

    >>> next_step(False, False, False)
    'Draw a mount: a pole or a place on a wall where a unit can be fixed.'
    >>> next_step(True, True, True)
    ''
    """
    if not has_mount:
        return "Draw a mount: a pole or a place on a wall where a unit can be fixed."
    if not has_area:
        return "Draw the ground that must be held: protected ground."
    if not has_unit:
        return "Put a unit on a mount: the ground then shows what it holds."
    return ""


def no_unit_yet() -> str:
    """Of an option without units."""
    return "No unit yet: put one on a mount."


def saved_words(path: Path, changes: Sequence[str], before: Path | None) -> str:
    """What a save did.

    >>> saved_words(Path("site.toml"), ("mount 'pole': added",), Path("site.toml.before"))
    'Saved in site.toml: 1 change; the file as it was is site.toml.before'
    """
    told = f"Saved in {path.name}: {counted(len(changes), 'change')}" if changes else f"Saved in {path.name}"
    return told if before is None else f"{told}; the file as it was is {before.name}"


def brought_back(count: int, is_file_changed: bool) -> str:
    """Of unsaved work that a session before left.

    >>> brought_back(2, False)
    'Unsaved work was brought back: 2 changes'
    """
    told = f"Unsaved work was brought back: {counted(count, 'change')}"
    return f"{told}; the file was changed meanwhile" if is_file_changed else told


def fault_words(error: Exception) -> str:
    """What is said of a fault of ours in something that was to be done by hand.

    >>> fault_words(ZeroDivisionError("division by zero"))
    'a fault in the program: ZeroDivisionError: division by zero; all is as it was before, and you can go on'
    """
    told = fit(f"{type(error).__name__}: {error}".removesuffix(": "))
    return f"a fault in the program: {told}; all is as it was before, and you can go on"


def survey_changed(names: Sequence[str]) -> str:
    """Of files of a survey that somebody wrote since they were read.

    >>> survey_changed(["hill.laz"])
    'hill.laz was changed on disk: read it again, or keep what was read'
    """
    told = listed(names)
    return (
        f"{told} {'was' if len(names) == 1 else 'were'} changed on disk: read it again, or keep what was read"
    )


def left_words(unsaved: Sequence[str]) -> str:
    """What is left as it is when the page's server ends.

    >>> left_words(())
    'everything is saved'
    >>> left_words(["a mount added"])
    'not saved: a mount added; it is kept, and comes back when the site is opened again'
    """
    if not unsaved:
        return "everything is saved"
    return f"not saved: {'; '.join(unsaved)}; it is kept, and comes back when the site is opened again"
