"""What only a whole column shows, worked by hand."""

from collections import Counter

import numpy as np
import pytest

from audit.ingest.columns import read_column
from audit.ingest.parse_columns import column_findings, with_routes
from audit.ingest.raw import RawColumn
from audit.ingest.readings import Readings, values_of
from audit.schema.visits import VISITS
from audit.settings import Layout


def column(name: str, *cells: str, layout: Layout | None = None) -> Readings:
    """A column read from these cells."""
    texts = tuple(Counter(cells))
    raw = RawColumn(texts, np.array([texts.index(cell) for cell in cells], dtype=np.int32))
    return read_column(raw, VISITS[name], layout or Layout(), decimal_comma=False)


def findings(read: Readings, kept: list[bool] | None = None) -> dict[str, str]:
    """The rules that found something in a column, and what they say."""
    rows = np.array(kept if kept is not None else [True] * len(read), dtype=np.bool_)
    frame = column_findings({read.column.name: read}, rows)
    assert (frame[["source", "row"]] == 0).all(axis=None)
    return dict(zip(frame["rule"], frame["message"], strict=True))


def test_each_kind_of_unknown_is_counted_by_rows() -> None:
    cells = ["yes", "not asked", "not asked", "n/a", "Declined", "unknown", "", "-"]
    assert findings(column("breastfeeding", *cells)) == {
        "unknown_kinds": "breastfeeding: 1 not known, 2 not asked, 1 declined, 1 not applicable. "
        "All count as unknown; empty cells are not among them."
    }


def test_rows_that_are_set_aside_are_not_counted() -> None:
    read = column("breastfeeding", "not asked", "not asked", "yes")
    assert findings(read, [True, False, True])["unknown_kinds"].startswith("breastfeeding: 1 not asked.")


def test_a_column_without_a_written_reason_has_no_finding() -> None:
    assert findings(column("breastfeeding", "yes", "no", "", "-")) == {}


def test_the_code_unknown_is_counted_too() -> None:
    assert "1 not known" in findings(column("ec_basis", "outside_window", "unknown"))["unknown_kinds"]


def test_dates_that_fit_either_order_are_counted() -> None:
    layout = Layout(date_order="day_month_year")
    # 03/04 is two days, 13/04 is one, 05/05 is the same day either way; 2026-07-01 says its order.
    read = column(
        "visit_date", "03/04/2026", "03/04/2026", "13/04/2026", "05/05/2026", "2026-07-01", layout=layout
    )
    assert findings(read)["dates_fit_either_order"].startswith(
        "visit_date: 2 of 5 dates would be another day"
    )


def test_dates_that_say_their_order_give_no_finding() -> None:
    assert findings(column("visit_date", "2026-07-01", "03-Mar-24")) == {}


def test_an_empty_log_has_no_findings() -> None:
    assert findings(column("visit_date")) == {}


def test_births_by_route_come_from_the_parity() -> None:
    columns = {
        name: column(name, *cells)
        for name, cells in {
            "patient_ref": ["W1", "W2", "W3", "W4"],
            "parity_text": ["1 SVD 1 CS", "P2", "", "nullip"],
            "bmi": ["22", "23", "24", "25"],
        }.items()
    }
    routed = with_routes(columns)
    assert list(routed) == ["patient_ref", "vaginal_births", "caesarean_births", "parity_text", "bmi"]
    np.testing.assert_array_equal(values_of(routed["vaginal_births"]), [1, np.nan, np.nan, 0])
    np.testing.assert_array_equal(values_of(routed["caesarean_births"]), [1, np.nan, np.nan, 0])


@pytest.mark.parametrize("cells", [["P2", "P1+0"], ["nullip", "2"], ["", "?"]])
def test_a_parity_without_routes_adds_no_column(cells: list[str]) -> None:
    assert list(with_routes({"parity_text": column("parity_text", *cells)})) == ["parity_text"]


def test_a_column_of_the_log_is_never_overwritten() -> None:
    columns = {
        "vaginal_births": column("vaginal_births", "", "4"),
        "parity_text": column("parity_text", "1 SVD 1 CS", "2 SVD"),
    }
    routed = with_routes(columns)
    np.testing.assert_array_equal(values_of(routed["vaginal_births"]), [np.nan, 4])
    np.testing.assert_array_equal(values_of(routed["caesarean_births"]), [1, 0])


def test_more_births_than_can_be_are_not_filled_in() -> None:
    routed = with_routes({"parity_text": column("parity_text", "15 CS", "1 SVD 1 CS")})
    np.testing.assert_array_equal(values_of(routed["caesarean_births"]), [np.nan, 1])


def test_a_log_without_a_parity_is_left_as_it_is() -> None:
    columns = {"bmi": column("bmi", "22")}
    assert with_routes(columns) == columns
