"""Tables as they are written: figures for a person, terminal, HTML, CSV and JSON, each read again by other means."""

from __future__ import annotations

import csv
import html
import io
import json
import math
import re
from dataclasses import dataclass

import pytest
from rich.console import Console

from kin3d.writing.html import html_table, prose, text
from kin3d.writing.numbers import together
from kin3d.writing.result import Result
from kin3d.writing.tables import Column, Quantity, Table, csv_text, json_object
from kin3d.writing.terminal import Output

COLUMNS = (
    Column("measure", text=True, key=True),
    *(Column(f"travel_{k}_mm", "mm", head=f"{k} mm") for k in range(9)),
)
WIDE = Table.of(
    "wide",
    COLUMNS,
    [("camber", *(1000.25 + k for k in range(9))), ("toe_out_in_droop", *(-2000.75 - k for k in range(9)))],
    title="A <wide> table",
    notes=("bump & droop",),
)


# --- figures: places by the unit, a rate one place more and three at least -----------------------------------------


@pytest.mark.parametrize(
    ("quantity", "shown"),
    [
        (Quantity(-1.54361, "deg"), "−1.544"),
        (Quantity(17.8349, "mm"), "17.83"),
        (Quantity(11.849, "%"), "11.8"),
        (Quantity(0.797449, "1"), "0.7974"),
        (Quantity(-0.00012, "deg"), "0.000"),
        (Quantity(math.nan, "mm"), "–"),
        (Quantity(-math.inf, "mm"), "∞"),
        (Quantity(1.5, "mm", "signed"), "+1.50"),
        (Quantity(-1.5, "mm", "signed"), "−1.50"),
        (Quantity(0.001, "mm", "signed"), "0.00"),
        (Quantity(0.0123456, "deg", "rate"), "0.0123"),
        (Quantity(0.0123456, "mm", "rate"), "0.012"),
        (Quantity(0.0123456, "%", "rate"), "0.012"),
        (Quantity(0.0123456, "1", "rate"), "0.01235"),
        (Quantity(0.0123456, "deg", "signed rate"), "+0.0123"),
        (Quantity(0.5, "deg", "signed", 0.25), "+0.500 ± 0.250"),
        (Quantity(0.5, "deg", "signed rate", 0.25), "+0.5000 ± 0.2500"),
        (Quantity(0.666, form="percent"), "67 %"),
    ],
)
def test_a_figure_has_the_places_that_its_unit_deserves(quantity, shown):
    assert str(quantity) == shown


# --- the terminal -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [40, 52, 67, 200])
def test_a_wide_table_goes_on_below_with_its_first_column_and_is_never_wider_than_the_terminal(width):
    out = io.StringIO()
    Output(console=Console(file=out, force_terminal=True, color_system=None, width=width)).table(WIDE)
    lines = out.getvalue().splitlines()
    assert max(len(line.rstrip()) for line in lines) <= width
    blocks = sum("measure" in line for line in lines)
    assert blocks == sum(line.lstrip().startswith("toe_out_in_droop") for line in lines)
    assert (blocks == 1) is (width == 200)
    # every figure once and whole
    assert re.findall(r"−?\d+\.\d\d\b", "\n".join(x for x in lines if "camber" in x)) == [
        f"{1000.25 + k:.2f}" for k in range(9)
    ]


def test_in_a_pipe_every_row_is_a_line_with_tabs(capsys):
    Output().table(WIDE)
    Output(quiet=True).table(WIDE)
    Output(error=True).labelled("warning: ", "yellow", "[front] is :smile: odd")
    out, err = capsys.readouterr()
    assert err == "warning: [front] is :smile: odd\n"
    lines = out.splitlines()
    assert lines[0] == "A <wide> table"
    assert lines[1].split("\t") == ["measure", *(f"{k} mm" for k in range(9))]
    assert lines[2].split("\t") == ["camber", *(f"{1000.25 + k:.2f}" for k in range(9))]
    assert lines[-1] == "bump & droop"


# --- HTML -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("most", "left"), [(None, 0), (15, 0), (14, 1), (12, 3)])
def test_html_says_how_many_rows_it_leaves_out(most, left):
    made = html_table(Table.of("t", ["n"], [(float(k),) for k in range(15)]), most)
    assert made.count('scope="row"') == 15 - left
    assert re.findall(r"(\d+) more rows", made) == ([str(left)] if left else [])


def test_html_takes_nothing_for_markup():
    made = html_table(WIDE)
    assert "<wide>" not in made
    assert html.escape("A <wide> table") in made
    assert "bump &amp; droop" in made


# --- files ------------------------------------------------------------------------------------------------------------


VALUES = Table.of(
    "values",
    [Column("name", text=True), Column("x_mm", "mm"), Column("share")],
    [('comma, "quote"', 1.0 / 3.0, Quantity(2.0 / 3.0, "1")), ("none", math.nan, None)],
    title="Two rows",
    notes=("a note of the table",),
)


def test_csv_has_twelve_digits_and_an_empty_cell_where_there_is_no_value():
    rows = list(csv.reader(io.StringIO(csv_text(VALUES))))
    assert rows == [
        ["name", "x_mm", "share"],
        ['comma, "quote"', "0.333333333333", "0.666666666667"],
        ["none", "", ""],
    ]


def test_json_has_the_units_of_its_columns_and_null_where_there_is_no_value():
    assert json_object(VALUES) == {
        "title": "Two rows",
        "columns": [{"name": "name"}, {"name": "x_mm", "unit": "mm"}, {"name": "share"}],
        "rows": [['comma, "quote"', 0.333333333333, 0.666666666667], ["none", None, None]],
        "notes": ["a note of the table"],
    }


@dataclass(frozen=True, slots=True, repr=False)
class Made(Result):
    """A result of two tables."""

    kind = "made"

    def summary(self) -> str:
        return "two tables"

    def tables(self, measures=None):
        return (WIDE,)

    def records(self):
        return VALUES, WIDE

    def notes(self):
        return ("what was left out", "what was assumed")


def test_a_result_as_json_holds_all_that_it_says(tmp_path):
    assert Made().save(tmp_path / "r.json") == 4
    content = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert content["kind"] == "made"
    assert content["summary"] == "two tables"
    assert content["notes"] == ["what was left out", "what was assumed"]
    assert list(content["tables"]) == ["values", "wide"]
    assert content["tables"]["values"] == json_object(VALUES)


def test_a_result_as_csv_is_its_first_table_or_the_one_that_is_named(tmp_path):
    assert Made().save(tmp_path / "first.csv") == 2
    assert (tmp_path / "first.csv").read_text("utf-8") == csv_text(VALUES)
    assert Made().save(tmp_path / "named.csv", "wide") == 2
    assert (tmp_path / "named.csv").read_text("utf-8") == csv_text(WIDE)


def test_no_line_of_a_sentence_ends_between_a_figure_and_its_unit():
    hard = "\N{NO-BREAK SPACE}"
    said = together("rose 13 ± 9 mm (95 %): 16 mm up; 3 deg, 1.5 N/mm, 2 N, 5 more, at 0 s")
    parted = said.split(" ")
    assert f"13{hard}±{hard}9{hard}mm" in parted
    assert f"(95{hard}%):" in parted
    assert {f"16{hard}mm", f"3{hard}deg,", f"1.5{hard}N/mm,", f"2{hard}N,", "5", "more,", f"0{hard}s"} <= set(parted)
    assert prose("<b> 5 %") == f"&lt;b&gt; 5{hard}%"
    assert text("--sigma 2 mm") == "--sigma 2 mm"  # what is copied stays as it is
