"""What each command of ``iud-audit`` does: the one place that joins audit, reports and synthetic_data.

Data go to standard output, messages to standard error. Heavy imports wait until a command needs them.
"""

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from audit.errors import InputRefused, OutputError, PeriodError, counted
from audit.writing import require_writable, to_open, write_folder

if TYPE_CHECKING:
    from audit.records import AuditResults, Cohort, VisitLog
    from audit.settings import AuditSettings

DONE, INTERNAL_FAULT, WRONG_USAGE, REFUSED, NOT_WRITTEN, THRESHOLD_CROSSED = range(6)
FAIL_ON = {
    "set-aside": "more rows set aside than the settings' banner allows",
    "follow-up": "outcome at 12 months known for too few to lead the page",
    "review-signal": "a clinician's figure, case mix allowed for, calls for a review of cases",
    "action": "something is on the list of what needs action today",
}
_SOON = (
    "release edition: comes with a later version; until then every page is internal and not for release. "
    "Leave --edition out."
)


def check(given: argparse.Namespace) -> int:
    """Read a log and describe it; with --html on a page too, even of a log of which too much is set aside."""
    from audit.check import check_facts, check_page
    from audit.cohort import derive_cohort

    if given.html is not None:
        return _check_on_a_page(given)
    settings = _settings(given.settings)
    log = _load(given, settings)
    facts = check_facts(log, derive_cohort(log, settings))
    print(json.dumps(facts, indent=2, ensure_ascii=False) if given.json else check_page(facts))
    return DONE


def _check_on_a_page(given: argparse.Namespace) -> int:
    """Write the page, say what to open, and refuse afterwards what `run` would refuse."""
    from audit.check import check_facts, check_results
    from audit.cohort import derive_cohort
    from audit.ingest.load import load_visits
    from reports import write_check
    from reports.one_file import require_replaceable_file

    page = Path(given.html)
    inputs = [Path(name) for name in (*given.log, given.settings, given.key) if name is not None]
    require_replaceable_file(page, force=given.force, inputs=inputs)
    settings = _settings(given.settings)
    # The page shows which rows to correct, so it is needed most when there are too many of them.
    log = load_visits(given.log, settings, **_reading(given) | {"allow_set_aside": True})
    cohort = derive_cohort(log, settings)
    refusal = None if given.allow_set_aside else _refusal(log, settings)
    write_check(
        check_results(log, cohort, settings, refused=refusal is not None),
        page,
        inputs=inputs,
        force=given.force,
    )
    if refusal is not None:
        raise InputRefused(f"{refusal} Open {page} to see which rows.")
    if given.json:
        print(json.dumps(check_facts(log, cohort) | {"html": str(page)}, indent=2, ensure_ascii=False))
    else:
        print(f"{rows_sentence(log)}\nOpen {page}")
    return DONE


def _refusal(log: "VisitLog", settings: "AuditSettings") -> InputRefused | None:
    """Why the log is refused for its rows set aside, if it is."""
    from audit.ingest.accounting import refuse_too_many

    try:
        refuse_too_many(
            log.accounting,
            log.set_aside,
            where=log.sources[0].name,
            limit=settings.thresholds.set_aside_refusal,
        )
    except InputRefused as refusal:
        return refusal
    return None


def run(given: argparse.Namespace) -> int:
    """Audit a log, write the output folder, and say what to open."""
    if problem := _edition_problem(given.edition or ()):
        print(f"iud-audit: {problem}", file=sys.stderr)
        return WRONG_USAGE
    # Sooner said than after a minute of computing.
    require_writable(Path(given.out), given)
    say = speaker(given)
    log, _, results = audit_logs(
        given.log,
        given.settings,
        given.period,
        say,
        reading=_reading(given),
        issued_file=given.issued,
        previous=given.previous,
        actions_file=_actions_file(given),
    )
    out = write_folder(results, Path(given.out), given)
    crossed = [name for name in given.fail_on if _crossed(name, results)]
    say(rows_sentence(log))
    report = to_open(out, given)
    if given.json:
        print(json.dumps(_run_facts(log, results, report, crossed), ensure_ascii=False))
    else:
        print(f"Open {report}")
    for name in crossed:
        print(f"iud-audit: threshold crossed, {name}: {FAIL_ON[name]}.", file=sys.stderr)
    return THRESHOLD_CROSSED if crossed else DONE


def draft_settings(given: argparse.Namespace) -> int:
    """Draft a settings file from the headings and codes of a log."""
    from audit.ingest.drafting import draft_settings as draft

    text = draft(given.log, sheet=given.sheet)
    if given.output is None:
        print(text, end="")
        return DONE
    path = Path(given.output)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise OutputError(f"{path}: exists and is left as it is. Choose another name after -o.") from None
    except OSError as error:
        raise OutputError(
            f"{path}: cannot be written ({error.strerror}). Choose another name after -o."
        ) from None
    print(f"Read {path}, correct it, then run: iud-audit check {given.log[0]} --settings {path}")
    return DONE


def make_key(given: argparse.Namespace) -> int:
    """Make a key file for pseudonyms."""
    from audit.ingest.pseudonyms import make_key as make

    key = make(given.file)
    print(
        f"{given.file}: key {key.key_id}. Keep it apart from the log and the reports, and keep a copy safe."
    )
    return DONE


def verify(given: argparse.Namespace) -> int:
    """Say whether a folder is as it was written."""
    from reports.folder import changed_files

    changed = changed_files(Path(given.folder))
    for name in changed:
        print(name)
    if changed:
        print(
            f"iud-audit: {counted(len(changed), 'file')} changed since the audit wrote the folder. Run the audit "
            "again, or ask who changed it.",
            file=sys.stderr,
        )
        return NOT_WRITTEN
    print(f"{given.folder}: every file is as it was written.")
    return DONE


