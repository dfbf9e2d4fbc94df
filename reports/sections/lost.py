"""Women lost to follow-up: how much was observed, and what the unknown would have to be like to matter."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, one, rows
from reports.sections.section import Block, Paragraph, Subheading, TableBlock
from reports.tables import Column, estimate_cell, html_table, number
from reports.words_for_codes import stratum, within, word

_CAUSES = {"expulsion": "Expelled", "removal": "Taken out", "any": "Ended, in any way"}
_BOUNDS, _TIME = "follow_up_bounds", "follow_up_completeness"


def tipping_points(results: AuditResults) -> list[Block]:
    """The first year under both rules, and the share of the unknown that would bring a figure about."""
    found = [row for row in rows(results, _BOUNDS, by="overall") if row["n"] or row["n_unknown"]]
    if not found or not gate_rules(results):
        return []
    columns = [
        Column("In the first year", lambda row: _CAUSES[row["cause"]], "label"),
        *(
            Column(
                f"{word(rule)}, % (95% interval)",
                estimate_cell(rule, f"{rule}_lower", f"{rule}_upper"),
                "interval",
            )
            for rule in gate_rules(results)
        ),
        Column("To come to, %", lambda row: wording.percent(row["figure_to_reach"])),
        Column("Of the unknown this takes, %", _needed),
    ]
    table = html_table(
        "The first year of the same women, and what would tip it", columns, found, counted=("outcome_known",)
    )
    return [Paragraph(_tipping_sentence(found)), TableBlock(table)]


def _needed(row: Row) -> str:
    """The share of the unknown that a figure takes, or why there is none."""
    share = row["share_to_reach"]
    if not is_known(share):
        return wording.NOTHING
    if share < 0:
        return "exceeded already"
    return "out of reach" if share > 1 else wording.percent(share)


def _tipping_sentence(found: list[Row]) -> str:
    """What the unknown would have to be like for the first figure asked about."""
    asked = next((row for row in found if is_known(row["share_to_reach"])), None)
    if asked is None:
        return "No figure was set for the unknown to reach."
    figure, what = wording.percent(asked["figure_to_reach"]), within(_CAUSES[asked["cause"]])
    share = asked["share_to_reach"]
    if share < 0:
        return f"More than {figure} in 100 were {what} in the first year whatever became of the unknown."
    if share > 1:
        return f"Even if all the unknown had been, fewer than {figure} in 100 would have been {what}."
    return (
        f"For {figure} in 100 to have been {what} in the first year, {wording.percent(share)} in 100 of the "
        "unknown would have to have been. Would the women you could not reach be like that?"
    )


def time_followed(results: AuditResults) -> list[Block]:
    """How much of the time that could be observed was, and the median time followed, by site."""
    whole = one(results, _TIME, by="overall")
    if whole is None or not is_known(whole["completeness"]):
        return []
    found = [whole, *rows(results, _TIME, by="site_ref")]
    columns = [
        Column("Women", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Placed", number("n")),
        Column("Ended or followed to the freeze", number("n_complete")),
        Column("Time observed, % of what could be", lambda row: wording.percent(row["completeness"])),
        Column("Median time followed, months (95% interval)", _median, "interval"),
    ]
    foot = "Clark's index. Median by reverse Kaplan-Meier: an ending hides how long she would have been followed."
    return [
        Subheading(
            f"Of the time that could have been observed, {wording.percent(whole['completeness'])}% was"
        ),
        TableBlock(
            html_table("How long women were followed", columns, found, foot=foot, counted=("outcome_known",))
        ),
    ]


def _median(row: Row) -> str:
    """The median time followed with its limits, where they can be given."""
    if not is_known(row["median_days"]):
        return wording.NOTHING
    limits = f"{wording.months(row['median_lower'])} to {wording.months(row['median_upper'])}"
    return f"{wording.months(row['median_days'])} ({limits})"
