"""What a person opens, begins, saves and takes back: the draft, its file and the journal beside it."""

from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from terrain3d.draft.document import checked_draft, draft_of, new_draft, read_draft
from terrain3d.draft.history import History
from terrain3d.draft.journal import ended, journal_path
from terrain3d.draft.journal import found as found_unsaved
from terrain3d.draft.saving import ChangedOnDiskError, is_stale, save, save_as
from terrain3d.draft.things import things_of
from terrain3d.errors import InputError
from terrain3d.readers.surveys import EXTENSIONS
from terrain3d.sentences.drawing import brought_back, saved_words
from terrain3d.serve.bounds import inside, number, points, text
from terrain3d.serve.live_site import Stamp, live_site, stamp_of
from terrain3d.site import GroundSource
from terrain3d.survey.inspect import inspect, report_lines
from terrain3d.tables import checked

if TYPE_CHECKING:
    from terrain3d.serve.page_site import PageSite

Message = dict[str, Any]
#: Files of a folder that are offered, at most.
_MOST_FILES = 200


def beginnings(folder: Path) -> dict[str, Any]:
    """What a folder has to begin with: site files, and surveys."""
    files = _files(folder)
    try:
        has_unsaved = found_unsaved(None, folder) is not None
    except InputError:
        has_unsaved = False
    return {
        "unsaved": has_unsaved,
        "sites": [
            path.name for path in files if path.suffix.lower() == ".toml" and _is_site(path, stamp_of(path))
        ],
        "surveys": [{"file": path.name, "doubts": []} for path in files if path.suffix.lower() in EXTENSIONS],
    }


def _files(folder: Path) -> list[Path]:
    found: list[Path] = []
    with suppress(OSError):  # one that is taken away, or may not be read, has nothing
        found = [path for path in folder.iterdir() if not path.name.startswith(".") and path.is_file()]
    return sorted(found)[:_MOST_FILES]


@lru_cache(maxsize=2 * _MOST_FILES)
def _is_site(path: Path, _stamp: Stamp | None) -> bool:
    """Whether a file says where its ground comes from: types and walk tests are TOML too."""
    try:
        return "ground" in read_draft(path).tables
    except InputError:
        return False


def _open(session: "PageSite", message: Message) -> None:
    path = inside(session.folder, text(message, "file"))
    session.open_draft(read_draft(path))
    bring_back(session)


def bring_back(session: "PageSite") -> None:
    """Take up unsaved work that a session before left beside the site file.

    Raises
    ------
    InputError
        Where it cannot be taken up. The site is closed then: the next change would be kept in its place.
    """
    draft = session.draft
    try:
        unsaved = found_unsaved(draft.path, draft.folder)
        if unsaved is None:
            return
        live = live_site(checked_draft(unsaved.draft), session.site, session.tell)
    except InputError as error:
        session.close_site()
        place = journal_path(draft.path, draft.folder)
        raise InputError(
            f"unsaved work is kept in {place.name} and cannot be brought back: {error.what}",
            error.where,
            f"{error.mend}; or move {place.name} away, and the site is opened as it was saved",
        ) from None
    history = History(draft_of(unsaved.as_read, draft.path, draft.folder), unsaved.as_read)
    history.push(unsaved.draft, "bring unsaved work back")
    session.history = history
    session.show_live(live)
    session.say(brought_back(len(session.unsaved), unsaved.is_file_changed))


def _bring_back(session: "PageSite", _message: Message) -> None:
    """Take up a new site that was never saved."""
    unsaved = found_unsaved(None, session.folder)
    if unsaved is None:
        raise InputError("there is no unsaved new site here", mend="open a site, or begin one")
    session.open_draft(unsaved.draft, b"")
    session.say(brought_back(len(session.unsaved), is_file_changed=False))


def _new(session: "PageSite", name: str, ground: dict[str, Any], crs: str | None = None) -> None:
    if found_unsaved(None, session.folder) is not None:
        place = journal_path(None, session.folder)
        raise InputError(
            "a new site that was never saved is kept in this folder",
            str(place),
            f"bring it back first, then save it or leave it; or move {place.name} away",
        )
    session.open_draft(new_draft(session.folder, name, ground, crs), b"")
    session.keep_journal()


def _begin_plane(session: "PageSite", message: Message) -> None:
    plane = {key: number(message, key, -1e6, 1e6) for key in ("fall", "towards", "extent")}
    _new(session, text(message, "name"), {"plane": plane})


def _begin_points(session: "PageSite", message: Message) -> None:
    _new(session, text(message, "name"), {"points": points(message, width=3)})


def _begin_shots(session: "PageSite", message: Message) -> None:
    rows = message.get("shots")
    shots = [
        {key: one for key, one in row.items() if one is not None} for row in rows if isinstance(row, dict)
    ] if isinstance(rows, list) else []  # fmt: skip
    _new(session, text(message, "name"), {"shots": shots})


