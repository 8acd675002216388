"""The one error a person is meant to read: what is wrong, where, and what to do."""

from collections.abc import Iterable
from typing import Any, Protocol, TypeVar

from terrain3d.wording import fit


class Named(Protocol):
    """What has a name."""

    @property
    def name(self) -> str: ...


T = TypeVar("T", bound=Named)


class InputError(ValueError):
    """Something that came from outside cannot be used; its words are made fit to be shown.

    Parameters
    ----------
    what : str
        What was found, with its value.
    where : str
        The file, key or point it was found at; empty when there is none.
    mend : str
        What the person can do about it.

    Examples
    --------
    >>> print(InputError("height is -1", "site.toml: mount[0].height", "give metres above ground"))
    height is -1
      where: site.toml: mount[0].height
      to mend: give metres above ground
    """

    def __init__(self, what: str, where: str = "", mend: str = "") -> None:
        self.what = what = fit(what)
        self.where = where = fit(where)
        # Further faults are told in lines of their own.
        self.mend = mend = "\n".join(map(fit, mend.split("\n")))
        lines = [what]
        if where:
            lines.append(f"  where: {where}")
        if mend:
            lines.append(f"  to mend: {mend}")
        super().__init__("\n".join(lines))

    def __reduce__(self) -> tuple[type["InputError"], tuple[str, str, str], dict[str, Any]]:
        """Made anew from its parts where a process hands it to another: lines are no part of `what`."""
        return type(self), (self.what, self.where, self.mend), self.__dict__


def in_a_line(error: InputError) -> str:
    """What is wrong and what to do, in one line, where there is room for no more; of where, the key alone.

    >>> in_a_line(InputError("-1 is out of bounds", "site.toml: mount 'pole': height", "give metres"))
    'height: -1 is out of bounds; give metres'
    >>> in_a_line(InputError("there is no such file", "site.toml", "name another"))
    'there is no such file; name another'
    """
    key = error.where.rpartition(": ")[2]
    place = f"{key}: " if key.replace("_", "").isalpha() and ": " in error.where else ""
    return f"{place}{error.what}; {error.mend}" if error.mend else f"{place}{error.what}"


class Uncertainty(UserWarning):
    """Something was read, yet a careful person would check it; shown, never swallowed."""


def one_named(name: str, among: Iterable[T], what: str) -> T:
    """The one of that name.

    Parameters
    ----------
    name : str
    among : iterable
        Of values with a name.
    what : str
        What they are, in the singular.

    Raises
    ------
    InputError
        When there is none, with the names there are.
    """
    known = []
    for one in among:
        if one.name == name:
            return one
        known.append(one.name)
    there = f"there are {', '.join(known)}" if known else f"there is no {what} at all"
    raise InputError(f"there is no {what} {name!r}", mend=there)
