"""A clinician's own failures and events, visit by visit, to look at the notes again."""

from collections.abc import Sequence

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.sections.section import Block, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, plain
from reports.words_for_codes import within, word

EVENTS = "clinician_events"
# Codes that say nothing worth a word in a list.
_UNSAID = ("unknown", "none", "interval")
_KINDS = {
    "perforation": ("perforation", "perforations"),
    "reaction": ("reaction of grade 2 or more", "reactions of grade 2 or more"),
    "expulsion": ("expulsion found", "expulsions found"),
}
_PERFORATIONS = {
    "suspected": "Perforation suspected, not resolved",
    "partial": "Perforation, partial",
    "complete": "Perforation, complete",
    "extent_unknown": "Perforation, extent not known",
}
_RESISTANCE = {
    "none": "No resistance",
    "mild": "Mild resistance",
    "firm": "Firm resistance",
    "impassable": "Could not be passed",
}
_BEFORE = {"prior_failed_insertion": "failed before", "cervical_surgery": "surgery of the cervix"}
_REASONS = 3
# Of each kind of event; with them a busy year still fits on two sheets of paper.
_LISTED = 12


def own_cases_section(results: AuditResults) -> Section:
    """Failed attempts and events, the latest first."""
    listed = rows(results, EVENTS)
    failed = [row for row in listed if row["kind"] == "failed"]
    events = [row for kind in _KINDS for row in [row for row in listed if row["kind"] == kind][:_LISTED]]
    blocks: list[Block] = []
    if failed:
        blocks += [Subheading(_why(failed)), TableBlock(_failures(failed)), *_cut(failed)]
    if events:
        blocks += [Subheading(_what(events)), TableBlock(_events(events)), *_cut(events)]
    blocks += _without_outcome([row for row in listed if row["kind"] == "outcome_unknown"])
    if not blocks:
        blocks.append(
            Paragraph("None of your attempts of these twelve months failed, and no event is to be looked at.")
        )
    return Section("cases", "Your cases", _heading(_all_of(failed), _all_of(events)), tuple(blocks))


def _heading(failed: int, events: int) -> str:
    """How many there are to look at."""
    parts = [wording.plural(failed, "failed attempt")] if failed else []
    parts += [wording.plural(events, "event")] if events else []
    return f"{wording.listed(parts)} to look at again" if parts else "No case to look at again"


def _all_of(listed: Sequence[Row]) -> int:
    """How many there are, listed or not."""
    return sum({str(row["kind"]): int(row["n_of_kind"]) for row in listed}.values())


def _why(failed: Sequence[Row]) -> str:
    """The reason given most often, where there are enough to speak of one."""
    number = f"{wording.plural(_all_of(failed), 'attempt')} failed in twelve months"
    given = [str(row["what"]) for row in failed if row["what"] != "unknown"]
    often = max(dict.fromkeys(given), key=given.count, default="")
    if given.count(often) < _REASONS:
        return number
    counted = f"{wording.number_word(given.count(often))} of {wording.count(len(given))} with a reason"
    return f"{number}; {counted}: {within(word(often))}"


def _what(events: Sequence[Row]) -> str:
    """How many events of each kind."""
    size = {str(row["kind"]): int(row["n_of_kind"]) for row in events}
    return wording.listed([wording.plural(n, *_KINDS[kind]) for kind, n in size.items()])


def _cut(listed: Sequence[Row]) -> list[Block]:
    """That a long list ends early."""
    shown, number = len(listed), _all_of(listed)
    if shown == number:
        return []
    return [
        Paragraph(f"The latest of each kind are listed: {wording.count(shown)} of {wording.count(number)}.")
    ]


def _failures(failed: Sequence[Row]) -> Markup:
    """The failed attempts with where it was hard and what was known before."""
    columns = [
        Column("Visit", plain("visit_ref"), "label"),
        Column("Day", lambda row: wording.brief_day(row["date"]), "short"),
        Column("Why it failed", lambda row: word(row["what"]), "text"),
        Column("Internal os", _resistance, "short"),
        Column("The woman", _woman, "text"),
        Column("Note", _note, "note"),
    ]
    return html_table("Failed attempts, the latest first", columns, failed)


def _events(events: Sequence[Row]) -> Markup:
    """Perforations, reactions and expulsions."""
    columns = [
        Column("Visit", plain("visit_ref"), "label"),
        Column("Day", lambda row: wording.brief_day(row["date"]), "short"),
        Column("What happened", _happened, "short"),
        Column("The woman", _woman, "text"),
        Column("Device and procedure", _procedure, "text"),
    ]
    return html_table("Events by day of the insertion", columns, events)


def _resistance(row: Row) -> str:
    """The resistance that was met."""
    return _RESISTANCE.get(str(row["resistance_met"]), "Not recorded")


def _happened(row: Row) -> str:
    """An event in words."""
    if row["kind"] == "perforation":
        return _PERFORATIONS.get(str(row["what"]), "Perforation")
    if row["kind"] == "expulsion":
        return f"{word(row['what'])}, found {wording.brief_day(row['found'])}"
    grade = row["vasovagal_grade"]
    said = f"Reaction, grade {grade:.0f}" if is_known(grade) else "Reaction without a grade"
    phase = str(row["onset_phase"]) if is_known(row["onset_phase"]) else "unknown"
    return said if phase in _UNSAID else f"{said}, began: {within(word(phase))}"


def _woman(row: Row) -> str:
    """What was known of her before."""
    births = "Births not known" if row["parity_group"] == "unknown" else word(row["parity_group"])
    age = "age not known" if row["age_band"] == "unknown" else f"age {within(word(row['age_band']))}"
    said = [births, age]
    if str(row["timing_group"]) not in _UNSAID:
        said.append(within(word(row["timing_group"])))
    return "; ".join([*said, *(words for name, words in _BEFORE.items() if row[name] is True)])


def _procedure(row: Row) -> str:
    """The device, dilatation and anaesthetic, as far as recorded."""
    names = ("device_class", "dilation", "local_anaesthetic")
    given = [word(row[name]) for name in names if is_known(row[name]) and str(row[name]) not in _UNSAID]
    return "; ".join([*given[:1], *(within(words) for words in given[1:])]) or wording.NOTHING


def _note(row: Row) -> str:
    """What else bears on the attempt."""
    notes = {
        "Taken over": row["taken_over"] is True,
        "She asked to stop": row["stopped_on_request"] is True and row["what"] != "patient_request",
        "Under supervision": row["practice"] == "supervised",
    }
    said = [words for words, holds in notes.items() if holds]
    return "; ".join([*said[:1], *(within(words) for words in said[1:])])


def _without_outcome(found: Sequence[Row]) -> list[Block]:
    """Visits whose outcome is to be filled in."""
    if not found:
        return []
    visits = wording.listed([str(row["visit_ref"]) for row in found])
    return [
        Paragraph(f"How it ended is not recorded for {visits}. If the notes tell, it is worth filling in."),
        *_cut(found),
    ]
