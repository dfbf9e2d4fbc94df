"""The year after a fitting in the patient summary: as far as the known outcomes carry it, and what is not known."""

from dataclasses import replace

from audit.records import AuditResults
from reports import patient_words as words
from reports import wording
from reports.choosing import Row, is_known, one
from reports.patient_pictures import (
    ENDED,
    KNOWN_YEAR,
    UNKNOWN,
    Limits,
    Picture,
    could_be,
    drawn,
    limits_to_print,
    no_picture,
    of_the_rest,
    paragraphs,
)
from reports.small_counts import FEWEST, first_safe

_CAME_OUT = ("came_out",)


def year_picture(results: AuditResults) -> Picture:
    """What had become of devices after a year; a sentence alone where too little is known."""
    ended, out = (_first_year(results, "first_year_endings", cause) for cause in ("any", "expulsion"))
    if ended is None or out is None:
        return no_picture("year", words.NOT_HELD)
    if not ended["n"] + ended["n_unknown"]:
        return no_picture("year", words.YEAR_NOT_OVER)
    if results.gate == "bounds_only":
        return no_picture("year", words.YEAR_CLOSED)
    counts = {
        "using": int(ended["n"] - ended["events"]),
        "came_out": int(out["events"]),
        "stopped": int(ended["events"] - out["events"]),
        "unknown": int(ended["n_unknown"]),
    }
    stopped = limits_to_print(ended)
    limits = {("using",): of_the_rest(stopped), ENDED: stopped, _CAME_OUT: limits_to_print(out)}
    recorded = one(results, "indicator_availability", indicator="expulsion_incidence")
    apart = recorded is None or bool(recorded["available"])
    picture = drawn(results, "year", counts, limits, together=() if apart else (ENDED, KNOWN_YEAR))
    fine = [words.BOTH_FINE] if picture.parts and picture.parts[0].group != KNOWN_YEAR else []
    said = _if_like_the_rest(results, picture)
    return replace(picture, said=paragraphs(said, picture.said, fine))


def year_unknown(results: AuditResults, picture: Picture) -> int:
    """Of how many in 100 women the year is not known; 0 where that is not to be said."""
    shown = {part.group: part.of_hundred for part in picture.parts}
    ended = _first_year(results, "first_year_endings", "any")
    if shown or results.gate != "bounds_only" or ended is None:
        return shown.get(UNKNOWN, 0)
    counts = {"known": int(ended["n"]), "unknown": int(ended["n_unknown"])}
    if sum(counts.values()) < FEWEST or not first_safe(counts, ((("known",), UNKNOWN),)):
        return 0
    return wording.shared_out(list(counts.values()))[1]


def _first_year(results: AuditResults, table: str, cause: str) -> Row | None:
    """All women's first year under one cause."""
    return one(results, table, by="overall", placement_kind="first", cause=cause)


def _if_like_the_rest(results: AuditResults, picture: Picture) -> list[str]:
    """The year if the unknown were like the rest; only ranges where that is too much to say."""
    groups = {part.group for part in picture.parts}
    found = [_first_year(results, "follow_up_bounds", cause) for cause in ("any", "expulsion")]
    read = [row for row in found if row is not None and is_known(row["last_known_upper"])]
    if UNKNOWN not in groups or KNOWN_YEAR in groups or len(read) < len(found):
        return []
    ended, out = read
    if results.gate == "both_as_equals":
        return _ranges(_both_rules(ended), _both_rules(out) if _CAME_OUT in groups else None)
    stopped = wording.whole_part(ended["last_known"], 100)
    told = [
        (100 - stopped, of_the_rest(_last_known(ended))),
        (stopped, _last_known(ended)),
        (wording.whole_part(out["last_known"], 100), _last_known(out)),
    ]
    return [
        sentence.format(about=words.about_in(number, 100), range=could_be(limits))
        for sentence, (number, limits) in zip(words.YEAR_IF_LIKE, told, strict=True)
        if sentence != words.YEAR_IF_LIKE[-1] or _CAME_OUT in groups
    ]


def _ranges(stopped: Limits, out: Limits | None) -> list[str]:
    """The year as ranges that hold both ways of reading the silence."""
    told = [of_the_rest(stopped), stopped, *([out] if out else [])]
    first, *sentences = words.YEAR_BETWEEN
    outer = [wording.outwards(*limits, 100) for limits in told]
    return [
        first,
        *(
            sentence.format(low=low, high=high)
            for sentence, (low, high) in zip(sentences, outer, strict=False)
        ),
    ]


def _last_known(row: Row) -> Limits:
    """The limits of what was observed to the last day a device was known in place."""
    return float(row["last_known_lower"]), float(row["last_known_upper"])


def _both_rules(row: Row) -> Limits:
    """The limits that hold both ways of reading the silence."""
    rules = ("last_known", "assumed_in_place")
    lower, upper = ([float(row[f"{rule}_{side}"]) for rule in rules] for side in ("lower", "upper"))
    return min(lower), max(upper)
