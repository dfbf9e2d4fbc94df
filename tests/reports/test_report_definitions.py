"""From every figure on the page one click leads to what it counts, in the words that the code declares."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

import pytest

from audit.records import AuditResults
from audit.schema.indicators import BY_TABLE, INDICATORS
from reports.editions import render_internal

# Tables that hold no figure of the audit: what was read, what is to be done, rules, standards in words, sources.
NO_FIGURE = {
    "Needs action today, by visit reference",
    "Rows of the log",
    "Points to check and to know, by rule",
    "Fields that are required or recommended",
    "Optional fields",
    "Missing, of the rows to which a field applies, by site",
    "Missing, % of the rows to which a field applies, by site",
    "From log rows to placements whose first year is known",
    "Caseload",
    "Case mix of visits for an insertion, this period",
    "Visits at which a standard was not met, of this period unless said",
    "Stated by the service",
    "The standards of this audit",
    "Published figures without one of ours; each with its full source in the table of comparisons",
    "Sources of the figures in the first table",
    "Sources of the other figures compared",
    "Rules that the service can set",
    "Files and versions",
    "Two guides on reporting, in our own words",
}
EVERY_FIGURE = "Figures this log can and cannot give"
_VOID = {"meta", "link", "br", "hr", "img", "input"}


@dataclass
class Shown:
    """A table, drawing or statement: its caption, the definitions it leads to, and those its rows lead to."""

    kind: str
    caption: str = ""
    leads_to: set[str] = field(default_factory=set)
    rows: list[str] = field(default_factory=list)
    inside: "Shown | None" = None


class _Reader(HTMLParser):
    """Collects what is shown, and the entries of the methods."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[tuple[str, dict[str, str | None]]] = []
        self.shown: list[Shown] = []
        self.within: list[Shown] = []
        self.entries: dict[str, str] = {}
        self.entry = ""
        self.links: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag in _VOID:
            return
        self.open.append((tag, named))
        if self._is_shown(tag):
            made = Shown(tag, inside=self.within[-1] if self.within else None)
            self.shown.append(made)
            self.within.append(made)
        if tag == "tr" and self._in("tbody"):
            self.within[-1].rows.append("")
        if tag == "a" and str(named.get("href", "")).startswith("#how-"):
            self._led_to(str(named["href"]).removeprefix("#how-"))
        if tag == "dt":
            self.entry = str(named.get("id") or "")

    def _led_to(self, name: str) -> None:
        """Notes where a link to a definition stands."""
        if not self.within:
            self.links.add(name)
        elif self._in("tbody"):
            self.within[-1].rows[-1] = name
        else:
            self.within[-1].leads_to.add(name)

    def _is_shown(self, tag: str) -> bool:
        """Whether a tag opens a table, a drawing or a statement of page one."""
        return tag in ("table", "figure") or (tag == "li" and self._in("ol", "statements"))

    def _in(self, tag: str, called: str = "") -> bool:
        """Whether a tag is open, of this class where one is given."""
        return any(name == tag and called in str(named.get("class", "")) for name, named in self.open)

    def handle_endtag(self, tag: str) -> None:
        self.open.pop()
        if self.within and self.within[-1].kind == tag and (tag != "li" or not self._in("li")):
            self.within.pop()

    def handle_data(self, data: str) -> None:
        if self.within and self.open and self._in("caption") and not self._in("a"):
            self.within[-1].caption += data.strip()
        if self.entry and self._in("dd"):
            self.entries[self.entry] = self.entries.get(self.entry, "") + data


@pytest.fixture(scope="module")
def read(demo_results: AuditResults) -> _Reader:
    """The internal edition of the invented service, read."""
    reader = _Reader()
    reader.feed(render_internal(demo_results))
    return reader


def _leads(shown: Shown) -> bool:
    """Whether what is shown leads to a definition: itself, every row of it, or the drawing that it lies under."""
    around = shown.inside is not None and _leads(shown.inside)
    return bool(shown.leads_to) or (bool(shown.rows) and all(shown.rows)) or around


def test_every_table_drawing_and_statement_leads_to_what_it_counts(read: _Reader) -> None:
    kinds = [shown.kind for shown in read.shown]
    assert kinds.count("table") > 80
    assert kinds.count("figure") > 10
    assert kinds.count("li") == 7
    tables = {shown.caption for shown in read.shown if shown.kind == "table"}
    assert tables >= NO_FIGURE
    without = {shown.caption for shown in read.shown if not _leads(shown) and shown.kind == "table"}
    assert without == NO_FIGURE
    drawn = [shown for shown in read.shown if shown.kind != "table"]
    # The map of what is missing is the one drawing that holds no figure of the audit.
    assert sum(not _leads(shown) for shown in drawn) == 1


def test_every_figure_that_the_log_can_give_is_led_to(read: _Reader, demo_results: AuditResults) -> None:
    told = demo_results.tables["indicator_availability"]
    # A clinician's own figures stand on the sheets alone.
    given = set(told.loc[told["available"], "indicator"]) - {"clinician_figures"}
    assert len(given) > 40
    # The list of all figures leads to each, whether or not the page shows it anywhere.
    elsewhere = [shown for shown in read.shown if shown.caption != EVERY_FIGURE]
    assert given <= read.links.union(*(shown.leads_to.union(shown.rows) for shown in elsewhere))
    (every,) = [shown for shown in read.shown if shown.caption == EVERY_FIGURE]
    assert set(every.rows) == set(BY_TABLE)


def test_every_definition_led_to_is_there_word_for_word(read: _Reader) -> None:
    assert set(read.entries) == {f"how-{name}" for name in BY_TABLE}
    assert len(BY_TABLE) == len(INDICATORS)
    for name, indicator in BY_TABLE.items():
        entry = read.entries[f"how-{name}"]
        assert entry == (
            f"{indicator.question} Counted: {indicator.numerator} Of: {indicator.denominator} Not known: "
            f"{indicator.unknowns} Method: {indicator.method} Sources: {indicator.source}"
        )
