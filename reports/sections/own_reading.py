"""What a clinician may ask of the own sheet, and how it is to be read."""

from audit.records import AuditResults
from reports.choosing import Row, is_known, rows
from reports.sections.own_cases import EVENTS
from reports.sections.own_figures import FIGURES
from reports.sections.section import Items, Section, Terms

_OFTEN = 3
_ABOUT_OS = ("could_not_pass_internal_os", "could_not_sound")


def own_questions_section(results: AuditResults) -> Section:
    """Questions to think over, alone or with somebody one trusts; some only where the cases call for them."""
    return Section(
        "questions",
        "Questions",
        "To think over, alone or with a colleague you trust",
        (Items(_questions(rows(results, EVENTS))),),
    )


def _questions(listed: list[Row]) -> tuple[str, ...]:
    """The questions that these cases call for, and those that anyone may ask."""
    kinds = {str(row["kind"]) for row in listed}
    cases = kinds.difference({"outcome_unknown"})
    at_os = sum(row["kind"] == "failed" and row["what"] in _ABOUT_OS for row in listed)
    asked = (
        ("Which of these visits would you do again in the same way, and which in another?", bool(cases)),
        (
            "Where the cervix was hard to pass or the cavity to sound: what did you try, what would have helped?",
            at_os >= _OFTEN,
        ),
        ("When you stopped: was it early enough for her, and did she leave with a plan?", "failed" in kinds),
        (
            "Did the women who reacted know what might come, and were the room and a second person ready?",
            "reaction" in kinds,
        ),
        (
            "Having read what became of these devices: would you choose, check or say anything differently?",
            bool(kinds & {"expulsion", "perforation"}),
        ),
        ("What went well that a colleague would gain from hearing?", True),
        ("Which entry is hardest to make in a full clinic, and what would make it easier?", True),
        ("With whom would you like to talk this over?", True),
    )
    return tuple(question for question, wanted in asked if wanted)


def own_reading_section(results: AuditResults) -> Section:
    """Whose attempts these are, what the range is, and what is left out on purpose."""
    limits = results.settings.thresholds
    recorded = f"{100 * limits.recorded_floor:.0f}"
    terms = {
        "Your attempts": (
            "Every insertion that you began, whoever ended it. One taken over by a colleague counts here as failed "
            "and as an attempt of the colleague; it does not say why. Those under supervision stand apart."
        ),
        "Line and dot": (
            "Your figure and its 95% interval: with this many women, chance could have put the dot anywhere on it."
        ),
        "Grey range": _range_words(results),
        "Few cases": (
            f"Below {limits.clinician_attempts} there are counts alone: a percentage would say more than they can. "
            "Of perforations there are always counts alone; each is looked at, and none is a rate of a person."
        ),
        "Not recorded": (
            f"Neither yes nor no. Where fewer than {recorded} of 100 are recorded, no percentage is given."
        ),
        "Left out on purpose": (
            "Every other clinician’s code, count and figure, and any order of clinicians. The cases are listed for "
            "the notes: they hold codes of visits, so keep this sheet where the log may be kept."
        ),
    }
    return Section(
        "reading",
        "How to read this sheet",
        "What stands here, and what does not",
        (Terms(tuple(terms.items())),),
    )


def _range_words(results: AuditResults) -> str:
    """What the range is, and the rule by which it is shown or not."""
    fewest = results.settings.thresholds.clinician_attempts
    rule = (
        f"at least three other clinicians have {fewest} or more known outcomes each, and none of them holds more "
        "than half of what these others hold together. So nobody’s figure is left when you take your own away"
    )
    shown = [row for row in rows(results, FIGURES) if is_known(row["most"])]
    if not shown:
        return (
            f"None is shown. It would need {fewest} known outcomes of your own, and the service’s figure, which "
            f"holds your cases too, is told only where {rule}."
        )
    return (
        "Counts that chance would give 95 times in 100, or more, if your figure were the service’s, which holds "
        f"your cases too. It is told, rounded, only where {rule}.{_set(results)} Only “women like yours” allows "
        "for the women you saw. With several ranges on a sheet, one figure outside its range is often chance."
    )


def _set(results: AuditResults) -> str:
    """What failures are compared with where it is not the service's own figure."""
    target = results.settings.funnel_target
    if target == "service":
        return ""
    if target == "service_excluding_own":
        return " For failures it is the other clinicians’ figure, under the same rule."
    return " For failures it is a figure that the service has set, which tells of nobody."