def _inspect(session: "PageSite", message: Message) -> dict[str, Any]:
    """What a survey is, and every doubt about it, before anything is begun on it."""
    name = text(message, "file")
    source = checked(GroundSource, {"file": str(inside(session.folder, name))}, name)
    files = source.file if isinstance(source.file, str) else name
    report = inspect(Path(files), source, lambda share: session.tell("reading the survey", share))
    return {"is": "inspected", "file": name, "lines": report_lines(report), "doubts": list(report.doubts)}


def _begin_survey(session: "PageSite", message: Message) -> None:
    name = text(message, "file")
    inside(session.folder, name)
    crs = message.get("crs")
    _new(session, text(message, "name"), {"file": name}, str(crs) if crs else None)


def _save(session: "PageSite", _message: Message) -> None:
    session.draft  # noqa: B018 (refuses where nothing is open)
    assert session.history is not None
    try:
        saved = save(session.history)
    except ChangedOnDiskError as error:
        session.is_stale = True
        raise InputError(f"{error.what}: {'; '.join(error.changes)}", error.where, error.mend) from None
    session.is_stale = False
    session.saved()
    session.say(saved_words(saved.path, saved.changes, saved.before))


def _save_as(session: "PageSite", message: Message) -> None:
    session.draft  # noqa: B018
    assert session.history is not None
    name = text(message, "file").strip()
    path = inside(session.folder, name if name.lower().endswith(".toml") else f"{name}.toml")
    saved = save_as(session.history, path)
    session.is_stale = False
    session.saved()
    session.say(saved_words(saved.path, saved.changes, saved.before))


def _reread(session: "PageSite", _message: Message) -> None:
    """Read again what was changed on disk; a draft is left as it is where files that it names alone were."""
    draft, history = session.draft, session.history
    assert history is not None
    is_other_survey = bool(session.site.changed_survey)
    is_other = is_other_survey or bool(session.site.changed_layers)
    if draft.path is None and not is_other:
        raise InputError("this site has no file yet", mend="save it under a name")
    read = draft
    if draft.path is not None and (is_stale(history) or not is_other):
        read = read_draft(draft.path)
    live = live_site(checked_draft(read), None if is_other_survey else session.site, session.tell)
    if read is not draft:
        history.reread(read.content)
    session.is_stale = False
    session.show_live(live)
    session.keep_journal()
    session.say("Read again from disk")


def _keep_mine(session: "PageSite", _message: Message) -> None:
    draft, history = session.draft, session.history
    assert history is not None
    is_other = bool(session.site.changed_survey or session.site.changed_layers)
    if draft.path is None and not is_other:
        raise InputError("this site has no file yet", mend="save it under a name")
    told = "Kept as it was read"
    if draft.path is not None and (is_stale(history) or not is_other):
        history.keep_mine(read_draft(draft.path).content)
        told = "Kept as it is here: saving takes the place of what stands on disk"
    session.live = session.site.kept()
    session.is_stale = False
    session.say(told)


def _undo(session: "PageSite", _message: Message) -> None:
    _step(session, is_back=True)


def _redo(session: "PageSite", _message: Message) -> None:
    _step(session, is_back=False)


def _step(session: "PageSite", is_back: bool) -> None:
    session.draft  # noqa: B018
    assert session.history is not None
    history = session.history.copied()
    label = history.undo_label if is_back else history.redo_label
    if label is None:
        session.say("There is no change to take back" if is_back else "There is no change to do again")
        return
    chosen = _called(session)
    _ = history.take_back() if is_back else history.redo()
    live = live_site(checked_draft(history.draft), session.site, session.tell)
    session.history = history
    session.show_live(live)
    if _called(session) != chosen:
        session.chosen = None  # its place in the file is that of another thing now
    session.keep_journal()
    session.say(f"{'Taken back' if is_back else 'Done again'}: {label}")


def _called(session: "PageSite") -> tuple[str, str] | None:
    """Kind and name of the chosen thing."""
    found = (one for one in things_of(session.draft) if one.id == session.chosen)
    return next(((one.kind, one.name) for one in found), None)


def _drop(session: "PageSite", _message: Message) -> None:
    """Leave a site without saving it."""
    draft = session.draft
    ended(draft.path, draft.folder)
    session.close_site()


ACTIONS = {
    "open": _open, "inspect": _inspect, "begin_plane": _begin_plane, "begin_points": _begin_points,
    "begin_shots": _begin_shots, "begin_survey": _begin_survey, "save": _save, "save_as": _save_as,
    "reread": _reread, "bring_back": _bring_back, "keep_mine": _keep_mine,
    "undo": _undo, "redo": _redo, "drop": _drop,
}  # fmt: skip
