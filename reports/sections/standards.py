"""Standards: which are met, which surely not, what each asks and where it comes from."""

from collections.abc import Callable

from audit.errors import name_a_few
from audit.records import AuditResults
from audit.schema.criterion import indicator_of
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.figures.marks import three_part_bar
from reports.sections.care import other_care_blocks, safety_net_blocks
from reports.sections.parts import PERIOD, ROLLING, WHOLE
from reports.sections.section import Block, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import (
    PROPORTION_FOOT,
    Cell,
    Column,
    html_table,
    linked,
    number,
    plain,
    proportion_columns,
)
from reports.words_for_codes import stratum, within, word

_ID, _LABEL, _TABLE = "standards", "Standards", "criteria"
_JUDGED = ("met", "not_met", "cannot_tell")
_VERDICTS = {
    "met": "Met",
    "not_met": "Surely not met",
    "cannot_tell": "Cannot tell",
    "described": "Described",
    "not_recorded": "Too little recorded",
    "no_cases": "Nobody concerned",
    "not_recorded_in_this_log": "Not in this log",
}
_FEWEST_VISITS = 12
_BAR = (
    "Bar: dark, met; coloured, not met; pale, not recorded; dashed, exceptions, which are left out. Tick: the "
    "target, among those recorded."
)
_LAST = "Dot: the last audit."
_RULE = (
    "Met: the whole interval reaches the target, or everyone recorded met it. Surely not met: the whole interval "
    "falls short. A target of 100% is missed by one."
)
_NO_TARGET = (
    "Continuation and removal have no target. A target would reward reluctance to take a device out when a woman "
    "asks; both are described instead."
)


def standards_section(results: AuditResults) -> Section:
    """The standards with their bars, what has no target, what the service states, and the definitions."""
    held = _held(results)
    judged = [row for row in held if _has_target(row) and _is_counted(row)]
    blocks: list[Block] = [
        Paragraph(
            "Each standard was met, not met, or nobody wrote down which: a blank is never a no.",
            "Exceptions are counted and left out of the denominator.",
        ),
        *_judged_blocks(results, judged),
        *_described_blocks([row for row in held if _is_counted(row) and not _has_target(row)]),
        *_case_blocks(results),
        *_stated_blocks(results),
        *_absent_blocks(held),
        Paragraph(_NO_TARGET),
        *_definition_blocks(results),
        *other_care_blocks(results, {str(row["figure"]) for row in _definitions(results, "in_force")}),
        *safety_net_blocks(results),
    ]
    return Section(_ID, _LABEL, _heading(held), tuple(blocks))


def at_once(results: AuditResults) -> tuple[tuple[str, str, str], ...]:
    """How many standards are met, surely not, or cannot be told, for the head of page one."""
    told = [row for row in _held(results) if row["verdict"] in _JUDGED]
    if not told:
        return ()
    met, missed, open_ = (sum(row["verdict"] == verdict for row in told) for verdict in _JUDGED)
    rest = [f"{missed} surely not" if missed else "", f"{open_} cannot tell" if open_ else ""]
    said = ", ".join([f"{met} of {len(told)} met", *(text for text in rest if text)])
    return (("Standards", said, _ID),)


def _held(results: AuditResults) -> list[Row]:
    """One row per criterion: of the period, else of the twelve months, else of the whole log."""
    chosen: dict[str, Row] = {}
    sites = _sites(results)
    for window in (PERIOD, ROLLING, WHOLE):
        for row in rows(results, _TABLE, window=window):
            if row["by"] != "site_ref" or row["stratum"] == sites.get(str(row["criterion"])):
                chosen.setdefault(str(row["criterion"]), row | {"n_unknown": row["n_not_recorded"]})
    figures = _figures(results)
    return [chosen[name] | {"figure": figures[name]} for name in figures if name in chosen]


def _figures(results: AuditResults) -> dict[str, str]:
    """The figure of each criterion, in the order of the criteria."""
    return {str(row["criterion"]): str(row["figure"]) for row in rows(results, "criteria_definitions")}


def _sites(results: AuditResults) -> dict[str, str]:
    """The site of each criterion that is about one site, and so is no row of that site beside all."""
    told = rows(results, "criteria_definitions", by="site_ref")
    return {str(row["criterion"]): str(row["stratum"]) for row in told}


def _definitions(results: AuditResults, *status: str) -> list[Row]:
    """The definitions of criteria with these standings."""
    return rows(results, "criteria_definitions", status=status)


def _has_target(row: Row) -> bool:
    """Whether a criterion is a share that should reach a level."""
    return is_known(row["target"]) and row["better"] == "higher"


