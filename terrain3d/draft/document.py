"""A site file as a document that is being changed: its text is the truth, a change gives a new one."""

import codecs
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from terrain3d.draft.edits import is_there, value_at, with_entry, with_value, without
from terrain3d.draft.layout import Layout, contents, layout_of, path_words
from terrain3d.draft.layout import Path as Place
from terrain3d.errors import InputError
from terrain3d.outside import content
from terrain3d.readers.crs import read_crs
from terrain3d.ready import Ready, in_file, option_types, ready_of
from terrain3d.site import GroundSource, Site, SiteHead
from terrain3d.tables import MOST_BYTES, checked

#: The tables of a site file in the order in which new ones take their places.
TABLES = tuple(Site.model_fields)
#: What a draft without a file is called in messages.
UNNAMED = "the new site"


@dataclass(frozen=True)
class Draft:
    """A site file that is being changed.

    Parameters
    ----------
    path : Path or None
        Of its file; None where it was never saved.
    folder : Path
        Names of files in it are relative to it.
    layout : Layout
        Its text, in blocks that are shared with the drafts before and after it.
    has_mark : bool
        Whether its file begins with a byte-order mark, as some editors write it.
    has_lent_degrees : bool
        Whether its coordinates are the longitude and latitude of its survey, where it names no CRS itself.
    """

    path: Path | None
    folder: Path
    layout: Layout
    has_mark: bool = False
    has_lent_degrees: bool = False

    @property
    def text(self) -> str:
        """The text, without the byte-order mark."""
        return self.layout.text

    @property
    def content(self) -> bytes:
        """The bytes of its file."""
        return (codecs.BOM_UTF8 if self.has_mark else b"") + self.text.encode("utf-8")

    @property
    def tables(self) -> dict[str, Any]:
        """What it says, as TOML gives it; not to be changed."""
        return contents(self.layout).tables

    @property
    def where(self) -> str:
        """What it is called in messages."""
        return UNNAMED if self.path is None else str(self.path)

    @property
    def name(self) -> str:
        """Of the site; empty where it has none."""
        return str(self.get(("site", "name"), ""))

    def get(self, place: Place, default: Any = None) -> Any:
        """What stands at a place of it."""
        return value_at(self.tables, place) if is_there(self.layout, place) else default

    def table(self, place: Place) -> dict[str, Any]:
        """The table at a place; an empty one where there is none.

        Raises
        ------
        InputError
            Where something else stands there.
        """
        found = self.get(place, {})
        if not isinstance(found, dict):
            raise InputError(f"{path_words(place)} is no table", self.where, "write it as one")
        return found

    def entries(self, place: Place) -> list[dict[str, Any]]:
        """The list of tables at a place; an empty one where there is none.

        Raises
        ------
        InputError
            Where something else stands there.
        """
        found = self.get(place, [])
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            raise InputError(f"{path_words(place)} is no list of tables", self.where, "write it as one")
        return found


def read_draft(path: Path | str) -> Draft:
    """The draft of a site file as it stands.

    A file that is TOML is a draft, whatever it says: `checked` tells what is wrong with it.

    Raises
    ------
    InputError
        When there is no such file, or it is not TOML.
    """
    path = Path(path)
    return draft_of(content(path, MOST_BYTES, "name a site file"), path)


def draft_of(raw: bytes, path: Path | None, folder: Path | None = None) -> Draft:
    """The draft of a site file by its bytes.

    Raises
    ------
    InputError
        When they are not TOML.
    """
    where = UNNAMED if path is None else str(path)
    try:
        text = raw.removeprefix(codecs.BOM_UTF8).decode("utf-8")
    except UnicodeDecodeError:
        raise InputError("it is not a text file in UTF-8", where, "name a TOML file") from None
    beside = folder if folder is not None else path.parent if path is not None else Path()
    return Draft(path, beside, layout_of(text, where), raw.startswith(codecs.BOM_UTF8))


