"""The generated documents are fresh, complete and valid in form."""

import json
from pathlib import Path

import pytest

from audit.schema.documents import data_dictionary, documents, table_schema
from audit.schema.visits import REQUIRED, VISITS

DOCS = Path(__file__).resolve().parents[2] / "docs"
# Field types and constraints named by the Table Schema specification (Frictionless Data), from memory.
TYPES = {"string", "number", "integer", "boolean", "date"}
CONSTRAINTS = {"required", "unique", "enum", "minimum", "maximum", "pattern", "minLength", "maxLength"}


@pytest.mark.parametrize("name", ["criteria.md", "data_dictionary.md", "visits.schema.json", "methods.md"])
def test_the_document_in_docs_is_what_the_declaration_writes(name: str) -> None:
    assert (DOCS / name).read_text(encoding="utf-8") == documents(VISITS)[name], (
        "stale: run python -m audit.schema.documents"
    )


def test_the_dictionary_has_one_line_per_column_and_every_code() -> None:
    text = data_dictionary(VISITS)
    lines = [line for line in text.splitlines() if line.startswith("| `")]
    assert [line.split("`")[1] for line in lines] == list(VISITS.names)
    for column in VISITS.columns:
        assert all(f"`{code}`" in text for code in column.codes)


def test_the_dictionary_marks_the_required_columns_and_only_those() -> None:
    marked = [
        line.split("`")[1]
        for line in data_dictionary(VISITS).splitlines()
        if line.endswith("| **required** |")
    ]
    assert marked == list(REQUIRED)


def test_no_cell_of_the_dictionary_breaks_its_table() -> None:
    lines = [line for line in data_dictionary(VISITS).splitlines() if line.startswith("|")]
    assert {line.count("|") for line in lines} == {6}


def test_every_field_of_the_table_schema_is_valid_in_form() -> None:
    schema = json.loads(documents(VISITS)["visits.schema.json"])
    assert [field["name"] for field in schema["fields"]] == list(VISITS.names)
    for field in schema["fields"]:
        assert field["type"] in TYPES
        assert field["title"]
        assert field["description"]
        assert set(field["constraints"]) <= CONSTRAINTS
        assert isinstance(field["constraints"]["required"], bool)


def test_the_table_schema_carries_codes_limits_and_years() -> None:
    fields = {field["name"]: field for field in table_schema(VISITS)["fields"]}
    assert fields["vasovagal_grade"]["constraints"] == {"required": False, "minimum": 0, "maximum": 4}
    assert fields["visit_date"]["constraints"] == {
        "required": True,
        "minimum": "2000-01-01",
        "maximum": "2100-12-31",
    }
    assert fields["tenaculum_used"]["constraints"]["enum"] == ["yes", "no", "atraumatic", "unknown"]
    assert fields["syncope"]["trueValues"] == ["yes"]
