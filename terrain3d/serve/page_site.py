"""One site of a page as it stands: what is drawn, chosen, set and shown, and what all changes of it share."""

import copy
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

from terrain3d.detector.pose import Detector
from terrain3d.draft.document import Draft, checked_draft
from terrain3d.draft.history import History
from terrain3d.draft.journal import keep
from terrain3d.draft.options import set_unit
from terrain3d.draft.things import things_of
from terrain3d.errors import InputError
from terrain3d.lengths import Units, lengths_in
from terrain3d.ready import Ready
from terrain3d.sentences.drawing import fault_words
from terrain3d.serve import settings
from terrain3d.serve.answers import Answer, Found
from terrain3d.serve.live_site import LiveSite, live_site
from terrain3d.serve.work import Progress, Work
from terrain3d.show.live.picture import Picture, ViewPlace
from terrain3d.show.live.state import WindowState
from terrain3d.study import Study

P = ParamSpec("P")
R = TypeVar("R")
S = TypeVar("S", bound="PageSite")


@dataclass(frozen=True, eq=False)
class Frame:
    """A picture for the page.

    Parameters
    ----------
    jpeg : bytes
    size : (width, height)
        Pixels.
    places : tuple of ViewPlace
    serial : int
        Counts the pictures.
    """

    jpeg: bytes
    size: tuple[int, int]
    places: tuple[ViewPlace, ...]
    serial: int

    @property
    def panes(self) -> list[dict[str, Any]]:
        """The views as plain values."""
        return [
            {
                "x": place.x, "y": place.y, "width": place.width, "height": place.height,
                "matrix": [float(v) for v in place.matrix.ravel()], "option": place.option,
            }
            for place in self.places
        ]  # fmt: skip


def in_its_units(call: Callable[Concatenate[S, P], R]) -> Callable[Concatenate[S, P], R]:
    """A method of a session within which lengths are told in the session's units."""

    @wraps(call)
    def told(session: S, /, *args: P.args, **kwargs: P.kwargs) -> R:
        with lengths_in(session.units):
            return call(session, *args, **kwargs)

    return told


