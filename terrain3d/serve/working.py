"""Long work that a person starts: studies, searches and pictures, done beside, and what comes of them."""

import datetime
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from terrain3d.draft.document import Draft, checked_draft
from terrain3d.draft.ground import with_setting
from terrain3d.draft.layout import layout_of
from terrain3d.draft.options import added_option, options_of
from terrain3d.draft.things import added
from terrain3d.errors import InputError
from terrain3d.paper.study_lines import option_lines
from terrain3d.paper.walktest import with_reading
from terrain3d.paper.write_options import option_table
from terrain3d.search.budget import NothingFits
from terrain3d.search.propose import Proposed
from terrain3d.search.result import SearchResult, as_options
from terrain3d.sentences.found import found_option, found_title, take_walks_words, written_title
from terrain3d.sentences.mounts import mounts_sentence, place_words
from terrain3d.sentences.options import held_words
from terrain3d.sentences.search import search_why
from terrain3d.sentences.uncertainty import of_all_lines
from terrain3d.sentences.work import done_words
from terrain3d.serve.answers import Found
from terrain3d.serve.bounds import inside, number, text
from terrain3d.serve.live_site import LiveSite, live_site
from terrain3d.serve.viewing import show_option
from terrain3d.serve.work import Done, Failed, Progress
from terrain3d.serve.worker import WalksRead, Written
from terrain3d.study import PARTS, Study
from terrain3d.walktest.read import as_it_hangs

if TYPE_CHECKING:
    from terrain3d.serve.page_site import PageSite

Message = dict[str, Any]
#: Folder of a site in which results and pictures are put.
OUT = "out"
#: Folder in it, of a pack alone.
PACK = f"{OUT}/pack"
#: Sheets of answers that are offered, at most.
_MOST_SHEETS = 50


def _begin(session: "PageSite", what: str, draft: Draft | None = None, **how: Any) -> None:
    """Begin work beside, for the site as it is now.

    Raises
    ------
    InputError
        When something else is being done, or the site cannot be worked on.
    """
    session.found = None
    session.work.begin(what, session.draft if draft is None else draft, **how)
    if (news := session.work.poll()) is not None:
        take_news(session, news)


def _study(session: "PageSite", message: Message) -> None:
    parts = message.get("parts") or list(PARTS)
    if not isinstance(parts, list) or not set(parts) <= set(PARTS):
        raise InputError("there is no such part of a study", mend=f"there are {', '.join(PARTS)}")
    if not session.site.has_options:
        raise InputError("there is no option to study", mend="put a unit on a mount first")
    _begin(session, "study", parts=tuple(part for part in PARTS if part in parts))


def _search(session: "PageSite", message: Message) -> None:
    draft = session.draft
    how: dict[str, Any] = {}
    if message.get("units") is not None:
        how["units"] = int(number(message, "units", 1, 50))
    for key in ("budget", "hold"):
        if message.get(key) is not None:
            how[key] = number(message, key, 0, 1e9)
    # These are asked for this search alone; the site file keeps what it says.
    if message.get("milliamps") is not None:
        draft = with_setting(draft, "search", "milliamps", number(message, "milliamps", 0, 1e6))
    if message.get("masks") is not None:
        draft = with_setting(draft, "search", "masks", message["masks"] is True)
    _begin(session, "search", draft, **how)


def _mounts(session: "PageSite", message: Message) -> None:
    _begin(session, "mounts", every_m=number(message, "every_m", 0.5, 100, 5.0))


def _stills(session: "PageSite", _message: Message) -> None:
    _begin(session, "stills", out=OUT)


def _results(session: "PageSite", _message: Message) -> None:
    _begin(session, "results", out=OUT)


def _pack(session: "PageSite", _message: Message) -> None:
    _option(session, {})
    _begin(session, "pack", out=PACK)


def _sheet(session: "PageSite", message: Message) -> None:
    on = _day(message) if message.get("on") else None
    _begin(session, "sheet", out=OUT, option=_option(session, message), on=on)


def _walktest(session: "PageSite", message: Message) -> None:
    _begin(session, "walktest", out=OUT, option=_option(session, message))


def _read_walks(session: "PageSite", message: Message) -> None:
    answers = inside(session.folder, text(message, "file"))
    _begin(
        session,
        "read_walks",
        out=OUT,
        option=_option(session, message),
        answers=answers.resolve(),
        on=_day(message),
    )


def _walk_sheets(session: "PageSite", _message: Message) -> dict[str, Any]:
    """Files of the folder, and of that of the results, that may be sheets of a walk test filled in."""
    found = [
        path.relative_to(session.folder).as_posix()
        for folder in (session.folder, session.folder / OUT)
        if folder.is_dir()
        for path in sorted(folder.iterdir())
        if path.suffix.lower() == ".csv" and not path.name.startswith(".") and path.is_file()
    ]
    return {"is": "walk_sheets", "files": found[:_MOST_SHEETS]}


def _option(session: "PageSite", message: Message) -> str:
    """The name of the option that is meant: the one that is shown where none is named."""
    if not session.site.has_options:
        raise InputError("there is no option to hand over", mend="put a unit on a mount first")
    name = message.get("option", session.now.option.name)
    if name not in session.now.outcome.ranking:
        raise InputError(f"there is no option {name!r} with a unit", mend="name one that is judged")
    return str(name)


def _day(message: Message) -> datetime.date:
    on = text(message, "on")
    try:
        return datetime.date.fromisoformat(on)
    except ValueError:
        raise InputError(f"{on!r} is no day", mend="give one such as 2026-05-03") from None


def _stop(session: "PageSite", _message: Message) -> None:
    session.stop_work()


