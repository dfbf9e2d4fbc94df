"""Plausibility of a whole log: visits -> findings. Every rule is one small function; all of them run."""

import re
import unicodedata
from collections.abc import Callable
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from audit.ingest.checks_between import check_between
from audit.ingest.readings import STAFF_AND_PLACES
from audit.ingest.reasons import FINDINGS
from audit.ingest.repeats import share_woman_and_day

LONG_GAP_DAYS = 365
FEW_ATTEMPTS = 3
# Visit codes shared by more of the visits than this begin anew somewhere and are no slip (assumed).
RARE_SHARE = 0.1
_STAFF = STAFF_AND_PLACES[1:]
# UTF-8 read once as Windows-1252 and saved: the first bytes of two- and three-byte characters.
_TWICE_ENCODED = re.compile("[ÃÂ][\u0080-\u00bf‚ƒ„…†‡ˆ‰Š‹ŒŽ‘’“”•–—˜™š›œžŸ]|â€")
_ATTEMPTS = ("placed", "failed", "stopped_on_request")


def check_visits(visits: pd.DataFrame) -> pd.DataFrame:
    """Findings of every rule on a table of visits.

    Parameters
    ----------
    visits
        The table of visits.

    Returns
    -------
    pandas.DataFrame
        ``rule, severity, source, row, column, message``, in order of file and line; source and row are 0 when
        a finding concerns the whole log. No rows when nothing is doubtful. Sequences of visits are checked
        where the cohort is derived.
    """
    rules: tuple[Callable[[pd.DataFrame], pd.DataFrame], ...] = (
        _visit_long_after_the_others,
        _same_day_same_kind,
        _visit_ref_again,
        _alike_staff_codes,
        _mixed_scripts,
        _twice_encoded,
        _few_attempts_per_clinician,
        check_between,
    )
    found = [frame for frame in (rule(visits) for rule in rules) if len(frame)]
    if not found:
        return _findings(visits.head(0), "", "", "", "")
    together = pd.concat(found, ignore_index=True)
    return together.sort_values(["source", "row"], kind="stable", ignore_index=True)


def _findings(rows: pd.DataFrame, rule: str, severity: str, column: str, message: str) -> pd.DataFrame:
    """One finding for each of these visits."""
    return rows[["source", "row"]].assign(rule=rule, severity=severity, column=column, message=message)[
        list(FINDINGS)
    ]


def _whole_log(rule: str, severity: str, column: str, message: str) -> pd.DataFrame:
    """One finding on the log as a whole."""
    return pd.DataFrame([(rule, severity, 0, 0, column, message)], columns=list(FINDINGS))


