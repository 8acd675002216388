"""Keys and mouse: what a person does to the window, gathered while it is busy, and carried out."""

import time
from collections.abc import Callable
from functools import partial
from typing import Any

from terrain3d.show.live.controls import Setting
from terrain3d.show.live.state import EXTRAS

#: How long a burst of keys or moves is gathered before it is carried out, milliseconds.
_GATHER_MS = 1
#: How long a view rests before it is drawn whole, seconds.
_REST_S, _LATER_MS = 0.15, 50
_ARROWS = {"Left": (-1, 0), "Right": (1, 0), "Up": (0, 1), "Down": (0, -1)}
_LESS, _MORE = ("minus", "underscore", "KP_Subtract"), ("plus", "equal", "KP_Add")


class KeysAndMouse:
    """Answers to keys and mouse over a view.

    Keys that repeat and a mouse that moves come faster than an option is judged. They are gathered
    until the window is idle and carried out together, so that the picture never lags behind.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: Any) -> None:
        self.view, self.state = view, view.state
        self._steps = 0
        self._is_stale = self._is_due = False
        self._share: float | None = None
        self._held: Setting | None = None
        self._moved_at = self._look_at = 0.0
        self._is_resting = True
        self._is_moved = False
        iren = view.plotter.iren
        self._interactor = iren.interactor
        # The library's own keys (wireframe, fly, pick...) would answer beside ours.
        iren.clear_key_event_callbacks()
        view.plotter.enable_terrain_style(mouse_wheel_zooms=True, shift_pans=True)
        # The style's own letters (surface, pick, leave...) would answer beside ours as well.
        self._listen_first("CharEvent", lambda: True)
        style = self._interactor.GetInteractorStyle()
        style.AddObserver("StartInteractionEvent", self._hurry)
        style.AddObserver("InteractionEvent", self._hurry)
        self._terminate = iren.terminate_app
        self._size = tuple(view.plotter.render_window.GetSize())
        self._answers = self._key_answers()
        view.plotter.render_window.AddObserver("WindowResizeEvent", self._resized)
        for event, answer in (
            ("LeftButtonPressEvent", self._pressed),
            ("MiddleButtonPressEvent", self._beside_views),
            ("RightButtonPressEvent", self._beside_views),
            ("MouseWheelForwardEvent", self._beside_views),
            ("MouseWheelBackwardEvent", self._beside_views),
            ("MouseMoveEvent", self._moved),
            ("LeftButtonReleaseEvent", self._released),
        ):
            self._listen_first(event, answer)
        self._interactor.AddObserver("KeyPressEvent", self._key)
        self._interactor.AddObserver("TimerEvent", self._timer)
        self._interactor.AddObserver("ExitEvent", lambda *_: self.leave())

    def press(self, key: str, letter: str = "", is_shift: bool = False, is_control: bool = False) -> None:
        """Answer a key, named as VTK names it, with the letter that it types."""
        if self.state.mode == "type":
            self._type(key, letter)
        elif self.state.mode == "ask":
            self._answer(key)
        elif key in _ARROWS and (is_shift or is_control):
            self._hurry()
            (self.view.move if is_control else self.view.turn)(*_ARROWS[key])
        elif key in (*_LESS, *_MORE):
            self._hurry()
            self._steps += 1 if key in _MORE else -1
        else:
            self._set_what_was_gathered()
            if key in ("Tab", "ISO_Left_Tab"):
                self.state.step_unit(-1 if is_shift or key != "Tab" else 1)
            elif letter.isdigit() and letter != "0":
                self.state.choose_unit(int(letter) - 1)
            elif key in self._answers:
                self._answers[key]()
            else:
                return
        self._show()

    def carry_out(self) -> None:
        """Do what was gathered, and show it."""
        self._is_due = False
        self._set_what_was_gathered()
        if self._is_stale:
            self._is_stale = False
            self.view.draw()
            self.view.render()

    def rest(self) -> None:
        """Show the whole picture, once nothing has moved for a moment."""
        if not self._is_resting and time.monotonic() - self._moved_at >= _REST_S:
            self._is_resting = True
            self.view.hurry(False)
            self.view.render()

    def _set_what_was_gathered(self) -> None:
        steps, share, self._steps, self._share = self._steps, self._share, 0, None
        if share is not None and self._held is not None:
            before = self.state.unit
            self.state.slide(self._held, share, self._is_moved)
            self._is_moved = self._is_moved or self.state.unit != before
        if steps:
            self.state.step_value(steps)

    def leave(self) -> None:
        """Close the window; ask first where settings are not saved."""
        self.carry_out()
        if self.state.unsaved and self.state.mode != "ask":
            self.state.say("")
            self.state.mode = "ask"
            self._show()
        elif not self.state.unsaved:
            self._terminate()

    def _key_answers(self) -> dict[str, Callable[[], Any]]:
        state, view = self.state, self.view
        studied: dict[str, Callable[[], Any]] = {
            EXTRAS[extra][0]: partial(state.toggle, extra) for extra in state.extras_studied
        }
        if len(state.grounds_studied) > 1:
            studied["g"] = state.next_ground
        return studied | {
            "Left": lambda: state.step_option(-1),
            "Right": lambda: state.step_option(1),
            "Up": lambda: state.step_setting(-1),
            "Down": lambda: state.step_setting(1),
            "Return": state.begin_entry,
            "KP_Enter": state.begin_entry,
            "Escape": state.cancel,
            "c": self._compare,
            "h": state.step_head,
            "m": state.begin_mask,
            "e": state.step_sensitivity,
            "u": state.take_back,
            "a": state.as_read,
            "s": state.save,
            "l": lambda: view.toggle("layers"),
            "f": lambda: view.toggle("foliage"),
            "r": view.reset_camera,
            "k": self._keys,
            "F1": self._keys,
            "q": self.leave,
            "Prior": lambda: self._approach(1),
            "Next": lambda: self._approach(-1),
        }

    def _approach(self, steps: float) -> None:
        self._hurry()
        self.view.approach(steps)

    def _hurry(self, *_: Any) -> None:
        """Something moves: draw less, and all of it a moment after the last move."""
        self._moved_at = time.monotonic()
        if self._is_resting:
            self._is_resting = False
            self.view.hurry(True)
            self._look_later()

    def _look_later(self) -> None:
        """Have the loop wake after a moment, to see whether the view rests by then."""
        self._look_at = time.monotonic() + _LATER_MS / 1000
        self._interactor.CreateOneShotTimer(_LATER_MS)

    def _type(self, key: str, letter: str) -> None:
        if key in ("Return", "KP_Enter"):
            self.state.end_entry()
        elif key == "Escape":
            self.state.cancel()
        elif key == "BackSpace":
            self.state.rub_out()
        elif letter:
            self.state.type_letter(letter)

    def _answer(self, key: str) -> None:
        if key == "Escape":
            self.state.cancel()
        elif key == "l" or (key == "s" and self.state.save()):
            self._terminate()

    def _compare(self) -> None:
        self.state.compare()
        self.view.draw()  # the second view has to be there before the camera is set
        self.view.reset_camera()

    def _keys(self) -> None:
        self.state.mode = "look" if self.state.mode == "keys" else "keys"

    def _show(self) -> None:
        """Have the window shown anew as soon as it is idle."""
        self._is_stale = True
        if not self._is_due:
            self._is_due = True
            self._interactor.CreateOneShotTimer(_GATHER_MS)

    def _timer(self, *_: Any) -> None:
        was_stale = self._is_stale
        self.carry_out()
        self.rest()
        if not self._is_resting and time.monotonic() >= self._look_at:
            self._look_later()
        if was_stale:
            # While a picture is drawn, X takes in events that the loop, waiting for new ones, does not
            # see; one more turn of the loop finds them.
            self._interactor.CreateOneShotTimer(_GATHER_MS)

    def _key(self, *_: Any) -> None:
        source = self._interactor
        code = source.GetKeyCode()
        self.press(
            source.GetKeySym() or "",
            code if code and code != "\0" and code.isprintable() else "",
            bool(source.GetShiftKey()),
            bool(source.GetControlKey()),
        )

    def _pressed(self) -> bool:
        x, y = self._interactor.GetEventPosition()
        found = self.view.slider_at(x, y)
        if found is not None:
            self.carry_out()
            self._held, self._share = found
            self._is_moved = False
            self._show()
        return not self.view.is_in_views(x, y)

    def _moved(self) -> bool:
        if self._held is None:
            return False
        self._hurry()
        self._show()
        self._share = self.view.share_at(self._held, self._interactor.GetEventPosition()[0])
        return True

    def _released(self) -> bool:
        if self._held is None:
            return False
        self.carry_out()
        self._held = None
        return True

    def _beside_views(self) -> bool:
        return not self.view.is_in_views(*self._interactor.GetEventPosition())

    def _listen_first(self, event: str, answer: Callable[[], bool]) -> None:
        """Hear of an event before the views do; they hear of it only where the answer is False."""
        tags: list[int] = []

        def hear(*_: Any) -> None:
            self._interactor.GetCommand(tags[0]).SetAbortFlag(int(answer()))

        tags.append(self._interactor.AddObserver(event, hear, 10.0))

    def _resized(self, *_: Any) -> None:
        size = tuple(self.view.plotter.render_window.GetSize())
        if size != self._size:
            self._size = size
            self._show()
