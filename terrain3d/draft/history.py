"""The changes of a draft, one after the other: taken back and made again without end, saving in between."""

import codecs
import copy
from dataclasses import replace
from pathlib import Path
from typing import Any

from terrain3d.draft.changes import changes_between
from terrain3d.draft.document import Draft, draft_of
from terrain3d.errors import InputError


class History:
    """The draft that is worked on, with those before it and those taken back.

    Parameters
    ----------
    draft : Draft
        As it begins.
    as_read : bytes
        Its file as it was when it was read; empty where there is none. What is saved must still stand there.

    Examples
    --------
    >>> from terrain3d.draft.document import edited
    >>> history = History(draft_of(b"[site]\\nname = 'x'\\n", None), b"[site]\\nname = 'x'\\n")
    >>> history.push(edited(history.draft, ("site", "name"), "y"), "rename the site")
    >>> history.draft.name, history.undo_label, history.unsaved
    ('y', 'rename the site', ('[site]: name y (was x)',))
    >>> history.take_back(), history.draft.name, history.redo_label
    (True, 'x', 'rename the site')
    """

    def __init__(self, draft: Draft, as_read: bytes = b"") -> None:
        self._draft = draft
        self._past: list[tuple[Draft, str]] = []
        self._future: list[tuple[Draft, str]] = []
        self._is_open = False
        self._set_read(as_read)

    @property
    def as_read(self) -> bytes:
        """The file as it was when it was read or saved."""
        return self._as_read

    @property
    def read_tables(self) -> dict[str, Any]:
        """What it said."""
        return self._read_tables

    @property
    def draft(self) -> Draft:
        return self._draft

    @property
    def undo_label(self) -> str | None:
        """What would be taken back; None where there is nothing."""
        return self._past[-1][1] if self._past else None

    @property
    def redo_label(self) -> str | None:
        """What would be made again; None where there is nothing."""
        return self._future[-1][1] if self._future else None

    @property
    def is_saved(self) -> bool:
        """Whether the file says what the draft says, to the byte."""
        return self._draft.path is not None and self._draft.content == self.as_read

    @property
    def unsaved(self) -> tuple[str, ...]:
        """What differs from the file as it was read, in words."""
        if self.is_saved:
            return ()
        return changes_between(self.read_tables, self._draft.tables)

    def copied(self) -> "History":
        """Another one that stands where this one does: what is done to one does nothing to the other."""
        other = copy.copy(self)
        other._past, other._future = [*self._past], [*self._future]
        return other

    def push(self, draft: Draft, label: str, is_same: bool = False) -> None:
        """Go on to a changed draft.

        Parameters
        ----------
        draft : Draft
        label : str
            What the change is, as it would be taken back.
        is_same : bool
            Goes on with the change before, as while something is dragged: taken back in one.
        """
        if draft.layout == self._draft.layout:
            return
        if not (is_same and self._is_open and self._past and self._past[-1][1] == label):
            self._past.append((self._draft, label))
        self._future.clear()
        self._draft, self._is_open = self._here(draft), True

    def take_back(self) -> bool:
        """Go back to the draft before the last change; False where there is none."""
        return self._step(self._past, self._future)

    def redo(self) -> bool:
        """Make the change that was taken back last again; False where there is none."""
        return self._step(self._future, self._past)

    def saved(self, path: Path, content: bytes) -> None:
        """Note that the draft stands in a file now; what was done before can still be taken back."""
        self._set_read(content)
        self._draft = replace(self._draft, path=path, folder=path.parent)

    def reread(self, content: bytes, label: str = "read the file again") -> None:
        """Go on to what stands on disk now: one more change, which can be taken back.

        Raises
        ------
        InputError
            Where that is not TOML; the draft stays.
        """
        read = draft_of(content, self._draft.path, self._draft.folder)
        self.push(read, label)
        self._set_read(content)

    def lend_degrees(self, has_lent_degrees: bool) -> None:
        """Note whether the survey of now lends the draft longitude and latitude for its coordinates."""
        self._draft = replace(self._draft, has_lent_degrees=has_lent_degrees)

    def keep_mine(self, content: bytes) -> None:
        """Go on with the draft although its file now says something else: saving takes that one's place."""
        self._set_read(content)

    def _set_read(self, content: bytes) -> None:
        """Take what a file says for what was read; the next change is one of its own."""
        self._as_read, self._is_open = content, False
        if content:
            self._draft = replace(self._draft, has_mark=content.startswith(codecs.BOM_UTF8))
        try:
            self._read_tables: dict[str, Any] = draft_of(content, None).tables
        except InputError:  # somebody broke it, and it is to be replaced
            self._read_tables = {}

    def _here(self, draft: Draft) -> Draft:
        """A draft of whatever time as a draft of the file of now."""
        now = self._draft
        return replace(draft, path=now.path, folder=now.folder, has_mark=now.has_mark)

    def _step(self, source: list[tuple[Draft, str]], target: list[tuple[Draft, str]]) -> bool:
        if not source:
            return False
        draft, label = source.pop()
        target.append((self._draft, label))
        self._draft, self._is_open = self._here(draft), False
        return True
