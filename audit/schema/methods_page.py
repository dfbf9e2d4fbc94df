"""The page that says how every figure is defined and computed, written from the declarations the code uses."""

from audit.schema.checklists import CHECKLISTS
from audit.schema.column import Table
from audit.schema.derived import ATTEMPTS, FOLLOW_UPS, PLACEMENTS
from audit.schema.indicator import Indicator
from audit.schema.indicators import INDICATORS

_OPENING = """# How every figure is defined and computed

<!-- Written by `python -m audit.schema.documents` from audit/schema/. Edit the declarations, not this page. -->

## The rules everything rests on

- **Attempt.** It begins when an instrument passes the external os or the tenaculum is applied. Stopped
  earlier it is a deferral and is counted apart. The clinician who started owns it; if another goes on the
  same day, the first one's attempt failed and the second has an attempt of her own.
- **Placement.** The device is in the cavity when the procedure ends. Time zero is that day. A device placed
  elsewhere counts for workload only. Figures that rest on time look at each woman's first placement in the
  log that is no replacement.
- **Ending.** One a spell, the earliest; on one day perforation, then pregnancy, then expulsion, then
  removal. Expulsion is dated when it is found, pregnancy at conception, perforation when it is found. Two
  placements with no ending between them mean an unrecorded ending at the second. Death competes for
  incidence and censors continuation.
- **Two censoring rules, always both.** `last_known` ends observation on the last day the device was known
  in place. `assumed_in_place` carries event-free women on to the freeze less a reporting lag, or to the day
  they moved away, declined or died. The first overstates endings when women with trouble come back more
  often; the second understates them when removals elsewhere go unheard of. Neither is safe alone.
- **The gate.** With the outcome at 12 months known for 80% or more, `last_known` leads; from 60% both stand
  as equals and no benchmark verdict is given; below that the page shows bounds only. The tables are always
  complete.
- **Period and freeze.** Period figures count what is dated in the period, whenever it was learned. Survival
  is followed to the freeze. A period's woman-time enters each spell on the day before the period, so that
  quarters add up to the whole.
- **Intervals.** Wilson always and exact (Clopper-Pearson) beside it; the page shows the exact one when 5 or
  fewer had, or had not, the event, or there were fewer than 30. Nothing seen: the exact upper limit.
- **Signals.** The exact binomial tail decides: 2.5% on one side asks for a look at cases, 0.1% calls for a
  review. With many clinicians some signals come by chance alone; the report says how many.
- **Benchmarks.** Higher or lower when the 95% interval of the difference leaves out 0, both sides being
  uncertain; compatible when it lies within the margin the service set for that outcome; otherwise it cannot
  be told.
"""


_GUIDES = """Topics in our own words, and the section of the report that answers them. What rests on an earlier
audit or an action plan is supplied where the audit has one. RECORD: Benchimol EI et al, PLoS Med
2015;12:e1001885. SQUIRE 2.0: Ogrinc G et al, BMJ Qual Saf 2016;25:986-992.
"""


def methods_page() -> str:
    """The page as Markdown that ends with a line feed.

    Returns
    -------
    str

    Examples
    --------
    >>> methods_page().splitlines()[0]
    '# How every figure is defined and computed'
    """
    figures = ["## The figures", *(_figure(indicator) for indicator in INDICATORS)]
    tables = [
        "## The tables derived from a log",
        *(_table(table) for table in (ATTEMPTS, PLACEMENTS, FOLLOW_UPS)),
    ]
    return "\n".join([_OPENING, *figures, *tables, *_checklists()]) + "\n"


def _figure(indicator: Indicator) -> str:
    """One figure."""
    needs = "; ".join(" or ".join(f"`{name}`" for name in group) for group in indicator.needs)
    return "\n".join(
        [
            f"\n### {indicator.title}\n",
            f"*{indicator.question}* Table `{indicator.table}`.\n",
            f"- **Counted:** {indicator.numerator}",
            f"- **Of:** {indicator.denominator}",
            f"- **Unknown:** {indicator.unknowns}",
            f"- **Method:** {indicator.method}",
            f"- **Source of the method:** {indicator.source}",
            f"- **The log must record:** {needs}",
        ]
    )


def _checklists() -> list[str]:
    """What two reporting guides ask, and the section of the report that answers it."""
    lines = [
        f"| {asked.guide} {asked.number} | {asked.topic} | {asked.section.replace('-', ' ') or 'not supplied'} |"
        for asked in CHECKLISTS
    ]
    return [
        "\n## Two reporting guides\n",
        _GUIDES,
        "| item | topic | section |",
        "|---|---|---|",
        *lines,
    ]


def _table(table: Table) -> str:
    """One derived table, a line for each column."""
    lines = [f"| `{column.name}` | {column.meaning} |" for column in table.columns]
    return "\n".join(
        [f"\n### {table.name}\n", f"One row is {table.row}.\n", "| column | meaning |", "|---|---|", *lines]
    )
