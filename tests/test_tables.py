"""Tables as they are written by hand: the usual slips are told with what mends them."""

import pytest

from terrain3d.errors import InputError
from terrain3d.tables import tables_of


@pytest.mark.parametrize(
    ("line", "mend"),
    [
        ("height = 1,2", "decimal point"),
        ("height = -1,25  # as on the sheet", "decimal point"),
        (r'file = "C:\site\survey.laz"', "forward slashes"),
        ("type = one-head-90", "quotation marks"),
        ("crs = EPSG:25832", "quotation marks"),
        ("at = [1.0, 2.0", "mend the file at that line"),
        ("name = 'x", "mend the file at that line"),
    ],
)
def test_the_usual_slips_of_whoever_writes_no_toml(line, mend):
    """The line is told, and what is to be written instead (slips: common practice, no source)."""
    with pytest.raises(InputError, match=r"(?s)it is not TOML: .*") as fault:
        tables_of(f'[site]\nname = "yard"\n{line}\nz = 1\n', "site.toml")
    assert mend in fault.value.mend
