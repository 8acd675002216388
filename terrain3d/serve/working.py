"""Long work that a person starts: studies, searches and pictures, done beside, and what comes of them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from terrain3d.draft.document import Draft, checked_draft
from terrain3d.draft.ground import with_setting
from terrain3d.draft.options import added_option, options_of
from terrain3d.draft.things import added
from terrain3d.errors import InputError
from terrain3d.paper.study_lines import option_lines
from terrain3d.paper.write_options import option_table
from terrain3d.search.budget import NothingFits
from terrain3d.search.propose import Proposed
from terrain3d.search.result import SearchResult, as_options
from terrain3d.sentences.found import done_words, found_option, found_title
from terrain3d.sentences.mounts import mounts_sentence, place_words
from terrain3d.sentences.options import held_words
from terrain3d.sentences.search import search_why
from terrain3d.sentences.uncertainty import of_all_lines
from terrain3d.serve.bounds import number
from terrain3d.serve.live_site import LiveSite, live_site
from terrain3d.serve.work import Done, Failed, Progress
from terrain3d.study import PARTS, Study

if TYPE_CHECKING:
    from terrain3d.serve.session import Session

Message = dict[str, Any]
#: Folder of a site in which results and pictures are put.
OUT = "out"


@dataclass(frozen=True)
class Found:
    """What work found, a row each; `takes` has what a row puts into the draft, where it can be taken."""

    title: str
    rows: tuple[str, ...]
    takes: tuple[tuple[str, Mapping[str, Any]] | None, ...] = ()

    @property
    def values(self) -> dict[str, Any]:
        """As plain values; what can be taken has a message that takes it."""
        rows = []
        for place, words in enumerate(self.rows):
            can_take = place < len(self.takes) and self.takes[place] is not None
            rows.append({"words": words, "do": {"do": "take_found", "row": place} if can_take else None})
        return {"title": self.title, "rows": rows}


def _study(session: "Session", message: Message) -> None:
    parts = message.get("parts") or list(PARTS)
    if not isinstance(parts, list) or not set(parts) <= set(PARTS):
        raise InputError("there is no such part of a study", mend=f"there are {', '.join(PARTS)}")
    if not session.site.has_options:
        raise InputError("there is no option to study", mend="put a unit on a mount first")
    session.begin_work("study", parts=tuple(part for part in PARTS if part in parts))


def _search(session: "Session", message: Message) -> None:
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
    session.begin_work("search", draft, **how)


def _mounts(session: "Session", message: Message) -> None:
    session.begin_work("mounts", every_m=number(message, "every_m", 0.5, 100, 5.0))


def _stills(session: "Session", _message: Message) -> None:
    session.begin_work("stills", out=OUT)


def _results(session: "Session", _message: Message) -> None:
    session.begin_work("results", out=OUT)


def _stop(session: "Session", _message: Message) -> None:
    session.stop_work()


def _take_found(session: "Session", message: Message) -> None:
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
        session.show_option(name)
        return
    at = session.site.to_file(values["at"])
    draft, id_ = added(session.draft, "mount", at.tolist(), values["values"])
    session.change(draft, f"take {values['values']['name']}")
    session.chosen, session.is_unit_chosen = id_, False


def _free(draft: Draft, name: str) -> str:
    taken = {option.name for option in options_of(draft)}
    count, free = 1, name
    while free in taken:
        count += 1
        free = f"{name} {count}"
    return free


def take_news(session: "Session", news: Progress | Done | Failed) -> None:
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
    elif isinstance(news.value, tuple):
        session.found = Found(found_title(news.what), tuple(path.name for path in news.value))


def _lay_study(session: "Session", draft: Draft, study: Study) -> None:
    """A study on the ground that it is of: where the site was opened otherwise, it is opened as studied."""
    if draft.tables == session.draft.tables and not _is_on(study, session.site):
        session.show_live(live_site(checked_draft(session.draft), None, session.tell))
    if _is_on(study, session.site):
        session.study = study
        session.show_live(session.site)
    rows = []
    for name in study.outcome.ranking:
        lines = option_lines(study, study.of(name))
        rows += [f"{name}: {part}: {line}" for part, line in lines]
    if study.uncertainty is not None:
        rows += of_all_lines(study.uncertainty)
    session.found = Found(found_title("study"), tuple(rows))


def _is_on(study: Study, live: LiveSite) -> bool:
    """Whether a study is of the very ground that is shown, cell by cell."""
    own, there = study.outcome.terrain, live.terrain
    return own.frame == there.frame and own.ground.bounds == there.ground.bounds


def _found_set(result: SearchResult | NothingFits) -> Found:
    title = found_title("search")
    if isinstance(result, NothingFits):
        return Found(title, (search_why(result),))
    options = as_options(result)
    judged = result.outcome.options
    rows = [
        found_option(option.name, held_words(one)) for option, one in zip(options, judged, strict=False)
    ]  # fmt: skip
    takes = [("option", option_table(option)) for option in options]
    return Found(title, (*rows, search_why(result)), tuple(takes))


def _found_mounts(session: "Session", found: Proposed) -> Found:
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
    return Found(found_title("mounts"), (*rows, mounts_sentence(found)), tuple(takes))


ACTIONS = {
    "study": _study, "search": _search, "propose_mounts": _mounts, "stills": _stills, "results": _results,
    "stop": _stop, "take_found": _take_found,
}  # fmt: skip
