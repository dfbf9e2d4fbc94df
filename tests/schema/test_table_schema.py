"""The printed Table Schema, held against an outside reader of such schemas: the library frictionless.

Data Package standard, version 2.0: Table Schema. https://datapackage.org/standard/table-schema/
"""

import json
from pathlib import Path

import frictionless
import numpy as np
import pandas as pd
import pytest

from audit.ingest.load import load_visits
from audit.schema.visits import REQUIRED, VISITS
from audit.settings import read_settings
from synthetic_data.demo import write_demo
from synthetic_data.generate import generate_visits

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "visits.schema.json").read_text(encoding="utf-8"))


def report(table: pd.DataFrame, folder: Path) -> list[tuple[int | None, str, str]]:
    """What the outside reader finds wrong with a table: row, column and kind of error."""
    table.to_csv(folder / "visits.csv", index=False)
    found = frictionless.validate(
        frictionless.Resource(
            path="visits.csv",
            basepath=str(folder),
            schema=frictionless.Schema.from_descriptor(SCHEMA),
        ),
        limit_errors=1000,
    )
    rows = found.flatten(["rowNumber", "fieldName", "type"])
    return [(row, column, kind) for row, column, kind in rows]


def as_text(visits: pd.DataFrame) -> pd.DataFrame:
    """Standardised visits as a log of our own headings and codes would write them."""
    names = [name for name in VISITS.names if name in visits]
    return pd.DataFrame({name: [_text(value) for value in visits[name]] for name in names})


def _text(value: object) -> str:
    """One value as a log writes it."""
    if pd.isna(value):  # type: ignore[call-overload]
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)


def test_the_printed_schema_is_a_table_schema() -> None:
    schema = frictionless.Schema.from_descriptor(SCHEMA)
    assert [field.name for field in schema.fields] == list(VISITS.names)
    assert [field.name for field in schema.fields if field.required] == list(REQUIRED)


def test_an_invented_log_in_our_words_fits_the_printed_schema(tmp_path: Path) -> None:
    assert report(generate_visits(seed=8), tmp_path) == []


def test_the_demo_log_fits_the_printed_schema_once_it_is_standardised(tmp_path: Path) -> None:
    log, settings = write_demo(tmp_path)
    visits = load_visits(log, read_settings(settings)).visits
    assert len(visits) > 1000
    assert report(as_text(visits), tmp_path) == []


def test_a_log_without_a_required_column_does_not_fit_the_printed_schema(tmp_path: Path) -> None:
    table = generate_visits(seed=8).head(5)
    assert (None, "visit_kind", "missing-label") in report(table.drop(columns="visit_kind"), tmp_path)


def test_a_log_with_its_columns_in_another_order_and_one_of_its_own_fits(tmp_path: Path) -> None:
    table = generate_visits(seed=8).head(5).assign(room="blue")
    assert report(table[sorted(table.columns)], tmp_path) == []


@pytest.mark.parametrize("column", ["supervised", "age_years", "referral_date", "device_class", "pain_score"])
def test_the_word_unknown_fits_in_every_kind_of_column(tmp_path: Path, column: str) -> None:
    table = generate_visits(seed=8).head(50).astype(object).assign(referral_date="")
    table.loc[10, column] = "unknown"
    assert report(table, tmp_path) == []
    log = load_visits(tmp_path / "visits.csv")
    assert log.set_aside.empty
    assert not {"unreadable_value", "unknown_code"} & set(log.findings["rule"])


@pytest.mark.parametrize(
    ("column", "value", "error"),
    [
        ("patient_ref", "", "constraint-error"),
        ("visit_date", "31/12/2026", "type-error"),
        ("visit_date", "1999-12-31", "constraint-error"),
        ("visit_kind", "fitting", "constraint-error"),
        ("insertion_outcome", "perhaps", "constraint-error"),
        ("supervised", "maybe", "type-error"),
        ("age_years", "31.5", "type-error"),
        ("age_years", "7", "constraint-error"),
        ("pain_score", "10.5", "constraint-error"),
        ("sound_length_mm", "7,5", "type-error"),
    ],
)
def test_what_we_set_aside_or_leave_out_the_printed_schema_refuses_too(
    tmp_path: Path, column: str, value: str, error: str
) -> None:
    table = generate_visits(seed=8).head(50).astype(object)
    assert column in table
    table.loc[10, column] = value
    table.to_csv(tmp_path / "spoilt.csv", index=False)
    log = load_visits(tmp_path / "spoilt.csv", allow_set_aside=True)
    ours = pd.concat([log.set_aside, log.findings])
    assert (12, column) in set(zip(ours["row"], ours["column"], strict=True))
    assert report(table, tmp_path) == [(12, column, error)]
