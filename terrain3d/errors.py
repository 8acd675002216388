"""The one error a person is meant to read: what is wrong, where, and what to do."""


class InputError(ValueError):
    """Something that came from outside cannot be used.

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
        self.what = what
        self.where = where
        self.mend = mend
        lines = [what]
        if where:
            lines.append(f"  where: {where}")
        if mend:
            lines.append(f"  to mend: {mend}")
        super().__init__("\n".join(lines))


class Uncertainty(UserWarning):
    """Something was read, yet a careful person would check it; shown, never swallowed."""
