"""Tables: structure a screen reader needs, and nothing of the data read as HTML."""

from html.parser import HTMLParser

import pandas as pd
import pytest

from audit.statistics.summaries import with_proportions
from reports.tables import Column, escaped, html_table, plain, proportion_columns

NASTY = "<script>alert(1)</script>\"'&{0}{{x}}%{y}</td>"


class _Tags(HTMLParser):
    """Collects tags with their attributes, and text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def _read(markup: str) -> _Tags:
    """The tags and the text of some HTML."""
    tags = _Tags()
    tags.feed(str(markup))
    return tags


def test_text_of_the_data_is_text_and_never_markup() -> None:
    table = _read(html_table(NASTY, [Column(NASTY, plain("site"), "label")], [{"site": NASTY}], foot=NASTY))
    assert {tag for tag, _ in table.tags} == {"div", "table", "caption", "thead", "tbody", "tr", "th", "p"}
    assert table.text.count(NASTY) == 4


def test_every_heading_has_a_scope_and_the_table_a_caption() -> None:
    columns = [Column("Site", plain("site"), "label"), Column("N", plain("n"))]
    table = _read(html_table("Sites", columns, [{"site": "A", "n": 1}, {"site": "B", "n": 2}]))
    scopes = [attributes.get("scope") for tag, attributes in table.tags if tag == "th"]
    assert scopes == ["col", "col", "row", "row"]
    assert [tag for tag, _ in table.tags].count("caption") == 1


def test_a_table_without_rows_says_so() -> None:
    assert "No rows." in _read(html_table("Sites", [Column("Site", plain("site"), "label")], [])).text


def test_a_note_column_is_printed_only_where_some_row_has_a_note() -> None:
    columns = [Column("Site", plain("site"), "label"), Column("Note", plain("note"), "note")]
    assert "Note" not in _read(html_table("Sites", columns, [{"site": "A", "note": ""}])).text
    assert "Note" in _read(html_table("Sites", columns, [{"site": "A", "note": "few"}])).text


@pytest.mark.parametrize(
    ("events", "n", "percentage", "interval"),
    [(31, 640, "4.8", "3.4 to 6.8"), (3, 8, "–", "8.5 to 75.5 e"), (0, 0, "–", "–")],
)
def test_a_row_of_a_proportion_prints_percentage_and_interval(
    events: int, n: int, percentage: str, interval: str
) -> None:
    # Limits of 3 of 8: Clopper-Pearson 0.0852 to 0.7551, the example printed in many textbooks.
    frame = with_proportions(pd.DataFrame({"events": [events], "n": [n], "n_unknown": [0]}))
    row = frame.to_dict("records")[0]
    cells = [
        column.cell(row)
        for column in proportion_columns(Column("All", lambda _: "All", "label"), events="Events")
    ]
    assert cells == ["All", str(events), str(n), percentage, interval, "0"]


def test_text_for_a_drawing_cannot_open_a_tag() -> None:
    assert "<" not in escaped(NASTY)
    assert escaped("A & B") == "A &amp; B"
