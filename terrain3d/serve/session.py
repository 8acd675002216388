"""What a page is about: one site that is drawn, set and asked, and what is told of it.

Everything here runs on one thread, which owns the graphics. `do` takes a message of the page, `state` is all
that the page shows beside the picture, `frame` the picture where it changed.
"""

from typing import Any

from terrain3d.draft.saving import is_stale
from terrain3d.errors import InputError, in_a_line
from terrain3d.sentences.drawing import files_changed
from terrain3d.serve import aiming, asking, drawing, keeping, shown, viewing, working
from terrain3d.serve.bounds import check_message
from terrain3d.serve.page_site import PageSite, in_its_units
from terrain3d.wording import listed

_ACTIONS = {
    **aiming.ACTIONS,
    **asking.ACTIONS,
    **drawing.ACTIONS,
    **keeping.ACTIONS,
    **viewing.ACTIONS,
    **working.ACTIONS,
}


class Session(PageSite):
    """One site on one page, as the server calls it."""

    @in_its_units
    def do(self, message: Any) -> dict[str, Any] | None:
        """Do what the page asks; what cannot be done is said, and nothing is changed.

        A fault of the program is said too, and printed for whoever mends it; what was changed before it came
        is put back.

        Returns
        -------
        dict or None
            An answer to whoever asked.
        """
        before = self._standing()
        try:
            told = check_message(message)
            action = _ACTIONS.get(told["do"])
            if action is None:
                raise InputError(f"there is nothing called {told['do']!r} to do", mend="load the page again")
            return action(self, told)
        except InputError as error:
            self.say(in_a_line(error), True)
        except Exception as error:  # noqa: BLE001  one order must not end what a person has open
            self._go_back(before, error)
        return None

    @in_its_units
    def state(self) -> dict[str, Any]:
        """All that the page shows beside the picture."""
        return shown.state_of(self)

    @in_its_units
    def picture(self, name: str) -> tuple[bytes, str] | None:
        """A picture beside the views by its name, and its kind; None where there is none now."""
        if self.window is None:
            return None
        if name == "still":
            return asking.picture_of(self, name)
        version = self.beside()
        kept = self._packed.get(name)
        if kept is None or kept[0] != version:
            kept = (version, asking.picture_of(self, name))
            self._packed[name] = kept
        return kept[1]

    @in_its_units
    def tick(self) -> bool:
        """Look after what goes on beside: work, unsaved changes, and the file on disk.

        Returns
        -------
        bool
            Whether the state may be another than it was.
        """
        news = self.work.poll()
        if self.history is None:
            return True  # the folder may have something else to begin with
        if news is not None:
            before = self._standing()
            try:
                working.take_news(self, news)
            except InputError as error:
                self.say(in_a_line(error), True)
            except Exception as error:  # noqa: BLE001  nor must what comes of work
                self._go_back(before, error)
        before_it = self.is_stale, self.changed_survey, self.changed_layers
        survey, layers = (
            ((), ()) if self.live is None else (self.live.changed_survey, self.live.changed_layers)
        )
        if (survey or layers) and not self.is_stale:
            self.say(files_changed([path.name for path in (*survey, *layers)]), True)
        is_file_stale = is_stale(self.history)
        self.changed_survey, self.changed_layers = (
            "" if is_file_stale else listed([path.name for path in changed]) for changed in (survey, layers)
        )
        self.is_stale = bool(survey or layers) or is_file_stale
        if self._is_journal_due:
            try:
                self.keep_journal()
            except InputError as error:
                self.say(in_a_line(error), True)
        is_told, self._has_news = self._has_news or news is not None, False
        return is_told or before_it != (self.is_stale, self.changed_survey, self.changed_layers)
