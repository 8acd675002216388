"""What only the extra `pack` brings, looked for before the work begins."""

from importlib.util import find_spec

from terrain3d.errors import InputError

#: Imported by the module that writes with it, each in one place.
LIBRARIES = ("pyogrio", "xlsxwriter")


def check_extra() -> None:
    """Refuse to begin a pack that could not be written.

    Raises
    ------
    InputError
        With the line that installs what is missing.
    """
    missing = [name for name in LIBRARIES if find_spec(name) is None]
    if missing:
        raise InputError(
            f"a pack needs {' and '.join(missing)}, not installed here",
            "terrain3d pack",
            'pip install "terrain3d[pack]"',
        )
