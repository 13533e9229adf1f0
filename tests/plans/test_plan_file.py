"""A plan file's bytes into rows: encodings, separators, and the place of everything that cannot be read."""

from __future__ import annotations

import pytest

from qcapp.plans import plan_file
from qcapp.plans.plan_file import COLUMNS, read_table
from tests.factories.plans import FR200, numbered, plan_text

TEXT = plan_text({"title": "Winkel α, 62°"})


def found(source):
    """Line, column and code of each finding."""
    return [(finding.line, finding.column, finding.code) for finding in read_table(source).findings]


@pytest.mark.parametrize(
    "source",
    [
        TEXT,
        "\ufeff" + TEXT,
        TEXT.encode(),
        TEXT.encode("utf-8-sig"),
        TEXT.encode("utf-16"),
        b"\xfe\xff" + TEXT.encode("utf-16-be"),
        TEXT.encode("utf-16-le"),
        TEXT.encode("utf-16-be"),
        TEXT.replace("\r\n", "\n"),
        TEXT.replace("\r\n", "\r"),
    ],
    ids=["text", "text with mark", "utf-8", "utf-8 with mark", "utf-16", "utf-16-be with mark", "utf-16-le",
         "utf-16-be", "line feeds", "carriage returns"],
)  # fmt: skip
def test_reads_the_same_row_in_every_encoding(source):
    table = read_table(source)
    assert table.findings == []
    assert [row.cells["title"] for row in table.rows] == ["Winkel α, 62°"]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_reads_what_spreadsheets_of_other_countries_write(separator):
    lines = [separator.join(COLUMNS), separator.join("x" if name == "limits" else "" for name in COLUMNS)]
    table = read_table("\n".join(lines))
    assert table.findings == []
    assert table.rows[0].cells["limits"] == "x"


def test_counts_lines_as_an_editor_does_and_skips_comments_and_empty_lines():
    text = '# invented; a 5" pipe and "quotes, too\r\n\r\n' + plan_text() + ",,,\r\n# more\r\n" + "x,y\r\n"
    table = read_table(text)
    assert [row.line for row in table.rows] == [4]
    assert found(text) == [(7, "", "cells_too_few")]


def test_names_the_cell_as_a_spreadsheet_does():
    table = read_table(plan_text({"title": "=1+1"}))
    finding = table.findings[0]
    assert (finding.line, finding.column, finding.cell) == (2, "title", "G2")
    assert [plan_file.letter_of(index) for index in (0, 25, 26, 51, 52, 701, 702)] == [
        "A", "Z", "AA", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("column", "text"),
    [
        ("title", "=HYPERLINK(1)"),
        ("limits", "=A1"),
        ("method", "+1+1"),
        ("caution", "-2+3"),
        ("nominal", "@SUM(1)"),
    ],
)
def test_refuses_a_cell_that_a_spreadsheet_would_compute(column, text):
    assert found(plan_text({column: text})) == [(2, column, "cell_is_formula")]


def test_takes_signs_where_numbers_stand():
    assert found(plan_text({"limits": "+0.3/-0.1", "nominal": "-5"})) == []


@pytest.mark.parametrize("text", ["two\nlines", "tab\there", "bell\x07", "left\u202eright", "half\ud800"])
def test_refuses_what_cannot_be_seen(text):
    assert found(plan_text({"title": text})) == [(2, "title", "cell_not_plain")]


def test_refuses_a_cell_beyond_reason():
    assert found(plan_text({"title": "x" * 2001})) == [(2, "title", "cell_too_long")]


@pytest.mark.parametrize(
    ("source", "code"),
    [
        (b"", "file_empty"),
        ("# nothing\n", "file_empty"),
        (",".join(COLUMNS), "file_empty"),
        (b"PK\x03\x04 a workbook", "workbook_unreadable"),
        (b"\xd0\xcf\x11\xe0 an old one", "file_is_spreadsheet"),
        (b"x" * (plan_file.MAX_BYTES + 1), "file_too_large"),
        (TEXT.encode().replace("°".encode(), b"\xb0"), "encoding_unknown"),
        (b"\xff\xfe\x00", "encoding_unknown"),
        (TEXT.replace("Winkel", "Win\0kel"), "nul_character"),
        (TEXT.encode().replace(b"Winkel", b"Win\0kel"), "nul_character"),
        (TEXT + '"open', "file_unreadable"),
    ],
)
def test_says_why_a_file_cannot_be_read_at_all(source, code):
    assert code in [finding[2] for finding in found(source)]


def test_names_the_line_of_a_byte_or_nul_that_is_wrong():
    text = plan_text({"title": "Angle"}, numbered(102))
    assert found(text.encode() + b"\xff") == [(4, "", "encoding_unknown")]
    assert found(text + "\0") == [(4, "", "nul_character")]


def test_names_columns_that_are_unknown_twice_or_missing():
    columns = tuple(name for name in COLUMNS if name != "key")
    assert found(plan_text(columns=columns)) == [(1, "key", "column_missing")]
    assert found(plan_text(columns=(*columns, "kee"))) == [
        (1, "kee", "column_unknown"),
        (1, "key", "column_missing"),
    ]
    assert found(",".join((*COLUMNS, "key"))) == [(1, "key", "column_twice")]


def test_takes_empty_cells_behind_the_last_column_and_refuses_full_ones():
    lines = plan_text().splitlines()
    assert found("\n".join([lines[0] + ",,", lines[1] + ",,"])) == []
    assert found("\n".join([lines[0], lines[1] + ",x"])) == [(2, "", "cells_too_many")]


def test_stops_at_more_rows_than_a_plan_has():
    line = "," * (len(COLUMNS) - 1)
    text = "\n".join([",".join(COLUMNS), *(f"{number}{line}" for number in range(1, plan_file.MAX_ROWS + 2))])
    assert found(text) == [(plan_file.MAX_ROWS + 2, "", "too_many_rows")]


def test_reads_the_demonstration_plan():
    table = read_table(FR200.read_bytes())
    assert (len(table.rows), table.findings) == (164, [])