def _visit_long_after_the_others(visits: pd.DataFrame) -> pd.DataFrame:
    """Visits after a gap of over 365 days at the end of the log: the year may be a typing error."""
    days = visits["visit_date"].drop_duplicates().sort_values()
    after = days[days.diff() > pd.Timedelta(days=LONG_GAP_DAYS)]
    # Only the last gap, and only a few visits behind it: a log may pause, a typing error is lonely.
    late = visits[visits["visit_date"] >= after.iloc[-1]] if len(after) else visits.head(0)
    few = late if len(late) <= max(1, len(visits) // 100) else visits.head(0)
    return _findings(
        few,
        "visit_long_after_the_others",
        "warning",
        "visit_date",
        "The visit lies more than a year after all the others. Is the year a typing error?",
    )


def _same_day_same_kind(visits: pd.DataFrame) -> pd.DataFrame:
    """Visits of one woman on one day and of one kind that differ in something else than who worked."""
    key = ["patient_ref", "visit_date", "visit_kind"]
    together = visits[share_woman_and_day(visits)]
    again = together[together.duplicated(key, keep=False)]
    # A second insertion by another clinician the same day is a take-over, not a doubt.
    who = [*key, "clinician_ref"] if "clinician_ref" in visits else key
    return _findings(
        again[again.duplicated(who, keep=False)],
        "same_day_same_kind",
        "warning",
        "visit_kind",
        "The woman has another visit of this kind on this day, and the two differ. Is one a correction?",
    )


def _visit_ref_again(visits: pd.DataFrame) -> pd.DataFrame:
    """Codes of a visit that stand on visits of two women or two days of one site, where that is rare."""
    if "visit_ref" not in visits:
        return visits.head(0)
    code = ["visit_ref", "site_ref"] if "site_ref" in visits else ["visit_ref"]
    coded = visits[visits["visit_ref"] != ""].drop_duplicates([*code, "patient_ref", "visit_date"])
    shared = coded[coded.duplicated(code, keep=False)]
    return _findings(
        shared if len(shared) <= max(2, len(coded) * RARE_SHARE) else visits.head(0),
        "visit_ref_again",
        "warning",
        "visit_ref",
        "Another visit has this code, of another woman or on another day. Is one a correction?",
    )


def _alike_staff_codes(visits: pd.DataFrame) -> pd.DataFrame:
    """Codes of clinicians that differ only in case, space or hyphen; they are never merged for the user."""
    firsts = _first_rows(visits)
    groups = firsts.groupby("alike", sort=False)
    pairs = [pair for _, group in groups for pair in combinations(group.to_dict("records"), 2)]
    return pd.DataFrame(
        [
            (
                "alike_staff_codes",
                "warning",
                second["source"],
                second["row"],
                second["column"],
                _alike(first),
            )
            for first, second in pairs
        ],
        columns=list(FINDINGS),
    )


def _alike(first: dict[Any, Any]) -> str:
    """The sentence that names the earlier code by its place."""
    return (
        "The code differs only in case, space or hyphen from the one in column "
        f"{first['column']}, line {first['row']} of file {first['source']}. "
        "If they are one person, write one code."
    )


def _first_rows(visits: pd.DataFrame) -> pd.DataFrame:
    """The first row of each code of staff: ``code, alike, source, row, column``."""
    frames = [
        visits[[name, "source", "row"]]
        .dropna()
        .drop_duplicates(name)
        .rename(columns={name: "code"})
        .astype({"code": object})
        .assign(column=name)
        for name in _STAFF
        if name in visits
    ]
    if not frames:
        return pd.DataFrame(columns=["code", "source", "row", "column", "alike"], dtype=object)
    firsts = pd.concat(frames, ignore_index=True).drop_duplicates("code")
    return firsts.assign(alike=[re.sub(r"[\s\-_.]", "", code).casefold() for code in firsts["code"]])


def _mixed_scripts(visits: pd.DataFrame) -> pd.DataFrame:
    """Codes of staff that mix letters of two scripts, such as a Latin A and a Cyrillic one."""
    firsts = _first_rows(visits)
    mixed = firsts[np.array([len(_scripts(code)) > 1 for code in firsts["code"]], dtype=np.bool_)]
    message = "The code mixes letters of two alphabets. If they only look alike, write one code."
    return mixed.assign(rule="mixed_scripts", severity="warning", message=message)[list(FINDINGS)]


def _scripts(code: str) -> set[str]:
    """The scripts of the letters of a code."""
    names = {unicodedata.name(character, "").split(" ")[0] for character in code if character.isalpha()}
    return names & {"LATIN", "CYRILLIC", "GREEK"}


def _twice_encoded(visits: pd.DataFrame) -> pd.DataFrame:
    """Codes of staff and places that were saved twice in different encodings."""
    names = [name for name in STAFF_AND_PLACES if name in visits]
    frames = [
        _findings(
            _first_with(visits, name, _TWICE_ENCODED),
            "twice_encoded",
            "warning",
            name,
            f"{name}: letters with accents look garbled. Export the log again as 'CSV UTF-8'.",
        )
        for name in names
    ]
    return pd.concat(frames, ignore_index=True) if frames else visits.head(0)


def _first_with(visits: pd.DataFrame, name: str, pattern: re.Pattern[str]) -> pd.DataFrame:
    """The first visit with each code that matches a pattern."""
    codes = [code for code in visits[name].cat.categories if pattern.search(code)]
    return visits[visits[name].isin(codes)].drop_duplicates(name)


def _few_attempts_per_clinician(visits: pd.DataFrame) -> pd.DataFrame:
    """Whether half of the clinicians have fewer than 3 attempts: the wrong column may be mapped."""
    if "clinician_ref" not in visits or "insertion_outcome" not in visits:
        return visits.head(0)
    attempts = visits[visits["insertion_outcome"].isin(_ATTEMPTS)]
    counts = attempts["clinician_ref"].dropna().astype(object).value_counts()
    if len(counts) < FEW_ATTEMPTS or counts.median() >= FEW_ATTEMPTS:
        return visits.head(0)
    return _whole_log(
        "few_attempts_per_clinician",
        "warning",
        "clinician_ref",
        f"{len(counts):,} clinician codes share {int(counts.sum()):,} attempts: fewer than {FEW_ATTEMPTS} "
        "for half of them. Is clinician_ref the right column?",
    )
