"""The demonstration: the invented clinic's log and its settings, written into a folder."""

import json
from pathlib import Path

import pandas as pd

from audit.schema.visits import VISITS
from synthetic_data.clinic_words import HEADINGS, words_of
from synthetic_data.flaws import ClinicExport, export_as_clinic
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD

# Chosen among the first few seeds as one in which the rare events occur.
DEMO_SEED = 8
DEMO_PERIOD = "2026-Q3"
DEMO_DATA_TO = LARKFIELD.data_to

_RULES = """\
# Settings of the invented "{service}".
# Everything in this folder is made up. No woman, clinician or clinic behind it exists.
#
# This file says two things: the rules of the audit, and how the columns and words of visit_log.csv are to be
# read. The quarter to report is not here; it is given when the audit is run.

service = "{service}"

# Marks every page as made from invented data. Leave it out, or set it to false, for a real log.
synthetic = true

# What a clinician's failed insertions are compared with: the whole service, its own cases included.
# "service_excluding_own" compares with the colleagues alone; a proportion such as "0.05" sets a fixed target.
funnel_target = "service"

# Columns in which a blank means "no" because only what happened is written down. None here: in this service a
# blank means that nobody filled the field in, so it is unknown.
charted_by_exception = []

# Standards. Those of the package hold unless changed here; docs/criteria.md lists them. What no log shows is
# answered here, with the day.
[[criteria]]
id = "emergency_drugs"
attested = "yes"
attested_on = 2026-07-06

[[criteria]]
id = "instruments_in_stock"
attested = "no"  # dilators below 3 mm were out of stock at one site
attested_on = 2026-07-06

[[criteria]]
id = "referral_path"
attested = "yes"
attested_on = 2025-03-10

# Advice comes by text message, which not every woman has agreed to receive.
[[criteria]]
id = "analgesia_advice"
target = 0.90
source = "local standard of this service since 2026, common practice, no source"

# A batch register is kept with the stock book, outside this audit.
[[criteria]]
id = "batch_recorded"
retired = true

# Differences this service holds too small to matter, agreed before the figures were seen; 0.02 is 2 in 100.
# A benchmark is "compatible" only when the whole interval of the difference lies within it.
[margins]
failed_insertion = 0.02
vasovagal = 0.02
expulsion = 0.02
outcome_known = 0.05
check_done = 0.05
perforation = 0.001
pregnancy = 0.005

# Why each is what it is; the report prints it beside the margin.
[margin_reasons]
failed_insertion = "about one more rebooking a fortnight"
vasovagal = "would not change the rooms or the staffing of a session"
expulsion = "would not change what women are told"
outcome_known = "what one round of telephone calls can shift"
check_done = "the same round of calls brings in the missing checks"
perforation = "a service of this size will rarely be able to tell"
pregnancy = "would not change what women are told"

# Days after placement. The check is planned for 4 to 6 weeks; a few days either side still count.
[windows]
check_from_day = 21
check_to_day = 56
emergency_hours = 120

# When a figure may lead a page. At 12 months the outcome of 80 women in 100 should be known.
[thresholds]
known_leads = 0.80
known_floor = 0.60
clinician_attempts = 20

# What the women lost to follow-up are asked about: what share of them would have to have lost their device within a
# year for the whole to come to this. Chosen by the service: one in ten is what women are told.
[figures_to_reach]
expulsion = 0.10
removal = 0.20

# How this clinic writes its log: 31/12/2025, and the length of the uterus in centimetres.
# Yes and no are written Y, yes, N, no in any mixture; these words need no entry.
[layout]
date_order = "day_month_year"

[layout.units]
sound_length_mm = "cm"
device_min_sound_mm = "cm"
device_max_sound_mm = "cm"
"""


def write_demo(folder: Path, *, seed: int = DEMO_SEED) -> tuple[Path, Path]:
    """The paths of an invented clinic's log and of its settings, both written into a folder.

    Parameters
    ----------
    folder
        Made when it does not exist. ``visit_log.csv`` and ``settings.toml`` in it are replaced.
    seed
        Same seed, same bytes.

    Returns
    -------
    tuple of Path
        The log and the settings.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_demo(Path(folder))]
    ['visit_log.csv', 'settings.toml']
    """
    folder.mkdir(parents=True, exist_ok=True)
    log, settings = folder / "visit_log.csv", folder / "settings.toml"
    visits = generate_visits(LARKFIELD, seed=seed)
    log.write_bytes(export_as_clinic(visits, seed=seed).text.encode())
    settings.write_bytes(demo_settings(visits).encode())
    return log, settings


def demo_export(*, seed: int = DEMO_SEED) -> ClinicExport:
    """The demonstration's log as text together with the ledger of its flaws."""
    return export_as_clinic(generate_visits(LARKFIELD, seed=seed), seed=seed)


def demo_settings(visits: pd.DataFrame) -> str:
    """The settings file for the log exported from these visits, as TOML text with comments.

    Parameters
    ----------
    visits
        The clean log; headings and words are listed for its columns.

    Returns
    -------
    str
        TOML that `audit.read_settings` accepts.
    """
    headings = [f"{name} = {json.dumps(HEADINGS[name])}" for name in visits.columns]
    tables = [_words_table(name) for name in visits.columns if VISITS[name].kind == "code"]
    parts = [
        _RULES.format(service=LARKFIELD.name),
        "# Our column = the heading in the log.",
        "[layout.headings]",
        *headings,
        "\n# For each column, the clinic's word = our code.",
        *tables,
    ]
    return "\n".join(parts) + "\n"


def _words_table(name: str) -> str:
    """One table of the clinic's words for a column."""
    lines = [f"{json.dumps(word)} = {json.dumps(code)}" for code, word in words_of(name).items()]
    return "\n".join([f"[layout.codes.{name}]", *lines, ""])
