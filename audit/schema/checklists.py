"""What two reporting guides ask of a report, in our own words, and where this audit answers it.

References: RECORD, Benchimol EI et al, PLoS Med 2015;12:e1001885; SQUIRE 2.0, Ogrinc G et al, BMJ Qual Saf
2016;25:986-992. Numbers as printed there; the topics are ours, and the guides themselves say more.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Asked:
    """One item of a guide: its number and topic, the section of the report that answers it, and what it needs.

    Without a `section` the tool cannot know the answer. `table` names the result table without which the section
    says nothing of it.
    """

    guide: str
    number: str
    topic: str
    section: str = ""
    table: str = ""


_RECORD = (
    ("1.1", "Kind of data, named at the head", "page-one", ""),
    ("1.2", "Place and time", "page-one", ""),
    ("1.3", "Whether sources were linked", "", ""),
    ("6.1", "How women and visits were selected", "methods", ""),
    ("6.2", "How far the codes that select them were checked", "data-quality", "finding_counts"),
    ("6.3", "Flow of linked records", "", ""),
    ("7.1", "Codes that define every figure", "methods", ""),
    ("12.1", "Which part of the source was open to the authors", "data-quality", "row_accounting"),
    ("12.2", "How the data were cleaned", "data-quality", "finding_counts"),
    ("12.3", "Level and method of linkage", "", ""),
    ("13.1", "Who was left out, and why, step by step", "data-quality", "row_accounting"),
    ("19.1", "What it means that the log was not kept for this question", "cautions", ""),
    ("22.1", "Where protocol, data and code can be had", "methods", ""),
)
_SQUIRE = (
    ("1", "Title that says it is about improving care", "page-one", ""),
    ("2", "Summary", "page-one", ""),
    ("3", "The local problem", "standards", "criteria"),
    ("4", "What is known already", "benchmarks", "benchmark_comparison"),
    ("5", "Why the action should work", "", ""),
    ("6", "Aim", "standards", "criteria"),
    ("7", "Context", "caseload", "caseload"),
    ("8", "What was done, and by whom", "actions", "actions"),
    ("9", "How its effect was studied", "actions", "change_since_last"),
    ("10", "Measures, with definition and completeness", "methods", ""),
    ("11", "Analysis, chance variation and time", "methods", ""),
    ("12", "Ethics", "", ""),
    ("13", "Results, over time and with what is missing", "actions", "change_since_last"),
    ("14", "Key findings", "page-one", ""),
    ("15", "What they mean beside published figures", "benchmarks", "benchmark_comparison"),
    ("16", "Limits", "cautions", ""),
    ("17", "Use, sustainability and next steps", "", ""),
    ("18", "Funding", "", ""),
)
CHECKLISTS: tuple[Asked, ...] = (
    *(Asked("RECORD", *item) for item in _RECORD),
    *(Asked("SQUIRE 2.0", *item) for item in _SQUIRE),
)
