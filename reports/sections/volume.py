"""How many insertions each clinician began in twelve months, and with what standing."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import one, rows
from reports.sections.parts import counted_how
from reports.sections.section import Block, Folded, Subheading
from reports.tables import Column, html_table, number
from reports.words_for_codes import stratum, word


def volume_blocks(results: AuditResults) -> list[Block]:
    """Volume and standing, folded under how many are certified."""
    found, certified = rows(results, "clinician_volume"), one(results, "clinicians_certified")
    if not found or certified is None:
        return []
    columns = [
        Column("Clinician", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Begun", number("n_attempts")),
        Column("Placed", number("n_placed")),
        Column("Supervised", number("n_supervised")),
        Column("Latest standing", lambda row: word(row["standing"]), "short"),
    ]
    table = html_table(
        "Insertions of each clinician, twelve months", columns, found, counted=("clinician_volume",)
    )
    heading = "The standing of no clinician is recorded"
    if certified["n"]:
        training = certified["n_in_training"]
        apart = f"; {wording.number_word(training)} in training" if training else ""
        heading = f"Certified, or trainers: {wording.proportion(certified, noun='clinicians')}{apart}"
    return [
        Subheading(heading),
        Folded("Volume and standing, in order of code", table),
        counted_how("clinician_volume"),
    ]