class PageSite:
    """One site on one page.

    Parameters
    ----------
    folder : Path
        That was started in: nothing outside of it is opened or written.
    draft : Draft, optional
        To begin with.
    work : Work, optional
        What does the long jobs beside.
    tell : callable, optional
        Told what takes long, and how far it is.
    """

    def __init__(
        self,
        folder: Path,
        draft: Draft | None = None,
        work: Work | None = None,
        tell: Callable[[str, float], None] | None = None,
    ) -> None:
        self.folder = folder
        self._thread = threading.get_ident()
        self.work = work if work is not None else Work(folder)
        self.tell = tell or (lambda _step, _share: None)
        self.history: History | None = None
        self.live: LiveSite | None = None
        self.window: WindowState | None = None
        self.picture_: Picture | None = None
        self.chosen: str | None = None
        self.is_unit_chosen = False
        self.units: Units = "m"
        self.message, self.is_refusal = "", False
        self.is_stale = False
        # Names of files of its survey, and of those that draw its things, where they alone make it stale.
        self.changed_survey = self.changed_layers = ""
        self._serial, self._is_due = 0, False
        # Of a picture that a fault left half changed: what was hidden, whether in plan, whether hurried.
        self._put_back: tuple[set[str], bool, bool] | None = None
        self._has_news = False  # so that the page is told once more what it shows
        self.answer: Answer | None = None
        self.study: Study | None = None
        self.found: Found | None = None
        self.progress: Progress | None = None
        self._is_journal_due = False
        self._beside: tuple[Any, ...] = ()
        self.beside_version = self.stills = 0
        self._packed: dict[str, tuple[int, tuple[bytes, str] | None]] = {}
        self._unsaved: tuple[Draft | None, tuple[str, ...]] = (None, ())
        self.size: tuple[float, float] = (800.0, 560.0)
        if draft is not None:
            self.open_draft(draft)

    @in_its_units
    def frame(self) -> Frame | None:
        """The picture, where it changed since it was asked for last."""
        if self.picture_ is None or not self._is_due:
            return None
        self._is_due = False
        self._put_picture_back()
        self._serial += 1
        return Frame(self.picture_.jpeg(), self.picture_.size, self.picture_.places(), self._serial)

    def beside(self) -> int:
        """Counts what the pictures beside the views show: another number is another picture."""
        shows: tuple[Any, ...] = (
            self.live and self.live.terrain,
            self.unit,
            self.window and self.window.head_at,
            self.answer,
            self.units,
        )
        if self.chosen is not None and self.window is not None and self.history is not None:
            # A line that is chosen is cut: it may be drawn otherwise, and the option set otherwise.
            shows += (self.chosen, self.history.draft, self.window.option)
        is_fine = self.picture_ is not None and not self.picture_.is_hurried
        if (*shows, is_fine) != self._beside:
            self._beside = (*shows, is_fine)
            self.beside_version += 1
        return self.beside_version

    def end(self) -> None:
        """Stop work and give back the graphics; unsaved changes stay beside the file.

        Graphics are given back on their own thread alone: another one, where Ctrl-C comes, leaves them be.
        """
        self.work.stop()
        if self.history is not None and self._is_journal_due:
            self.keep_journal()
        if threading.get_ident() == self._thread:
            self.close_site()

    # -- what actions share

    def say(self, message: str, is_refusal: bool = False) -> None:
        self.message, self.is_refusal = message, is_refusal
        self._has_news = True

    @property
    def draft(self) -> Draft:
        if self.history is None:
            raise InputError("nothing is open yet", mend="open a site, or begin one")
        return self.history.draft

    @property
    def site(self) -> LiveSite:
        if self.live is None:
            raise InputError("nothing is open yet", mend="open a site, or begin one")
        return self.live

    @property
    def now(self) -> WindowState:
        if self.window is None:
            raise InputError("nothing is open yet", mend="open a site, or begin one")
        return self.window

    @property
    def view(self) -> Picture:
        if self.picture_ is None:
            raise InputError("nothing is open yet", mend="open a site, or begin one")
        return self.picture_

    @property
    def unit(self) -> Detector | None:
        """The chosen unit, if one is."""
        if self.window is None or not self.is_unit_chosen or not self.window.option.detectors:
            return None
        return self.window.unit

    def stop_work(self) -> None:
        self.work.stop()
        self.progress = None

    @property
    def unsaved(self) -> tuple[str, ...]:
        """What is not saved, in words."""
        if self.history is None:
            return ()
        if self._unsaved[0] is not self.history.draft:
            self._unsaved = (self.history.draft, self.history.unsaved)
        return self._unsaved[1]

    def keep_journal(self) -> None:
        """Write unsaved work beside the file, so that a crash takes nothing with it."""
        assert self.history is not None
        self._is_journal_due = False
        keep(self.history)

    def saved(self) -> None:
        """Note that the draft is saved."""
        self._unsaved, self._is_journal_due = (None, ()), False
        if self.live is not None:
            self.live = replace(self.live, ready=checked_draft(self.draft))

    def close_site(self) -> None:
        """Go back to where a site is begun."""
        self._forget_site()
        self.history = self.live = self.window = self.picture_ = None
        self.is_unit_chosen = self._is_journal_due = False

    def _forget_site(self) -> None:
        """Let go of what is of one site alone: work for it ends, for nobody could see or stop it after."""
        self.stop_work()
        if self.picture_ is not None:
            self.picture_.close()
        self.chosen = self.answer = self.study = self.found = self._put_back = None
        self.is_stale, self.changed_survey, self.changed_layers = False, "", ""

    def open_draft(self, draft: Draft, as_read: bytes | None = None) -> None:
        """Begin with a draft: its ground is read, its options judged; lengths are told in its units."""
        ready = checked_draft(draft)
        if self.history is not None and self._is_journal_due:
            self.keep_journal()  # of what is open until now
        is_again = self.history is not None and self.history.draft.path == draft.path
        units = self.units if is_again else ready.site.paper.units
        with lengths_in(units):
            self._open(draft, ready, as_read)
        self.units = units

    def _open(self, draft: Draft, ready: Ready, as_read: bytes | None) -> None:
        live = live_site(ready, None, self.tell)
        content = as_read if as_read is not None else b"" if draft.path is None else draft.content
        window = WindowState(live.outcome, _best(live), look=live.looks)
        picture = Picture(window)
        picture.resize(*self.size)
        picture.reset_camera()
        self._forget_site()
        self.history, self.live = History(draft, content), live
        self.history.lend_degrees(live.is_in_degrees)
        self.window, self.picture_ = window, picture
        self.is_unit_chosen = bool(live.has_options)
        self._is_due = True

    def change(self, draft: Draft, label: str, is_same: bool = False) -> None:
        """Go on to a changed draft, once it is known to be a site: everything is judged anew.

        Raises
        ------
        InputError
            When what was drawn cannot stand there; then nothing is changed.
        """
        assert self.history is not None
        live = live_site(checked_draft(draft), self.site, self.tell)
        self.history.push(draft, label, is_same)
        self.show_live(live)
        self._keep_soon(is_same)
        self.say("")

    def show_live(self, live: LiveSite) -> None:
        """Bring picture and figures to a site as it is now."""
        is_same_ground = live.terrain is self.site.terrain
        units = live.ready.site.paper.units
        is_turned = units != self.site.ready.site.paper.units
        if is_turned:
            self.units = units
        before, frame = self.now.option, self.site.terrain.frame
        if self.history is not None:
            self.history.lend_degrees(live.is_in_degrees)
        if not is_same_ground:
            self.study = None  # it was of what stood there before
        self.live, self.window = live, self.now.renewed(live.outcome, self.study)
        with lengths_in(self.units):
            if is_same_ground and not is_turned:
                self.view.state = self.window
                self.view.draw()
            else:
                self.view.renew(self.window)
        if live.terrain.frame != frame:
            self.view.reset_camera()
        if not any(one.id == self.chosen for one in things_of(self.draft)):
            self.chosen = None
        self.is_unit_chosen = self.is_unit_chosen and bool(self.window.option.detectors)
        if self.window.option.detectors != before.detectors or not is_same_ground:
            self.answer = None
        self._is_due = True

    def set_unit_to(self, unit: Detector, is_same: bool) -> None:
        """Set the chosen unit otherwise: judged at once, and written into the draft."""
        assert self.history is not None
        state = self.now
        before = state.unit
        state.put(unit)
        after = state.unit
        self.say(state.message, state.is_refusal)
        changes = settings.unit_changes(before, after)
        if not changes:
            return
        label = f"set {', '.join(changes)} of {before.name}"
        self.history.push(set_unit(self.draft, state.option.name, before.name, changes), label, is_same)
        self._keep_soon(is_same)
        self.live = self.site.with_outcome(state.outcome)
        self.answer = None
        self.view.draw()
        self._is_due = True

    def _standing(self) -> dict[str, Any]:
        """All that an order may change, as it stands: most of it are values, which are never changed."""
        kept = {key: getattr(self, key) for key in _STANDING}
        kept["history"] = None if self.history is None else self.history.copied()
        kept["window"] = copy.copy(self.window)
        kept["_put_back"] = None
        if self.picture_ is not None:
            kept["_put_back"] = {*self.picture_.hidden}, self.picture_.is_plan, self.picture_.is_hurried
        return kept

    def _go_back(self, before: dict[str, Any], error: Exception) -> None:
        """Stand again where it stood before a fault, and say that it came."""
        traceback.print_exception(error)
        for key, value in before.items():
            setattr(self, key, value)
        self.say(fault_words(error), True)
        self._unsaved = (None, ())
        self._is_journal_due = self.history is not None  # it may have been written meanwhile
        try:
            self._put_picture_back()
        except Exception as again:  # noqa: BLE001  it is tried again when the picture is asked for
            traceback.print_exception(again)
        self._is_due = True

    def _put_picture_back(self) -> None:
        """Have the picture show what it showed before a fault: it may be half changed, or closed."""
        if self.window is None or self._put_back is None:
            return
        if self.picture_ is None:
            self.picture_ = Picture(self.window)
        hidden, is_plan, is_hurried = self._put_back
        is_elsewhere = self.picture_.state.outcome.terrain.frame != self.window.outcome.terrain.frame
        is_turned = (is_plan, self.size) != (self.picture_.is_plan, self.picture_.size)
        self.picture_.hidden, self.picture_.is_plan = {*hidden}, is_plan
        self.picture_.hurry(is_hurried)
        self.picture_.renew(self.window)
        self.picture_.resize(*self.size)
        if is_elsewhere or is_turned:
            self.picture_.reset_camera()
        self._put_back, self._has_news = None, True

    def due(self) -> None:
        """Have the picture drawn."""
        self._is_due = True

    def _keep_soon(self, is_same: bool) -> None:
        """While something is dragged the journal waits for the next tick."""
        self._is_journal_due = True
        if not is_same:
            self.keep_journal()


#: What of a session an order may change.
_STANDING = (
    "live", "chosen", "is_unit_chosen", "units", "is_stale", "answer", "study", "found", "size",
)  # fmt: skip


def _best(live: LiveSite) -> int:
    names = [option.name for option in live.outcome.options]
    return names.index(live.outcome.ranking[0]) if live.outcome.ranking else 0