def _take_found(session: "PageSite", message: Message) -> None:
    found, place = session.found, message.get("row")
    takes = () if found is None else found.takes
    if not isinstance(place, int) or not 0 <= place < len(takes) or takes[place] is None:
        raise InputError("there is nothing to take there", mend="choose a row that says so")
    take = takes[place]
    assert take is not None
    what, values = take
    if what == "option":
        name = _free(session.draft, str(values["name"]))
        draft = added_option(session.draft, name, values["detector"], str(values.get("combine", "any")))
        session.change(draft, f"take {name}")
        show_option(session, {"name": name})
        return
    if what == "walks":
        _take_walks(session, values["read"])
        return
    at = session.site.to_file(values["at"])
    draft, id_ = added(session.draft, "mount", at.tolist(), values["values"])
    session.change(draft, f"take {values['values']['name']}")
    session.chosen, session.is_unit_chosen = id_, False


def _take_walks(session: "PageSite", read: WalksRead) -> None:
    """Put a walk test into the draft as the command puts it into the file."""
    draft = session.draft
    new = with_reading(draft.text, read.option, read.reading, read.on, draft.where)
    session.change(replace(draft, layout=layout_of(new, draft.where)), "take the walk test")
    hanging = as_it_hangs(read.option, read.reading)
    if hanging is not None:
        show_option(session, {"name": hanging.name})


def _free(draft: Draft, name: str) -> str:
    taken = {option.name for option in options_of(draft)}
    count, free = 1, name
    while free in taken:
        count += 1
        free = f"{name} {count}"
    return free


def take_news(session: "PageSite", news: Progress | Done | Failed) -> None:
    """Tell how far work is; lay what it found on the ground, and list it."""
    if isinstance(news, Progress):
        session.progress = news
        return
    session.progress = None
    if isinstance(news, Failed):
        session.say(news.words, True)
        return
    session.say(done_words(news.what))
    if isinstance(news.value, Study):
        _lay_study(session, news.draft, news.value)
    elif isinstance(news.value, SearchResult | NothingFits):
        session.found = _found_set(news.value)
    elif isinstance(news.value, Proposed):
        session.found = _found_mounts(session, news.value)
    elif isinstance(news.value, WalksRead):
        session.found = _found_walks(news.value)
    elif isinstance(news.value, Written):
        session.found = _found_files(session, news.what, news.value)


def _found_files(session: "PageSite", what: str, written: Written) -> Found:
    """What was written, and where; then what it says."""
    out = session.folder.resolve() / (PACK if what == "pack" else OUT)
    names = [path.relative_to(out).as_posix() for path in written.files]
    title = written_title(what, out.relative_to(session.folder.resolve()).as_posix())
    return Found(title, lambda: (*names, *written.told))


def _found_walks(read: WalksRead) -> Found:
    hanging = as_it_hangs(read.option, read.reading)
    take = take_walks_words(None if hanging is None else hanging.name, read.option.name, read.on)
    takes = (*(None for _ in read.written.told), ("walks", {"read": read}))
    return Found(found_title("read_walks"), lambda: (*read.written.told, take), takes)


def _lay_study(session: "PageSite", draft: Draft, study: Study) -> None:
    """A study on the ground that it is of: where the site was opened otherwise, it is opened as studied."""
    if draft.tables == session.draft.tables and not _is_on(study, session.site):
        session.show_live(live_site(checked_draft(session.draft), None, session.tell))
    if _is_on(study, session.site):
        session.study = study
        session.show_live(session.site)
    session.found = Found(found_title("study"), partial(_study_rows, study))


def _study_rows(study: Study) -> list[str]:
    rows = []
    for name in study.outcome.ranking:
        lines = option_lines(study, study.of(name))
        rows += [f"{name}: {part}: {line}" for part, line in lines]
    if study.uncertainty is not None:
        rows += of_all_lines(study.uncertainty)
    return rows


def _is_on(study: Study, live: LiveSite) -> bool:
    """Whether a study is of the very ground that is shown, cell by cell."""
    own, there = study.outcome.terrain, live.terrain
    return own.frame == there.frame and own.ground.bounds == there.ground.bounds


def _found_set(result: SearchResult | NothingFits) -> Found:
    title = found_title("search")
    if isinstance(result, NothingFits):
        return Found(title, lambda: (search_why(result),))
    options = as_options(result)
    judged = result.outcome.options

    def rows() -> Iterator[str]:
        for option, one in zip(options, judged, strict=False):
            yield found_option(option.name, held_words(one))
        yield search_why(result)

    return Found(title, rows, tuple(("option", option_table(option)) for option in options))


def _found_mounts(session: "PageSite", found: Proposed) -> Found:
    rows, takes = [], []
    here = session.site.terrain.frame
    for proposal in found.mounts:
        mount = proposal.mount
        world = found.terrain.frame.from_local([mount.x], [mount.y], found.crs)
        x, y = here.to_local(*world, found.crs)
        values: dict[str, Any] = {"name": mount.name}
        if mount.heights_m:
            values["heights"] = list(mount.heights_m)
        if mount.wall_deg is not None:
            values["wall"] = round(mount.wall_deg, 1)
        rows.append(f"{mount.name}: {place_words(proposal)}")
        takes.append(("mount", {"at": np.column_stack([x, y]), "values": values}))
    return Found(found_title("mounts"), lambda: (*rows, mounts_sentence(found)), tuple(takes))


ACTIONS = {
    "study": _study, "search": _search, "propose_mounts": _mounts, "stills": _stills, "results": _results,
    "pack": _pack, "sheet": _sheet, "walktest": _walktest, "read_walks": _read_walks,
    "walk_sheets": _walk_sheets, "stop": _stop, "take_found": _take_found,
}  # fmt: skip