def _is_counted(row: Row) -> bool:
    """Whether there is anything to count."""
    return bool(row["n"] + row["n_unknown"])


def _heading(held: list[Row]) -> str:
    """How many of the standards that can be judged are met, and how many surely not."""
    told = [row["verdict"] for row in held if row["verdict"] in _JUDGED]
    if not told:
        return "No standard can be judged from this log"
    missed = told.count("not_met")
    met = f"{told.count('met')} of {wording.plural(len(told), 'standard')} met"
    if not missed:
        return f"{met}; none is surely missed"
    return f"{met}; {wording.number_word(missed)} {'is' if missed == 1 else 'are'} surely not"


def _judged_blocks(results: AuditResults, found: list[Row]) -> list[Block]:
    """The bars of the period; twelve months are folded."""
    if not found:
        return []
    last = {
        str(row["figure"]): float(row["then_proportion"])
        for row in rows(results, "change_since_last")
        if is_known(row["then_proportion"])
    }
    foot = " ".join([_BAR, *([_LAST] if last else []), _RULE, PROPORTION_FOOT])
    ids = tuple(str(row["criterion"]) for row in found)
    figures = _figures(results)
    year = [
        row | {"n_unknown": row["n_not_recorded"], "figure": figures[str(row["criterion"])]}
        for row in rows(results, _TABLE, by="overall", window=ROLLING, criterion=ids)
    ]
    blocks: list[Block] = [
        TableBlock(html_table("Standards, this period", _columns(last, bars=True), found, foot=foot))
    ]
    if year:
        blocks.append(
            Folded("Twelve months", html_table("Standards, twelve months", _columns({}, bars=False), year))
        )
    return blocks


def _columns(last: dict[str, float], *, bars: bool) -> list[Column]:
    """The columns of standards with a target."""

    def bar(row: Row) -> str:
        met = int(row["n"] - row["n_not_met"])
        counts = (met, int(row["n_not_met"]), int(row["n_unknown"]))
        return three_part_bar(
            counts,
            exceptions=int(row["n_exceptions"]),
            target=float(row["target"]),
            last=last.get(str(row["criterion"])),
        )

    counted = proportion_columns(
        Column("Standard", _named(PERIOD if bars else ROLLING), "label"), events="Met", of="Recorded"
    )
    drawn = [Column("Drawn, 0 to 100%", bar, "bar")] if bars else []
    return [
        counted[0],
        *drawn,
        Column("Verdict", lambda row: _VERDICTS[str(row["verdict"])], "short"),
        Column("Target, %", _target),
        *counted[1:-1],
        Column("Not recorded", number("n_unknown")),
        Column("Exceptions", number("n_exceptions")),
    ]


def _named(shown: str) -> Callable[[Row], str]:
    """A standard's title, with its site and its window where they are not all and the window shown; it leads to how
    the figure is counted."""

    def name(row: Row) -> str:
        site = [stratum(row["by"], row["stratum"])] if row["by"] == "site_ref" else []
        window = [within(word(row["window"]))] if row["window"] != shown else []
        title = ", ".join([str(row["title"]), *site, *window])
        counted = indicator_of(str(row["figure"]))
        return linked(title, counted) if counted else title

    return name


def _target(row: Row) -> str:
    """The level to reach, or not to exceed."""
    if not is_known(row["target"]):
        return wording.NOTHING
    level = wording.percent(row["target"], places=0)
    return f"at most {level}" if row["better"] == "lower" else level


def _case_blocks(results: AuditResults) -> list[Block]:
    """The visits behind each "not met"."""
    visits: dict[str, list[str]] = {}
    for row in rows(results, "criteria_cases"):
        over = "" if row["window"] == PERIOD else f", {within(word(row['window']))}"
        visits.setdefault(f"{row['title']}{over}", []).append(str(row["visit_ref"]))
    found = [
        {"title": title, "n": len(refs), "visits": name_a_few(refs, limit=_FEWEST_VISITS)}
        for title, refs in visits.items()
    ]
    if not found:
        return []
    table = html_table(
        "Visits at which a standard was not met, of this period unless said",
        [
            Column("Standard", plain("title"), "label"),
            Column("Visits", number("n")),
            Column("Which", plain("visits"), "text"),
        ],
        found,
        foot=(
            "For a check, a position or an outcome: the visit at which the device was placed, where the day it was "
            "due lies in this period. For lost threads: the contact at which they were first not seen. The table "
            "of cases in the folder “tables” has all of them, with site and date."
        ),
    )
    return [Folded("The visits behind each “not met”", table)]


