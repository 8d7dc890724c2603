"""CSV and JSON: read back by other programs' rules."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest

from monitor.journal.record import check_record
from monitor.report.tables import RING_COLUMNS, csv_text, json_text
from tests.report.made_gig import record


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_rings_come_back_as_they_were() -> None:
    made = record(24)
    text = csv_text(made, "rings")
    # RFC 4180, 2: lines end with CR LF, the header line is one of them.
    assert text.count("\r\n") == text.count("\n") == 25
    found = rows(text)
    assert tuple(found[0]) == RING_COLUMNS
    for row, ring in zip(found, made["rings"], strict=True):
        for key in ("at_s", "lasted_s", "frequency_hz", "level_dbfs", "growth_db_per_s"):
            assert float(row[key]) == ring[key]
        assert (row["slider"], row["degree"]) == (ring["slider"], ring["degree"])
        assert row["at_utc"].startswith("2026-11-26T")


def test_happenings_come_back_as_they_were() -> None:
    made = record(24)
    found = rows(csv_text(made, "happenings"))
    for row, one in zip(found, made["happenings"], strict=True):
        content = {k: v for k, v in one.items() if k not in ("at_s", "kind")}
        assert json.loads(row["content"]) == content


def test_no_date_is_made_up() -> None:
    found = rows(csv_text(record(3, dated="believed"), "rings"))
    assert {row["at_utc"] for row in found} == {""}


@pytest.mark.parametrize(
    "said", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1", "=HYPERLINK(\"x\")"]
)  # fmt: skip
def test_no_text_is_a_formula(said: str) -> None:
    made = record(1)
    made["rings"][0]["slider"] = said
    (row,) = rows(csv_text(made, "rings"))
    assert row["slider"] == f"'{said}"


def test_none_is_one_where_a_semicolon_parts_cells_either() -> None:
    made = record(1)
    made["rings"][0]["slider"] = "a;=1+1; -2;b"
    made["happenings"] = [{"at_s": 5.0, "kind": "note", "text": "so; =HYPERLINK(1);=2"}]
    (row,) = rows(csv_text(made, "rings"))
    assert row["slider"] == "a;'=1+1;' -2;b"
    text = csv_text(made, "happenings")
    assert ";" not in text
    assert json.loads(rows(text)[0]["content"]) == {"text": "so; =HYPERLINK(1);=2"}


def test_numbers_stay_numbers() -> None:
    made = record(1)
    made["rings"][0]["level_dbfs"] = -36.5
    (row,) = rows(csv_text(made, "rings"))
    assert row["level_dbfs"] == "-36.5"


@pytest.mark.parametrize("said", ["a,b", 'a"b', "a\0b", "a\r\nb", "a\nb", "", "\ud800"])
def test_awkward_texts_stay_in_their_cell(said: str) -> None:
    made = record(2)
    made["rings"][0]["slider"] = said
    text = csv_text(made, "rings")
    text.encode("utf-8")
    assert len(rows(text)) == 2


@pytest.mark.parametrize("broken", [{}, {"rings": 3}, {"rings": [1, None]}, {"gig": []}])
def test_a_broken_record_gives_an_empty_table(broken: dict[str, Any]) -> None:
    assert csv_text(broken, "rings") == ",".join(RING_COLUMNS) + "\r\n"


def test_there_is_no_other_table() -> None:
    with pytest.raises(ValueError, match="there is no table 'gigs'; it is rings or happenings"):
        csv_text(record(1), "gigs")  # type: ignore[arg-type]


def test_the_json_is_the_record_and_passes_the_gate_of_another_box() -> None:
    made = record(24)
    assert json.loads(json_text(made)) == made
    assert check_record(json.loads(json_text(made)))["rings"] == made["rings"]
