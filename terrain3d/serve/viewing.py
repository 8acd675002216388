"""What a person does to the views: turn them, come nearer, look from above, go to another option, compare."""

from typing import TYPE_CHECKING, Any

from terrain3d.errors import InputError
from terrain3d.lengths import lengths_in
from terrain3d.serve import shown
from terrain3d.serve.bounds import number, points, text
from terrain3d.show.live.picture import LAYERS

if TYPE_CHECKING:
    from terrain3d.serve.page_site import PageSite

Message = dict[str, Any]


def _size(session: "PageSite", message: Message) -> None:
    session.size = (number(message, "width", 1, 1e5), number(message, "height", 1, 1e5))
    if session.picture_ is not None:
        session.view.resize(*session.size)
        session.due()


def _turn(session: "PageSite", message: Message) -> None:
    session.view.turn_by(number(message, "across", -720, 720, 0), number(message, "up", -180, 180, 0))
    session.due()


def _shift(session: "PageSite", message: Message) -> None:
    session.view.shift_by(number(message, "across", -1e5, 1e5, 0), number(message, "up", -1e5, 1e5, 0))
    session.due()


def _nearer(session: "PageSite", message: Message) -> None:
    place = None
    if message.get("at") is not None:
        ((x, y),) = points({"at": [message["at"]]}, "at")
        place = x, y
    session.view.come_nearer(number(message, "steps", -50, 50), place)
    session.due()


def _view(session: "PageSite", message: Message) -> None:
    session.view.look(text(message, "view") in ("plan", "from above north"))
    session.due()


def _moving(session: "PageSite", message: Message) -> None:
    session.view.hurry(message.get("is_moving") is True)
    session.due()


def _layer(session: "PageSite", message: Message) -> None:
    name = text(message, "name")
    if name not in LAYERS:
        raise InputError(f"there is nothing called {name!r} in the views", mend="choose one of those offered")
    if (message.get("is_shown") is True) == (name in session.view.hidden):
        session.view.toggle(name)
        session.due()


def _ground(session: "PageSite", message: Message) -> None:
    kind = text(message, "kind")
    if kind not in session.now.grounds_studied:
        raise InputError("that was not studied", mend="run a study first")
    session.now.ground = kind
    session.view.draw()
    session.due()


def _units(session: "PageSite", message: Message) -> None:
    units = text(message, "units")
    if units not in ("m", "ft"):
        raise InputError(f"nothing is shown in {units!r}", mend="choose m or ft")
    session.units = "ft" if units == "ft" else "m"
    session.say("")  # what was said before was said in the other
    if session.window is None:
        return
    session.window.say("")
    with lengths_in(session.units):
        session.view.renew(session.window)
    session.due()


def _point(session: "PageSite", message: Message) -> dict[str, Any]:
    return shown.pointed(session, number(message, "px", -1e5, 1e5), number(message, "py", -1e5, 1e5))


def show_option(session: "PageSite", message: Message) -> None:
    state, name = session.now, text(message, "name")
    names = [option.name for option in state.outcome.options]
    if name not in names:
        raise InputError(f"{name!r} has no unit yet", mend="put one on a mount")
    if names.index(name) != state.at:
        if state.is_comparing and state.shown[0] == names.index(name):
            # The two change places, rather than that the one leaves the view.
            state.beside = state.option.name
        state.at, state.unit_at, state.head_at = names.index(name), 0, None
        session.is_unit_chosen = True
        session.view.draw()
        session.due()


def _compare(session: "PageSite", message: Message) -> None:
    state, name = session.now, message.get("name")
    was = len(state.shown)
    if name is None:
        state.is_comparing, state.beside = False, ""
    else:
        names = [option.name for option in state.outcome.options]
        if name not in names or name == state.option.name:
            raise InputError("there is no other option of that name", mend="choose another to compare with")
        state.is_comparing, state.beside = True, str(name)
    session.view.draw()
    if len(state.shown) != was:
        session.view.reset_camera()
    session.due()


ACTIONS = {
    "size": _size,
    "turn": _turn,
    "shift": _shift,
    "nearer": _nearer,
    "view": _view,
    "moving": _moving,
    "layer": _layer,
    "ground": _ground,
    "units": _units,
    "point": _point,
    "compare": _compare,
    "show_option": show_option,
}
