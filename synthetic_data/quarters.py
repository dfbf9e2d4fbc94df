"""The demonstration of the audit cycle: the log as it stood after each of eight quarters, and the plan kept.

One action of the plan rests on a change in the known truth; the others change nothing.
"""

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from synthetic_data.demo import DEMO_SEED, demo_settings
from synthetic_data.flaws import export_as_clinic
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD, TRAINING_DAY

QUARTERS = (
    *("2024-Q4", "2025-Q1", "2025-Q2", "2025-Q3"),
    *("2025-Q4", "2026-Q1", "2026-Q2", "2026-Q3"),
)
DAYS_TO_FREEZE = 14
TRAINING, LEAFLET, COUCH, RECALL = "skills-day", "check-leaflet", "lying-down", "recall-tower"


@dataclass(frozen=True)
class PlannedAction:
    """One action of the invented lead: its lines in the plan, the quarter opened, the day done."""

    id: str
    opened: str
    lines: str
    done: str = ""


PLAN = (
    PlannedAction(
        TRAINING,
        "2024-Q4",
        'figure = "failed_insertions_per_visit"\n'
        'gap = "One insertion in ten ended without a device, most at the internal os"\n'
        'cause = "skill"\n'
        'action = "Skills day for all clinicians: graduated dilation, local anaesthetic, ultrasound at the couch"\n'
        'owner_role = "training lead"\n'
        "due = 2025-04-30\n"
        "target = 0.06",
        done=TRAINING_DAY,
    ),
    PlannedAction(
        LEAFLET,
        "2025-Q1",
        'figure = "check_done"\n'
        'gap = "A third of women were not checked at 4 to 6 weeks"\n'
        'cause = "protocol"\n'
        'action = "A leaflet about the check is handed out after each insertion"\n'
        'owner_role = "nurse in charge"\n'
        "due = 2025-06-30\n"
        "target = 0.75",
        done="2025-06-16",
    ),
    PlannedAction(
        COUCH,
        "2025-Q4",
        'figure = "vasovagal_grade_2_plus"\n'
        'gap = "Reactions of grade 2 or more are seen every month"\n'
        'cause = "protocol"\n'
        'action = "Ten minutes lying down after every insertion"\n'
        'owner_role = "clinical lead"\n'
        "due = 2026-06-30\n"
        "target = 0.01",
        done="2026-06-01",
    ),
    PlannedAction(
        RECALL,
        "2026-Q1",
        'measure = { table = "outcome_known", window = "period", placement_kind = "first", by = "site_ref", '
        'stratum = "TOWER" }\n'
        'better = "higher"\n'
        'gap = "At TOWER the outcome at 12 months is known for too few"\n'
        'cause = "capacity"\n'
        'action = "Two evenings of telephone calls a month at TOWER"\n'
        'owner_role = "service manager"\n'
        "due = 2026-06-30\n"
        "target = 0.80",
    ),
)
_CALENDAR = """
# The freeze of each quarter: two weeks after its end, so that letters and calls can still come in.
[calendar]
data_version = "Extract made two weeks after the end of the quarter"

[calendar.data_to]
{freezes}
"""


def freeze_of(quarter: str) -> pd.Timestamp:
    """The last day of a quarter's data.

    Examples
    --------
    >>> freeze_of("2026-Q3").date().isoformat() == LARKFIELD.data_to
    True
    """
    end = pd.Period(quarter.replace("-", ""), freq="Q").end_time.normalize()
    return pd.Timestamp(end + pd.Timedelta(days=DAYS_TO_FREEZE))


def write_quarters(
    folder: Path, quarters: Sequence[str] = QUARTERS, *, seed: int = DEMO_SEED
) -> tuple[dict[str, Path], Path]:
    """The paths of the logs as they stood at each quarter's freeze, and of the settings.

    Parameters
    ----------
    folder
        Made when it does not exist; the files of this demonstration in it are replaced.
    quarters
        Some of `QUARTERS`.
    seed
        Same seed, same bytes.

    Returns
    -------
    tuple
        The log of each quarter by its label, and the settings with the calendar of the freezes.
    """
    folder.mkdir(parents=True, exist_ok=True)
    visits = generate_visits(LARKFIELD, seed=seed)
    days = pd.to_datetime(visits["visit_date"].astype(str))
    logs = {}
    for quarter in quarters:
        known = visits[(days <= freeze_of(quarter)).to_numpy(dtype=bool)].reset_index(drop=True)
        logs[quarter] = folder / f"visit_log_{quarter}.csv"
        logs[quarter].write_bytes(export_as_clinic(known, seed=seed).text.encode())
    settings = folder / "settings.toml"
    freezes = "\n".join(f'"{quarter}" = {freeze_of(quarter).date()}' for quarter in QUARTERS)
    settings.write_bytes((demo_settings(visits) + _CALENDAR.format(freezes=freezes)).encode())
    return logs, settings


def write_quarter(folder: Path, quarter: str, *, accepted: Path | None) -> Path:
    """The path of the action plan as the lead has it when a quarter is audited.

    Parameters
    ----------
    folder
        Where to write ``actions_QUARTER.toml``.
    quarter
        One of `QUARTERS`.
    accepted
        The plan proposed by the audit before, which the lead accepts as it stands; None before the first.

    Returns
    -------
    Path
        The plan: what was opened by then, done where it was done by the freeze, its states as accepted.
    """
    entries = {} if accepted is None else _accepted(accepted)
    path = folder / f"actions_{quarter}.toml"
    texts = [
        _entry(action, quarter, entries.get(action.id, {})) for action in PLAN if action.opened <= quarter
    ]
    head = f'# The action plan of the invented "{LARKFIELD.name}" when {quarter} was audited.\n'
    path.write_bytes("\n".join([head, *texts]).encode())
    return path


def _accepted(path: Path) -> dict[str, Mapping[str, object]]:
    """The entries of a plan by their id."""
    found = tomllib.loads(path.read_text(encoding="utf-8")).get("action", [])
    return {str(entry["id"]): entry for entry in found}


def _entry(action: PlannedAction, quarter: str, before: Mapping[str, object]) -> str:
    """One action as the lead has it in a quarter."""
    done = bool(action.done) and pd.Timestamp(action.done) <= freeze_of(quarter)
    status = str(before.get("status", "open"))
    lines = [
        "[[action]]",
        f"id = {json.dumps(action.id)}",
        f"opened = {json.dumps(action.opened)}",
        action.lines,
        *([f"done = {action.done}"] if done else []),
        f"status = {json.dumps('done_unmeasured' if done and status == 'open' else status)}",
        *([f"evidence = {json.dumps(before['evidence'])}"] if "evidence" in before else []),
    ]
    return "\n".join(lines) + "\n"
