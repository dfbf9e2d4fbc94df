"""The page of the audit criteria that come with the package, and the file it is written from."""

import tomllib
from collections.abc import Mapping
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any

from audit.schema.criterion import ATTESTED, KINDS, WHY_UNTARGETED

_OPENING = """# Audit criteria

<!-- Written by `python -m audit.schema.documents` from audit/criteria.toml. Edit that file, not this page. -->

Each criterion has three answers: met, not met and not recorded. A blank is never a no. Exceptions are counted
and shown, and leave the denominator only where the log codes them. The verdict goes by the 95% interval:
**met** when it lies at the target or beyond, or everyone recorded met it; **surely not met** when it lies
wholly short; otherwise it **cannot be told**. With less than 80% recorded (a setting) there is no verdict. How
each figure is counted is in [methods.md](methods.md).

The internal edition and `tables/criteria_cases.csv` list the visits behind each "not met": of care, the visit; of a
check, a position or an outcome that fell due in the period, the visit at which the device was placed; of lost
threads, over the whole log, the contact at which they were first not seen.

{why}.

## Changing them

A service changes, adds and retires criteria in its settings. What it does not name stays as it is here.

```toml
[[criteria]]                       # change: the id of a criterion below, and the keys that differ
id = "pain_options"
target = 0.9

[[criteria]]                       # retire
id = "batch_recorded"
retired = true

[[criteria]]                       # answer what no log shows
id = "emergency_drugs"
attested = "yes"
attested_on = 2026-07-01

[[criteria]]                       # add: a figure of the audit, and a source or that there is none
id = "few_faints"
kind = "outcome"
sentence = "Loss of consciousness is rare."
figure = "syncope"
direction = "at_most"
target = 0.02
source = "local standard, common practice, no source"
effective_from = 2026-07-01
```

`by` and `stratum` narrow a criterion to one group of women, such as `by = "site_ref"`, `stratum = "QUAY"`.
Periods that end before `effective_from` are not judged by it. Where what is counted is changed (`figure`, `by`,
`stratum`) and no `version` is given, the version gets a mark of the change, so that an audit before it and one
after it are not compared. The report prints the version of every criterion and what was changed locally. A
criterion whose columns the log lacks is shown as not in this log, and the audit runs."""


@cache
def library_entries() -> tuple[Mapping[str, Any], ...]:
    """The criteria that come with the package, as its file has them, dates as ISO text."""
    text = files("audit").joinpath("criteria.toml").read_text(encoding="utf-8")
    return tuple(
        {key: value.isoformat() if isinstance(value, date) else value for key, value in entry.items()}
        for entry in tomllib.loads(text)["criterion"]
    )


def criteria_page() -> str:
    """The page as Markdown that ends with a line feed.

    Returns
    -------
    str

    Examples
    --------
    >>> criteria_page().splitlines()[0]
    '# Audit criteria'
    """
    parts = [_OPENING.format(why=WHY_UNTARGETED)]
    for kind in KINDS:
        own = [entry for entry in library_entries() if entry["kind"] == kind]
        lines = [
            f"## {kind.capitalize()}",
            "",
            "| id | it asks | counted by | target | exceptions | source | version, from |",
            "|---|---|---|---|---|---|---|",
            *(_line(entry) for entry in own),
        ]
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"


def _line(entry: Mapping[str, Any]) -> str:
    """One criterion as a line of the table."""
    counted = "the service's own answer" if entry["figure"] == ATTESTED else f"`{entry['figure']}`"
    if "stratum" in entry:
        counted += f", `{entry['by']}` = `{entry['stratum']}`"
    cells = (
        f"`{entry['id']}`",
        entry["sentence"],
        counted,
        f"{100 * entry['target']:g}%" if "target" in entry else "none",
        entry.get("exceptions", "none"),
        entry["source"],
        f"{entry['version']}, {entry['effective_from']}",
    )
    return f"| {' | '.join(cells)} |"
