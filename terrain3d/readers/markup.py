"""XML from outside, passed on tag by tag: no document type, so no entities; nothing that it names is fetched.

Expat is told to stop where a document type begins: everything in XML that grows by itself or names another
file (entities, external subsets) has to be declared there. LandXML, KML and E57 need none.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO
from xml.parsers import expat

from terrain3d.errors import InputError
from terrain3d.outside import opened

#: Tags lie deeper in each other than this in no file of the field.
MOST_DEEP = 200
#: Bytes handed to the parser at a time.
_BLOCK = 1 << 20

Begin = Callable[[str, Mapping[str, str]], None]
End = Callable[[str, str], None]


def walk(path: Path, form: str, begin: Begin, end: End, most_bytes: int) -> None:
    """Pass on the tags of an XML file as they come, keeping none.

    Parameters
    ----------
    path : Path
    form : str
        What it should be, for messages.
    begin : callable
        Given each tag's name, without its prefix, and its attributes.
    end : callable
        Given the name and the text since the last tag: all of it where there are no tags within.
    most_bytes : int
        A longer file is refused.

    Raises
    ------
    InputError
        Where it is no XML, has a document type, or tags nested deep; those of `begin` and `end` pass.
    """
    with opened(path) as stream:
        if path.stat().st_size > most_bytes:
            raise InputError(
                f"it is {path.stat().st_size / 1e6:,.0f} MB long, and at most {most_bytes / 1e6:,.0f} MB of "
                f"{form} are read",
                str(path),
                "export what lies near the site alone",
            )
        walk_stream(stream, str(path), form, begin, end)


def walk_stream(stream: BinaryIO, where: str, form: str, begin: Begin, end: End) -> None:
    """As `walk`, of bytes that are open already."""
    parser = expat.ParserCreate()
    parser.buffer_text = True
    text: list[str] = []
    depth = 0

    def on_begin(name: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        depth += 1
        if depth > MOST_DEEP:
            raise InputError(
                f"it is no {form} that can be read: its tags lie too deep in each other",
                where,
                "export the file again",
            )
        text.clear()
        begin(_local(name), attributes)

    def on_end(name: str) -> None:
        nonlocal depth
        depth -= 1
        end(_local(name), "".join(text))
        text.clear()

    def refuse(*_: object) -> None:
        raise InputError(
            f"it is no {form} that can be read: it declares a document type, and with it entities, which are "
            "not followed",
            where,
            "export the file again, without <!DOCTYPE ...>",
        )

    parser.StartElementHandler, parser.EndElementHandler = on_begin, on_end
    parser.CharacterDataHandler = text.append
    parser.StartDoctypeDeclHandler = refuse
    try:
        while block := stream.read(_BLOCK):
            parser.Parse(block, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise InputError(
            f"it is no {form} that can be read: line {error.lineno} is cut off or wrong "
            f"({expat.ErrorString(error.code)})",
            where,
            "export the file again",
        ) from None
    except InputError:
        raise
    except (LookupError, ValueError):
        # Of codings that expat has not itself, Python's are asked for, and not all fit.
        raise InputError(
            f"it is no {form} that can be read: its text is coded in a way that is not known",
            where,
            "save it in UTF-8",
        ) from None


def _local(name: str) -> str:
    return name.rpartition(":")[2]


@dataclass(frozen=True)
class Tag:
    """A tag with all that is within it: its name without a prefix, attributes, own content, and children."""

    name: str
    attributes: Mapping[str, str]
    children: list["Tag"]
    content: str = ""

    def all(self, name: str) -> list["Tag"]:
        """The children of a name."""
        return [child for child in self.children if child.name == name]

    def one(self, *names: str) -> "Tag | None":
        """The first of a path of names, one within the other."""
        if not names:
            return self
        found = next((child for child in self.children if child.name == names[0]), None)
        return None if found is None else found.one(*names[1:])

    def content_of(self, *names: str) -> str:
        """The content of `one`, without blanks around it; '' where there is none."""
        found = self.one(*names)
        return "" if found is None else found.content.strip()


def tree(stream: BinaryIO, where: str, form: str) -> Tag:
    """All of a small XML text, by its root.

    Raises
    ------
    InputError
        As `walk`.
    """
    top = Tag("", {}, [])
    within = [top]

    def begin(name: str, attributes: Mapping[str, str]) -> None:
        within.append(Tag(name, attributes, []))

    def end(_: str, text: str) -> None:
        tag = within.pop()
        within[-1].children.append(replace(tag, content=text))

    walk_stream(stream, where, form, begin, end)
    return top.children[0]