def _described_blocks(found: list[Row]) -> list[Block]:
    """What has no target, or should be rare."""
    if not found:
        return []
    columns = proportion_columns(Column("What", _named(PERIOD), "label"), events="Counted", of="Recorded")
    columns[-1] = Column("Not recorded", number("n_unknown"))
    if any(is_known(row["target"]) for row in found):
        verdict = Column("Verdict", lambda row: _VERDICTS[str(row["verdict"])], "short")
        columns += [Column("Target, %", _target), verdict]
    table = html_table("Described, not judged", columns, found)
    return [Subheading("Followed without a level to reach"), TableBlock(table)]


def _stated_blocks(results: AuditResults) -> list[Block]:
    """What no log shows: the answer of the service, or that there is none."""
    asked = [row for row in _definitions(results, "in_force") if row["figure"] == "attested"]
    if not asked:
        return []
    cautions = {str(row["criterion"]): str(row["caution"]) for row in rows(results, _TABLE)}
    answered = [row for row in asked if row["attested"]]
    silent = [str(row["title"]) for row in asked if not row["attested"]]
    blocks: list[Block] = [
        Subheading(
            f"{wording.count(len(answered))} of {wording.plural(len(asked), 'standard')} that no log shows "
            f"{'is' if len(answered) == 1 else 'are'} answered by the service"
        )
    ]
    if answered:
        columns = [
            Column("Standard", plain("sentence"), "label"),
            Column("Answer", lambda row: word(str(row["attested"])), "short"),
            Column("On", lambda row: wording.day(row["attested_on"]), "short"),
            Column("Note", lambda row: cautions.get(str(row["criterion"]), ""), "note"),
        ]
        blocks.append(TableBlock(html_table("Stated by the service", columns, answered)))
    if silent:
        blocks.append(
            Paragraph(
                f"Not answered: {wording.listed(silent)}. The settings hold the answers, with their day."
            )
        )
    return blocks


def _absent_blocks(held: list[Row]) -> list[Block]:
    """The standards that nobody came under in the period, and those that this log cannot show, with why."""
    nobody = [str(row["title"]) for row in held if row["verdict"] == "no_cases"]
    lacking = [
        f"{row['title']} ({within(str(row['caution'])).removesuffix('.')})"
        for row in held
        if row["verdict"] == "not_recorded_in_this_log"
    ]
    said = {"Nobody came under": nobody, "Not in this log": lacking}
    return [Paragraph(f"{name}: {wording.listed(titles)}.") for name, titles in said.items() if titles]


def _definition_blocks(results: AuditResults) -> list[Block]:
    """What each standard asks, where it comes from and in which version; and what the service changed."""
    found = _definitions(results, "in_force", "later")
    if not found:
        return []
    version = _commonest([str(row["version"]) for row in found])
    since = _commonest([wording.day(row["effective_from"]) for row in found])
    columns = [
        Column("Standard", plain("title"), "label"),
        Column("It asks", plain("sentence"), "text"),
        Column("Exceptions", lambda row: "" if row["exceptions"] == "none" else row["exceptions"], "text"),
        Column("Source", lambda row: str(row["source"])[:1].upper() + str(row["source"])[1:], "text"),
        Column("Version", _unless(version, plain("version")), "note"),
        Column("In force from", _unless(since, lambda row: wording.day(row["effective_from"])), "note"),
        Column("Changed here", plain("changed"), "note"),
    ]
    foot = (
        f"Version {version}, in force from {since}, unless said. How each is counted stands in the methods."
    )
    table = html_table("The standards of this audit", columns, found, foot=foot)
    return [*_local(results), Folded("What each standard asks, its source and version", table)]


def _commonest(texts: list[str]) -> str:
    """What most of some texts say."""
    return max(sorted(set(texts)), key=texts.count)


def _unless(common: str, cell: Cell) -> Cell:
    """A cell that is empty where it would say what most say."""
    return lambda row: "" if cell(row) == common else cell(row)


def _local(results: AuditResults) -> list[Block]:
    """A paragraph on what differs from the package's own standards; none where nothing does."""
    told = rows(results, "criteria_definitions")
    changed = [
        f"{row['title']} ({str(row['changed']).replace('_', ' ')})"
        for row in told
        if row["changed"] not in ("", "added") and row["status"] != "retired"
    ]
    groups = {
        "Changed by this service": changed,
        "Added by this service": [str(row["title"]) for row in told if row["changed"] == "added"],
        "Retired by this service": [str(row["title"]) for row in _definitions(results, "retired")],
        "Not yet in force": [str(row["title"]) for row in _definitions(results, "later")],
    }
    said = [f"{name}: {wording.listed(titles)}." for name, titles in groups.items() if titles]
    return [Paragraph(" ".join(said))] if said else []