def audit_logs(
    logs: Sequence[str | Path],
    settings_file: str | Path | None,
    period: str,
    say: Callable[[str], None],
    *,
    reading: Mapping[str, Any] | None = None,
    issued_file: str | None = None,
    previous: Sequence[str | Path] = (),
    actions_file: str | Path | None = None,
) -> tuple["VisitLog", "Cohort", "AuditResults"]:
    """The steps of an audit, in order."""
    from audit.cohort import derive_cohort
    from audit.cycle import read_actions, read_record
    from audit.ingest.issued import read_issued
    from audit.ingest.load import load_visits
    from audit.period import period_from
    from audit.run import run_audit

    settings = _settings(settings_file)
    span = period_from(period, calendar=settings.calendar)
    issued = None if issued_file is None else read_issued(issued_file)
    records = [read_record(path) for path in previous]
    plan = None if actions_file is None else read_actions(actions_file, calendar=settings.calendar)
    say("Reading the log ...")
    log = load_visits(logs, settings, **_with_freeze(reading or {}, settings.calendar.data_to, span.label))
    say("Deriving attempts, placements and follow-ups ...")
    cohort = derive_cohort(log, settings)
    say("Computing ...")
    results = run_audit(
        log, settings, period=span, cohort=cohort, issued=issued, previous=records, actions=plan
    )
    return log, cohort, results


def _with_freeze(reading: Mapping[str, Any], freezes: Mapping[str, str], period: str) -> dict[str, Any]:
    """How the log is read, with the calendar's freeze of the period where the command names none."""
    return {**reading, "data_to": reading.get("data_to") or freezes.get(period)}


def _actions_file(given: argparse.Namespace) -> Path | None:
    """The action plan a command names, else the one beside the settings, if any."""
    if given.actions is not None:
        return Path(given.actions)
    beside = None if given.settings is None else Path(given.settings).parent / "actions.toml"
    return beside if beside is not None and beside.is_file() else None


def _settings(path: str | Path | None) -> "AuditSettings":
    """The settings of a file, or the defaults."""
    from audit.settings import AuditSettings, read_settings

    return AuditSettings() if path is None else read_settings(path)


def _load(given: argparse.Namespace, settings: "AuditSettings") -> "VisitLog":
    """The log a command names."""
    from audit.ingest.load import load_visits

    return load_visits(given.log, settings, **_reading(given))


def _reading(given: argparse.Namespace) -> dict[str, Any]:
    """How a log is to be read, as the options say."""
    from audit.ingest.pseudonyms import read_key

    out = getattr(given, "out", None)
    return {
        "data_to": _data_to(given),
        "allow_set_aside": given.allow_set_aside,
        "drop_columns": given.drop_column,
        "key": None if given.key is None else read_key(given.key, output_folder=out),
    }


def _data_to(given: argparse.Namespace) -> str | None:
    """The freeze, if it was named and is a date."""
    if given.data_to is None:
        return None
    from datetime import date

    try:
        return date.fromisoformat(given.data_to).isoformat()
    except ValueError:
        raise PeriodError(f"--data-to '{given.data_to}' is not a date. Write it as 2026-09-30.") from None


def _edition_problem(editions: Sequence[str]) -> str:
    """What is wrong with the editions asked for; empty if nothing."""
    if "release" in editions:
        return _SOON
    from reports import EDITIONS

    unknown = [name for name in editions if name not in EDITIONS]
    known = " or ".join(EDITIONS)
    return f"edition '{unknown[0]}' is not known. Write {known}, or leave --edition out." if unknown else ""


def speaker(given: argparse.Namespace) -> Callable[[str], None]:
    """A function that tells the user what is going on, where anyone is watching."""
    progress = getattr(given, "progress", None)
    wanted = sys.stderr.isatty() if progress is None else progress

    def say(message: str) -> None:
        if not given.quiet and (wanted or not message.endswith("...")):
            print(message, file=sys.stderr)

    return say


def rows_sentence(log: "VisitLog") -> str:
    """Rows in = rows used + rows set aside."""
    totals = log.accounting.groupby("disposition")["n"].sum()
    used, aside = int(totals.get("used", 0)), int(totals.get("set_aside", 0))
    return f"{int(totals.get('in', 0)):,} rows in = {used:,} used + {aside:,} set aside"


def _run_facts(
    log: "VisitLog", results: "AuditResults", report: Path, crossed: list[str]
) -> dict[str, object]:
    """What a run did, for a program to read."""
    totals = log.accounting.groupby("disposition")["n"].sum()
    return {
        "report": str(report),
        "period": results.period.label,
        "data_to": results.data_to.date().isoformat() if results.data_to == results.data_to else None,
        "rows_in": int(totals.get("in", 0)),
        "rows_used": int(totals.get("used", 0)),
        "rows_set_aside": int(totals.get("set_aside", 0)),
        "gate": results.gate,
        "crossed": crossed,
    }


def _crossed(name: str, results: "AuditResults") -> bool:
    """Whether a threshold named with --fail-on was crossed."""
    tables = results.tables
    if name == "set-aside":
        totals = tables["row_accounting"].groupby("disposition")["n"].sum()
        allowed = results.settings.thresholds.set_aside_banner
        return bool(totals.get("set_aside", 0) > allowed * totals.get("in", 0))
    if name == "follow-up":
        return results.gate not in ("last_known_leads", "not_yet_due")
    if name == "review-signal":
        clinicians = tables.get("failed_insertions_by_clinician")
        return clinicians is not None and "review" in set(clinicians.get("case_mix_signal", []))
    return len(tables["action_list"]) > 0
