"""Site files that are TOML and say what no site file says: refused in words, whatever is tried on them."""

import contextlib
import json
import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from terrain3d.draft.changes import changes_between
from terrain3d.draft.document import checked_draft, draft_of
from terrain3d.draft.ground import with_plane, with_setting
from terrain3d.draft.options import added_option, added_unit, options_of, removed_unit, set_unit
from terrain3d.draft.things import added, layers_of, moved, removed, renamed, things_of, valued
from terrain3d.errors import InputError

KEYS = st.sampled_from(
    [
        "name",
        "at",
        "path",
        "outline",
        "height",
        "detector",
        "mount",
        "without",
        "shots",
        "from",
        "head",
        "file",
        "heights",
        "pan",
        "type",
        "range",
    ]
)
PLAIN = st.sampled_from([0, -1.5, "", "pole", True, "1979-05-27"])
VALUES = st.recursive(
    PLAIN | st.just([[0, 0], [4, 0], [4, 4]]) | st.just([1, 2]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=8,
)
TABLES = st.dictionaries(
    st.sampled_from(
        [
            "site",
            "ground",
            "mount",
            "mark",
            "solid",
            "foliage",
            "option",
            "scenario",
            "boundary",
            "treat",
            "paper",
        ]
    ),
    VALUES,
    max_size=6,
)


def braced(value):
    """A value as TOML, on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {braced(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(braced, value)) + "]"
    return json.dumps(value)


@settings(max_examples=200)
@given(TABLES)
def test_nothing_but_words_comes_of_a_strange_file(tables):
    """Listing never fails; changes are made just as meant, or refused."""
    draft = draft_of("".join(f"{key} = {braced(value)}\n" for key, value in tables.items()).encode(), None)
    things, options = things_of(draft), options_of(draft)
    layers_of(draft)
    tries = [
        lambda: checked_draft(draft),
        lambda: added(draft, "mount", [(1.0, 2.0)])[0],
        lambda: added(draft, "boundary", [(0, 0), (4, 0), (4, 4)])[0],
        lambda: added_option(draft, "new"),
        lambda: with_plane(draft, 1.0, 2.0, 3.0),
        lambda: with_setting(draft, "paper", "client", "A"),
    ]
    for one in things:
        tries += [
            lambda one=one: moved(draft, one.id, [(x + 1, y) for x, y in one.points]),
            lambda one=one: renamed(draft, one.id, "other"),
            lambda one=one: valued(draft, one.id, "height", 2.0),
            lambda one=one: removed(draft, one.id, with_units=True),
            lambda one=one: removed(draft, one.id),
        ]
    for one in options:
        tries += [
            lambda one=one: added_unit(draft, one.name, {"mount": "pole", "type": "one-head-90"})[0],
            lambda one=one: set_unit(draft, one.name, "pole", {"bearing": 1.0, "head": None}),
            lambda one=one: set_unit(draft, one.name, "", {"type": "two-head-180"}),
            lambda one=one: removed_unit(draft, one.name, "pole"),
        ]
    for attempt in tries:
        with contextlib.suppress(InputError):
            new = attempt()
            if new is not None and hasattr(new, "text"):
                assert tomllib.loads(new.text) == new.tables
                changes_between(draft.tables, new.tables)
