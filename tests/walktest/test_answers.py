"""Sheets as people and programs for tables bring them back: read where the meaning is plain, else refused."""

import pytest

from terrain3d.errors import InputError
from terrain3d.walktest.answers import answers_in, read_answers

HEAD = "point,x,y,direction,seen\n"


def test_what_programs_for_tables_make_of_it(tmp_path):
    """Semicolons, decimal commas, other cases, spaces, a mark before the text, another encoding, Ja and
    Nein."""
    plain = answers_in(f"{HEAD}1,560001.5,10,90,yes\n2,3,4,0,no\n3,5,6,0,\n", "sheet")
    assert [answer.seen for answer in plain] == [True, False, None]
    others = [
        "Point;X;Y;Direction;Seen;Notiz\n1;560001,5;10;90;Ja;naß\n2;3;4;0;NEIN;\n3;5;6;0;;\n;;;;;\n",
        "point\tx\ty\tdirection\tseen\r\n"
        "1\t560 001,5\t10,0\t450\tlit\r\n2\t3\t4\t0\tdark\r\n3\t5\t6\t0\t-\r\n",
        "sep=;\r\npoint;x;y;direction;seen;;\r\n1;560001,5;10;90;yes;;\r\n2;3;4;0;no;;\r\n3;5;6;0;;;\r\n",
        '\n\npoint,x,y,direction,seen\n1,"560001,5",10,90,Y\n2,3,4,0,N\n3,5,6,0,\n',
        "seen,point,direction,y,x\nTRUE,1,90,10,'560001.5\nFalse,2,0,4,3\n?,3,0,6,5\n",
    ]
    for number, text in enumerate(others):
        path = tmp_path / f"{number}.csv"
        for encoding in ("utf-8-sig", "cp1252", "utf-16"):
            path.write_bytes(text.encode(encoding))
            found = read_answers(path)
            assert [(a.point, a.x, a.y, a.towards_deg, a.seen) for a in found] == [
                (a.point, a.x, a.y, a.towards_deg, a.seen) for a in plain
            ]


def test_points_that_are_missing_or_doubled():
    """Rows may be gone, in another order, or twice alike; of twice, the one that is filled in counts."""
    found = answers_in(f"{HEAD}7,1,1,0,yes\n2,3,4,0,\n2,3,4,0,no\n7,1,1,0,yes\n", "sheet")
    assert [(answer.point, answer.seen) for answer in found] == [(2, False), (7, True)]


@pytest.mark.parametrize(
    ("text", "what", "where"),
    [
        ("", "the sheet is empty", "sheet"),
        ("a,b\n1,2\n", "no column 'point'", "row 1"),
        ("point,x,y,direction\n1,2,3,4\n", "no column 'seen'", "row 1"),
        ("point,x,x,y,direction,seen\n1,2,2,3,4,yes\n", "two columns are called 'x'", "row 1"),
        (f"{HEAD}1,2,3,4,maybe\n", "'maybe' says neither yes nor no", "row 2, column seen"),
        (f"{HEAD}1,2,3,4,=A1\n", "there is a formula, '=A1'", "row 2, column seen"),
        (f'{HEAD}1,"=HYPERLINK(""x"")",3,4,yes\n', "there is a formula", "row 2, column x"),
        (f"{HEAD}1,two,3,4,yes\n", "'two' is no number", "row 2, column x"),
        (f"{HEAD}1,2,3,99999,yes\n", "'99999' is no direction", "row 2, column direction"),
        (f"{HEAD}1.5,2,3,4,yes\n", "'1.5' is no number of a point", "row 2, column point"),
        (f"{HEAD}1,2,3,4,yes\n\n1,2,3,4,no\n", "point 1 stands in rows 2 and 4", "row 4, column point"),
        (f"{HEAD}1,2,3,4,\n", "nothing is filled in", "column seen"),
        (HEAD, "no row below its heading", "sheet"),
        (f'{HEAD}1,2,3,4,"{"y" * 200_000}', "it is no CSV", "sheet"),
        (f"{HEAD}1,560001,5,10,0,90,yes\n", "row 2 has more cells than the heading", "row 2, column 6"),
        (f"{HEAD}1,2,3,4,yes,it rained\n", "row 2 has more cells than the heading", "row 2, column 6"),
        (f"{HEAD}1,5.6E+05,3,4,yes\n", "'5.6E+05' has lost its last figures", "row 2, column x"),
        (f"{HEAD}1,1.234,3 m,4,yes\n", "'3 m' is no number", "row 2, column y"),
        ("point;x;y;direction;seen\n1;1.234,5;3;4;ja\n", "'1.234,5' is no number", "row 2, column x"),
        ("point,x,y,direction,length,seen\n1,2,3,4,0,yes\n", "nobody walks 0 m", "row 2, column length"),
        ("point,x,y,direction,length,seen\n1,2,3,4,-2,yes\n", "nobody walks -2 m", "row 2, column length"),
        (f"{HEAD}1,2,3,4,#REF!\n", "'#REF!' says neither", "row 2, column seen"),
        (f"{HEAD}1,2,3\n", "'' is no number", "row 2, column direction"),
    ],
)
def test_sheets_that_cannot_be_read(text, what, where):
    """One message, with the row as a program for tables numbers it, the column, and what to do."""
    with pytest.raises(InputError) as error:
        answers_in(text, "sheet")
    assert what in error.value.what
    assert where in error.value.where
    assert error.value.mend


def test_what_is_no_sheet(tmp_path):
    """A picture, and a file that is not there."""
    (tmp_path / "a.csv").write_bytes(bytes(range(256)) * 4)
    with pytest.raises(InputError):
        read_answers(tmp_path / "a.csv")
    with pytest.raises(InputError, match="there is no such file"):
        read_answers(tmp_path / "b.csv")