def new_draft(folder: Path | str, name: str, ground: Mapping[str, Any], crs: str | None = None) -> Draft:
    """The draft of a site of which there is no file yet.

    Parameters
    ----------
    folder : Path or str
        Names of files are relative to it.
    name : str
        Of the site.
    ground : mapping
        As the table `[ground]` has it: `plane`, `points`, `shots` or `file`, with what goes with it.
    crs : str, optional
        Of all coordinates of the site file; none is local metres.

    Raises
    ------
    InputError
        When the name or the ground could not stand in a site file.

    Examples
    --------
    >>> ground = {"plane": {"fall": 12.0, "towards": 180.0, "extent": 40.0}}
    >>> print(new_draft(".", "Yard below the house", ground).text, end="")
    [site]
    name = "Yard below the house"
    <BLANKLINE>
    [ground]
    plane = { fall = 12, towards = 180, extent = 40 }
    """
    head = {"name": name, **({} if crs is None else {"crs": crs})}
    checked(SiteHead, head, f"{UNNAMED}: site")
    checked(GroundSource, ground, f"{UNNAMED}: ground")
    draft = Draft(None, Path(folder), layout_of(""))
    for key, table in (("site", head), ("ground", dict(ground))):
        draft = replace(draft, layout=with_value(draft.layout, (key,), table, TABLES))
    return draft


def edited(draft: Draft, place: Place, value: Any, order: Sequence[str] = ()) -> Draft:
    """The draft with a key set; None takes it out.

    Raises
    ------
    InputError
        Where its text is laid out so that the key cannot be set alone.
    """
    try:
        if value is None:
            return replace(draft, layout=without(draft.layout, place))
        return replace(draft, layout=with_value(draft.layout, place, value, order))
    except InputError as error:
        raise InputError(error.what, draft.where, error.mend) from None


def with_table(draft: Draft, place: Place, table: Mapping[str, Any], order: Sequence[str] = ()) -> Draft:
    """The draft with a table more in the list of tables at a place.

    Raises
    ------
    InputError
        Where its text is laid out so that none can be added.
    """
    try:
        return replace(draft, layout=with_entry(draft.layout, place, table, order))
    except InputError as error:
        raise InputError(error.what, draft.where, error.mend) from None


def checked_draft(draft: Draft) -> Ready:
    """The site of a draft, checked as that of a file is, all but its survey.

    Options without units are left aside: whoever names one puts its units in next.

    Raises
    ------
    InputError
        With what is wrong, where and what to do, as every command tells it.

    Examples
    --------
    >>> ground = {"plane": {"fall": 12.0, "towards": 180.0, "extent": 40.0}}
    >>> checked_draft(new_draft(".", "Yard", ground)).site.ground.plane.fall
    12.0
    """
    options = draft.tables.get("option", [])
    tables = dict(draft.tables)
    if isinstance(options, list):
        tables["option"] = [one for one in options if not isinstance(one, dict) or one.get("detector")]
    path = draft.path if draft.path is not None else draft.folder / UNNAMED
    try:
        ready = ready_of(checked(Site, tables, draft.where), path)
        if ready.site.option:
            option_types(ready)
    except InputError as error:
        if draft.path is None:
            error = InputError(error.what, error.where.replace(str(path), UNNAMED), error.mend)
        raise in_file(error, None) if not error.where else error from None
    return ready


def digits_of(draft: Draft) -> int:
    """To how many digits its coordinates are written: the millimetre, or a hundred millionth of a degree."""
    named = draft.get(("site", "crs"))
    return 8 if (draft.has_lent_degrees if named is None else in_degrees(named)) else 3


@lru_cache(maxsize=16)
def in_degrees(crs: Any) -> bool:
    """Whether coordinates of a CRS are longitude and latitude; one that nobody knows is in metres.

    >>> in_degrees("EPSG:4326"), in_degrees("EPSG:32631"), in_degrees(None)
    (True, False, False)
    """
    if not isinstance(crs, str):
        return False
    try:
        return bool(read_crs(crs, "").is_geographic)
    except InputError:
        return False


def rounded(value: Any, digits: int) -> Any:
    """Numbers as a person writes them down: a value, or a list of such."""
    if isinstance(value, (list, tuple)):
        return [rounded(one, digits) for one in value]
    return round(value, digits) + 0.0 if isinstance(value, float) else value
