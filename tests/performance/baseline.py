"""The same audit as an analyst would write it in a day with pandas, lifelines, statsmodels and plotly.

A yardstick for `compare.py`, in straightforward style: pandas reads the file, a loop over the women makes
placements, loops over groups fill the tables, one fitter per curve, one figure after the other. Nothing in it
is slowed down on purpose, and nothing is tuned: columns are parsed once, frames are filtered once per group,
and figures share one copy of plotly's library. It checks far less than the package does (no settings, no row
accounting beyond a count, no refusal of bad files, no cautions), which favours it.

    python tests/performance/baseline.py visits.csv --period 2026-Q3 --out out
"""

import argparse
import json
import tomllib
import warnings
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from lifelines import AalenJohansenFitter, KaplanMeierFitter
from lifelines.statistics import multivariate_logrank_test
from lifelines.utils import median_survival_times
from scipy.stats import binom, chi2, fisher_exact
from statsmodels.stats.contingency_tables import Table, Table2x2
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

HORIZONS = [42, 91, 182, 365, 730, 1095]
BANDS = {
    "0 to 42": (0, 42),
    "43 to 182": (42, 182),
    "183 to 365": (182, 365),
    "over 365": (365, np.inf),
    "all": (0, np.inf),
}
REPORTING_LAG = 30
EXPULSIONS = ["expulsion_complete", "expulsion_partial"]
RULES = ["last_known", "assumed_in_place"]
DATES = ["visit_date", "event_date_reported", "pregnancy_conception_est"]
TIMING = {
    "interval": "interval",
    "post_placental_10min": "postpartum",
    "early_postpartum_inpatient": "postpartum",
    "early_postpartum_outpatient": "postpartum",
    "post_abortion_same_day": "post_abortion",
    "post_abortion_later": "post_abortion",
    "emergency": "emergency",
}
REASONS = {
    "bleeding": "bleeding_or_pain",
    "pain": "bleeding_or_pain",
    "hormonal_effects": "hormonal_effects",
    "infection": "infection",
    "malposition": "malposition",
    "wish_pregnancy": "wish_pregnancy",
    "no_longer_needed": "not_needed",
    "menopause": "not_needed",
    "planned_end_of_duration": "planned_end",
}


def read(path):
    """The log in order of woman and date, with the groups that tables are made by."""
    visits = pd.read_csv(path, dtype={"patient_ref": str, "visit_ref": str}, parse_dates=DATES)
    visits = visits.drop_duplicates().sort_values(["patient_ref", "visit_date"], kind="stable")
    births = visits["vaginal_births"] + visits["caesarean_births"]
    visits["parous"] = np.where(births.isna(), "unknown", np.where(births > 0, "yes", "no"))
    visits["cervical_parity"] = np.where(
        visits["vaginal_births"].isna(), "unknown", np.where(visits["vaginal_births"] > 0, "yes", "no")
    )
    visits["parity_group"] = np.select(
        [visits["vaginal_births"] > 0, births == 0, births > 0],
        ["any_vaginal_birth", "nulliparous", "caesarean_only"],
        "unknown",
    )
    visits["births_group"] = births.clip(upper=3).map({0: "0", 1: "1", 2: "2", 3: "3_plus"}).fillna("unknown")
    visits["age_band"] = pd.cut(
        visits["age_years"],
        [0, 20, 25, 30, 35, 40, 45, 100],
        right=False,
        labels=["under_20", "20_24", "25_29", "30_34", "35_39", "40_44", "45_plus"],
    ).astype(object)
    visits["device_family"] = np.select(
        [
            visits["device_class"].str.startswith("copper", na=False),
            visits["device_class"].str.startswith("lng", na=False),
        ],
        ["copper", "hormonal"],
        "unknown",
    )
    visits["timing_group"] = visits["placement_timing"].map(TIMING).fillna("unknown")
    visits["practice"] = np.where(visits["supervised"] == "yes", "supervised", "independent")
    return visits


def make_attempts(visits):
    """Insertions begun or deferred, one row per operator; a take-over is a failure and a new attempt."""
    rows = visits[visits["visit_kind"].isin(["insertion", "removal_and_replacement"])].copy()
    rows["outcome"] = rows["insertion_outcome"].replace(
        {"stopped_on_request": "failed", "deferred_not_started": "deferred"}
    )
    rows["visit_outcome"] = rows["outcome"]
    taken = rows["completed_by_ref"].notna() & (rows["completed_by_ref"] != rows["clinician_ref"])
    second = rows[taken].copy()
    second["clinician_ref"] = second["completed_by_ref"]
    second["practice"] = "independent"
    second["visit_outcome"] = None
    second["vasovagal_grade"] = np.nan
    rows.loc[taken, "outcome"] = "failed"
    rows["quarter"] = rows["visit_date"].dt.to_period("Q").astype(str)
    attempts = pd.concat([rows, second]).sort_values(["patient_ref", "visit_date"], kind="stable")
    tried = attempts[attempts["outcome"] != "deferred"]
    first = tried.groupby("patient_ref").head(1).index
    attempts["first_visit_outcome"] = attempts["visit_outcome"].where(attempts.index.isin(first))
    attempts["any_reaction"] = (attempts["vasovagal_grade"] >= 1).where(attempts["vasovagal_grade"].notna())
    attempts["grade_2_plus"] = (attempts["vasovagal_grade"] >= 2).where(attempts["vasovagal_grade"].notna())
    attempts["syncope_yes"] = attempts["syncope"].map({"yes": True, "no": False})
    return attempts.reset_index(drop=True)


def ending_of(contact):
    """What a contact says ended the spell, and when; None when the device is in place or unknown."""
    day = (
        contact["event_date_reported"] if pd.notna(contact["event_date_reported"]) else contact["visit_date"]
    )
    reason = contact["removal_reason_main"]
    if contact["perforation_confirmed"] in ("partial_embedded", "complete_extrauterine"):
        return "perforation", contact["visit_date"]
    if (
        contact["pregnancy"] in ("intrauterine", "ectopic", "miscarriage", "location_unknown")
        or reason == "pregnancy"
    ):
        conceived = contact["pregnancy_conception_est"]
        return "pregnancy", conceived if pd.notna(conceived) else contact["visit_date"]
    if contact["device_in_situ"] == "complete_expulsion":
        return "expulsion_complete", day
    if contact["device_in_situ"] == "partial_expulsion" or reason == "partial_expulsion":
        return "expulsion_partial", day
    if contact["device_in_situ"] in ("removed_here", "removed_elsewhere"):
        return "removal", day
    if contact["contact_result"] == "died":
        return "death", day
    return None


def make_placements(visits, attempts, data_to):
    """One row per device placed: its ending, and the end of observation under two rules."""
    spells = []
    contacts = dict(list(visits.groupby("patient_ref")))
    placed = attempts[attempts["outcome"] == "placed"]
    for woman, devices in placed.groupby("patient_ref"):
        own = contacts[woman]
        days = devices["visit_date"].tolist()
        replaced = False
        for number, (_, device) in enumerate(devices.iterrows()):
            upto = days[number + 1] if number + 1 < len(days) else data_to + pd.Timedelta(days=1)
            after = own[(own["visit_date"] > days[number]) & (own["visit_date"] <= upto)]
            spell = follow(device, after, data_to)
            spell["placement_kind"] = (
                "replacement" if replaced or device["visit_kind"] != "insertion" else "first"
            )
            if number and spell["placement_kind"] == "first":
                spell["placement_kind"] = "repeat"
            if spell["ending"] == "none" and number + 1 < len(days):
                spell.update(ending="unrecorded", exit_last_known=(upto - days[number]).days)
                spell["exit_assumed_in_place"] = spell["exit_last_known"]
            replaced = spell["ending"] == "removal" and spell["ending_date"] == upto
            spells.append(spell)
    return pd.DataFrame(spells)


def follow(device, contacts, data_to):
    """One device through the contacts after its placement."""
    begun = device["visit_date"]
    ending, ended, reason, last, left, checked = "none", None, None, 0, None, False
    for _, contact in contacts.iterrows():
        day = (contact["visit_date"] - begun).days
        found = ending_of(contact)
        checked |= 21 <= day <= 56 and pd.notna(contact["device_in_situ"])
        if found is not None:
            ending, ended = found
            reason = contact["removal_reason_main"]
            break
        if contact["device_in_situ"] in ("in_situ_confirmed", "in_situ_reported"):
            last = day
        if contact["contact_result"] in ("moved_away", "declined"):
            left = day
    potential = (data_to - begun).days
    exit_day = (ended - begun).days if ended is not None else None
    assumed = max(last, min(potential - REPORTING_LAG, left if left is not None else potential))
    names = ["patient_ref", "visit_date", "site_ref", "clinician_ref", "parous", "age_band", "timing_group"]
    return {
        **{name: device[name] for name in [*names, "device_class", "device_family"]},
        "ending": ending,
        "ending_date": ended,
        "reason": REASONS.get(reason, "other") if ending == "removal" else None,
        "exit_last_known": exit_day if exit_day is not None else last,
        "exit_assumed_in_place": exit_day if exit_day is not None else assumed,
        "potential": potential,
        "check_done": checked,
        "outcome_known": ending not in ("none", "unrecorded") or last >= 330,
    }


def with_limits(table):
    """Wilson and exact limits for every row with events and n."""
    n = table["n"].where(table["n"] > 0)
    table["proportion"] = table["events"] / n
    table["ci_lower"], table["ci_upper"] = proportion_confint(table["events"], n, method="wilson")
    table["exact_lower"], table["exact_upper"] = proportion_confint(table["events"], n, method="beta")
    return table


def windows(rows, date, period):
    """The quarter, the year to its end, and everything."""
    first, last = period.start_time, period.end_time
    year = last - pd.DateOffset(years=1)
    yield "period", rows[(rows[date] >= first) & (rows[date] <= last)]
    yield "rolling_12_months", rows[(rows[date] > year) & (rows[date] <= last)]
    yield "all", rows


def strata(rows, by):
    """The groups of a column, or everybody."""
    if by == "overall":
        yield "overall", rows
    else:
        yield from rows.groupby(by, dropna=True)


def failed_table(attempts, period):
    """Failed insertions per visit, per operator attempt and per woman, by the same groups."""
    groups = {
        "visit_outcome": [
            "overall",
            "parity_group",
            "cervical_parity",
            "parous",
            "births_group",
            "site_ref",
            "device_family",
        ],
        "outcome": ["overall", "practice"],
        "first_visit_outcome": ["overall", "parous"],
    }
    rows = []
    for window, part in windows(attempts, "visit_date", period):
        for unit, bys in groups.items():
            for by in bys:
                for stratum, group in strata(part, by):
                    counted = group[unit].value_counts()
                    rows.append(counted_row(by, stratum, window, unit, counted))
    for quarter, group in attempts.groupby("quarter"):
        rows.append(
            counted_row("quarter", quarter, "all", "visit_outcome", group["visit_outcome"].value_counts())
        )
    return with_limits(pd.DataFrame(rows))


def counted_row(by, stratum, window, unit, counted):
    """One row of failures from counted outcomes."""
    failed, placed = counted.get("failed", 0), counted.get("placed", 0)
    return {
        "by": by,
        "stratum": stratum,
        "window": window,
        "unit": unit,
        "events": failed,
        "n": failed + placed,
        "n_unknown": counted.get("unknown", 0),
        "n_deferred": counted.get("deferred", 0),
    }


def woman_90_days(attempts, data_to):
    """Women without a device 90 days after their first attempt."""
    events = n = 0
    for _, hers in attempts[attempts["outcome"].isin(["placed", "failed"])].groupby("patient_ref"):
        begun = hers["visit_date"].iloc[0]
        if (data_to - begun).days < 90:
            continue
        within = hers[hers["visit_date"] <= begun + pd.Timedelta(days=90)]
        n += 1
        events += not (within["outcome"] == "placed").any()
    return with_limits(pd.DataFrame([{"by": "overall", "unit": "woman_90_days", "events": events, "n": n}]))


def reasons_table(attempts, period):
    """Reasons for failure."""
    tables = []
    for window, part in windows(attempts, "visit_date", period):
        failed = part[part["outcome"] == "failed"]
        counted = (
            failed["failure_reason"]
            .fillna("unknown")
            .value_counts()
            .rename_axis("cause")
            .reset_index(name="events")
        )
        tables.append(counted.assign(window=window, n=len(failed)))
    return with_limits(pd.concat(tables, ignore_index=True))


def clinician_table(attempts, period):
    """Failures per clinician against the service, raw and with the case mix allowed for."""
    tables = []
    for window, part in windows(attempts, "visit_date", period):
        own = part[(part["practice"] == "independent") & part["outcome"].isin(["placed", "failed"])]
        target = (own["outcome"] == "failed").mean()
        mix = own.groupby("parity_group")["outcome"].apply(lambda outcome: (outcome == "failed").mean())
        rows = []
        for clinician, hers in own.groupby("clinician_ref"):
            events, n = int((hers["outcome"] == "failed").sum()), len(hers)
            expected = hers["parity_group"].map(mix).sum()
            rows.append(
                {
                    "window": window,
                    "stratum": clinician,
                    "events": events,
                    "n": n,
                    "target": target,
                    "tail_upper": binom.sf(events - 1, n, target),
                    "tail_lower": binom.cdf(events, n, target),
                    "expected": expected,
                    "ratio": events / expected if expected else np.nan,
                    "ratio_lower": chi2.ppf(0.025, 2 * events) / 2 / expected if events and expected else 0,
                    "ratio_upper": chi2.ppf(0.975, 2 * events + 2) / 2 / expected if expected else np.nan,
                }
            )
        tables.append(with_limits(pd.DataFrame(rows)))
    return pd.concat(tables, ignore_index=True)


def limits_table(clinicians):
    """Exact funnel limits for each number of attempts."""
    rolling = clinicians[clinicians["window"] == "rolling_12_months"]
    n, target = np.arange(1, rolling["n"].max() + 1), rolling["target"].iloc[0]
    limits = {"n": n, "target": target}
    for name, tail in (("ask", 0.025), ("review", 0.001)):
        limits[f"{name}_lower"] = np.maximum(binom.ppf(tail, n, target) - 1, 0) / n
        limits[f"{name}_upper"] = (binom.ppf(1 - tail, n, target) + 1) / n
    return pd.DataFrame(limits)


def emergency_table(attempts, period):
    """Emergency placements in time."""
    rows = []
    for window, part in windows(attempts, "visit_date", period):
        emergency = part[
            (part["indication"] == "emergency_contraception") & (part["visit_outcome"] != "deferred")
        ]
        emergency = emergency[emergency["visit_outcome"].notna()]
        in_time = (emergency["ec_hours_since_upsi"] <= 120) | (emergency["ec_days_after_ovulation"] <= 5)
        rows.append({"window": window, "events": int(in_time.sum()), "n": len(emergency)})
    return with_limits(pd.DataFrame(rows))


def yes_no_table(attempts, period, definitions, bys):
    """A yes-or-no outcome of insertion visits, by window, group and definition."""
    rows = []
    begun = attempts[attempts["visit_outcome"].isin(["placed", "failed", "unknown"])]
    for window, part in windows(begun, "visit_date", period):
        for by in bys:
            for stratum, group in strata(part, by):
                for definition in definitions:
                    known = group[definition].dropna()
                    rows.append(
                        {
                            "by": by,
                            "stratum": stratum,
                            "window": window,
                            "definition": definition,
                            "events": int(known.sum()),
                            "n": len(known),
                            "n_unknown": len(group) - len(known),
                        }
                    )
    return with_limits(pd.DataFrame(rows))


def contrasts_table(vasovagal):
    """Risk ratio, difference and Fisher's test by parity, and the trend over births."""
    rows = []
    for (window, definition), part in vasovagal.groupby(["window", "definition"]):
        for by in ("cervical_parity", "parous"):
            group = part[part["by"] == by].set_index("stratum")
            if not {"no", "yes"} <= set(group.index):
                continue
            a, n1 = group.loc["no", ["events", "n"]].astype(int)
            b, n2 = group.loc["yes", ["events", "n"]].astype(int)
            table = np.array([[a, n1 - a], [b, n2 - b]])
            ratio = Table2x2(table) if a and b else None
            lower, upper = (
                confint_proportions_2indep(a, n1, b, n2, method="newcomb") if n1 and n2 else (np.nan, np.nan)
            )
            rows.append(
                {
                    "by": by,
                    "window": window,
                    "definition": definition,
                    "ratio": ratio.riskratio if ratio else np.nan,
                    "ratio_lower": ratio.riskratio_confint()[0] if ratio else np.nan,
                    "ratio_upper": ratio.riskratio_confint()[1] if ratio else np.nan,
                    "difference": a / n1 - b / n2 if n1 and n2 else np.nan,
                    "difference_lower": lower,
                    "difference_upper": upper,
                    "p_value": fisher_exact(table).pvalue,
                }
            )
        births = part[(part["by"] == "births_group") & (part["stratum"] != "unknown")]
        if len(births) > 1 and 0 < births["events"].sum() < births["n"].sum():
            counts = np.column_stack([births["events"], births["n"] - births["events"]])
            trend = Table(counts, shift_zeros=False).test_ordinal_association()
            rows.append(
                {"by": "births_group", "window": window, "definition": definition, "p_value": trend.pvalue}
            )
    return pd.DataFrame(rows)


def perforations(attempts, placements):
    """Confirmed and suspected perforations as columns of the attempts."""
    ended = placements.loc[placements["ending"] == "perforation", ["patient_ref", "visit_date"]]
    keys = set(map(tuple, ended.to_numpy()))
    attempts["suspected"] = attempts["perforation_suspected"].isin(["sound", "device", "other_instrument"])
    attempts["confirmed"] = [
        key in keys for key in zip(attempts["patient_ref"], attempts["visit_date"].tolist(), strict=True)
    ]
    attempts["complete"] = attempts["confirmed"]
    return attempts


def known_table(placements, period, column, days, bys):
    """Check done, or outcome known, among those for whom it is due."""
    rows = []
    due = placements[placements["potential"] >= days]
    if column == "check_done":
        due = due[(due["ending"] == "none") | (due["exit_last_known"] >= 21)]
    due = due.assign(due_date=due["visit_date"] + pd.Timedelta(days=days))
    for window, part in windows(due, "due_date", period):
        for by in bys:
            for stratum, group in strata(part, by):
                rows.append(
                    {
                        "by": by,
                        "stratum": stratum,
                        "window": window,
                        "events": int(group[column].sum()),
                        "n": len(group),
                    }
                )
    return with_limits(pd.DataFrame(rows))


def incidence_table(placements, ending, causes, bys, kinds=("first",)):
    """Cumulative incidence (Aalen-Johansen) and one minus Kaplan-Meier per group, cause and rule."""
    tables = []
    for kind in kinds:
        spells = placements[placements["placement_kind"] == kind]
        for rule in RULES:
            for by in bys:
                for stratum, group in strata(spells, by):
                    for cause, codes in causes.items():
                        labels = {
                            "by": by,
                            "stratum": stratum,
                            "placement_kind": kind,
                            "censoring": rule,
                            "cause": cause,
                        }
                        tables.append(incidence(group[f"exit_{rule}"], group[ending], codes).assign(**labels))
    return pd.concat(tables, ignore_index=True)


def incidence(days, endings, codes):
    """One curve at the days with an event and at the horizons."""
    days = days.reset_index(drop=True)
    event = pd.Series(np.select([endings.isin(codes), endings != "none"], [1, 2], 0))
    kaplan_meier = KaplanMeierFitter().fit(days, event == 1)
    times = np.unique(np.concatenate([days[event == 1], HORIZONS]))
    table = pd.DataFrame({"days": times, "at_risk": [(days >= time).sum() for time in times]})
    limits = 1 - kaplan_meier.confidence_interval_
    survival = kaplan_meier.survival_function_at_times(times)
    table["one_minus_km"] = 1 - survival.to_numpy()
    table["km_upper"], table["km_lower"] = limits.reindex(times, method="ffill").to_numpy().T
    if (event == 1).any():
        fitted = AalenJohansenFitter(seed=1).fit(days, event, event_of_interest=1)
        # Ties are moved apart by a hair, so the value at the end of the day is read.
        read_at = times + 0.5
        curve = fitted.cumulative_density_.iloc[:, 0]
        table["incidence"] = curve.reindex(read_at, method="ffill").to_numpy()
        table["standard_error"] = np.sqrt(fitted.variance_.reindex(read_at, method="ffill").to_numpy())
        limits = fitted.confidence_interval_.reindex(read_at, method="ffill").to_numpy()
        table["ci_lower"], table["ci_upper"] = limits.T
    else:
        table["incidence"] = 0.0
    return table


def continuation_tables(placements):
    """Kaplan-Meier curves, medians and log-rank tests."""
    curves, medians, tests = [], [], []
    for kind in ("first", "replacement"):
        spells = placements[placements["placement_kind"] == kind]
        bys = ["overall", "device_class", "device_family"] if kind == "first" else ["overall"]
        for rule in RULES:
            ended = ~spells["ending"].isin(["none", "death"])
            for by in bys:
                for stratum, group in strata(spells, by):
                    labels = {"by": by, "stratum": stratum, "placement_kind": kind, "censoring": rule}
                    days, event = group[f"exit_{rule}"], ended[group.index]
                    fitted = KaplanMeierFitter().fit(days, event)
                    times = np.unique(np.concatenate([days[event], HORIZONS]))
                    table = pd.DataFrame({"days": times, "at_risk": [(days >= time).sum() for time in times]})
                    table["survival"] = fitted.survival_function_at_times(times).to_numpy()
                    limits = fitted.confidence_interval_.reindex(times, method="ffill").to_numpy()
                    table["ci_lower"], table["ci_upper"] = limits.T
                    curves.append(table.assign(**labels))
                    lower, upper = median_survival_times(fitted.confidence_interval_).to_numpy()[0]
                    median = {
                        "median_days": fitted.median_survival_time_,
                        "median_lower": lower,
                        "median_upper": upper,
                    }
                    medians.append({**labels, "n": len(group), "events": int(event.sum()), **median})
                if by != "overall":
                    test = multivariate_logrank_test(spells[f"exit_{rule}"], spells[by], ended)
                    tests.append(
                        {
                            "by": by,
                            "censoring": rule,
                            "statistic": test.test_statistic,
                            "p_value": test.p_value,
                        }
                    )
    return pd.concat(curves, ignore_index=True), pd.DataFrame(medians), pd.DataFrame(tests)


def rates_table(placements, causes, bys, entry=None):
    """Events per person-year by band of time since placement, with exact Poisson limits."""
    rows = []
    for rule in RULES:
        for by in bys:
            for stratum, group in strata(placements, by):
                begun = group["entry"] if entry else pd.Series(0, index=group.index)
                for cause, codes in causes.items():
                    event = group["ending"].isin(codes)
                    for band, (lower, upper) in BANDS.items():
                        days = group[f"exit_{rule}"]
                        lived = (days.clip(upper=upper) - begun.clip(lower=lower)).clip(
                            lower=0
                        ).sum() / 365.25
                        events = int((event & (days > lower - (lower == 0)) & (days <= upper)).sum())
                        rows.append(
                            {
                                "by": by,
                                "stratum": stratum,
                                "censoring": rule,
                                "cause": cause,
                                "band": band,
                                "events": events,
                                "person_years": lived,
                            }
                        )
    table = pd.DataFrame(rows)
    years = table["person_years"].where(table["person_years"] > 0)
    table["rate"] = table["events"] / years
    table["ci_lower"] = (chi2.ppf(0.025, 2 * table["events"]) / 2 / years).where(table["events"] > 0, 0)
    table["ci_upper"] = chi2.ppf(0.975, 2 * table["events"] + 2) / 2 / years
    return table


def in_quarter(placements, period):
    """The part of each spell lived in the quarter."""
    first, last = period.start_time.normalize(), period.end_time.normalize()
    entry = ((first - placements["visit_date"]).dt.days - 1).clip(lower=0)
    until = (last - placements["visit_date"]).dt.days
    cut = placements.assign(entry=entry)
    cut["ending"] = placements["ending"].where(placements["exit_last_known"] <= until, "none")
    for rule in RULES:
        cut[f"exit_{rule}"] = placements[f"exit_{rule}"].clip(upper=until)
    return cut[(until >= 0) & (placements["exit_assumed_in_place"] > entry)]


def benchmark_table(tables):
    """Each published figure beside ours where outcome, measure and group match."""
    library = files("audit").joinpath("benchmarks").joinpath("library")
    texts = [file.read_text(encoding="utf-8") for file in sorted(library.iterdir(), key=lambda f: f.name)]
    rows = []
    for published in [figure for text in texts for figure in tomllib.loads(text)["benchmark"]]:
        row = {
            name: published.get(name)
            for name in ("id", "outcome", "measure", "estimate", "ci_lower", "ci_upper", "citation")
        }
        own = own_figure(tables, published)
        if own is not None:
            row.update(
                own=own[0], own_lower=own[1], own_upper=own[2], difference=own[0] - published["estimate"]
            )
        rows.append(row)
    return pd.DataFrame(rows)


def own_figure(tables, published):
    """Our figure for a published one, overall."""
    known = {
        "failed_insertion": (
            "failed_insertions",
            "proportion",
            "window == 'all' and unit == 'visit_outcome'",
        ),
        "vasovagal": ("vasovagal", "proportion", "window == 'all' and definition == 'syncope_yes'"),
        "perforation": ("perforation", "proportion", "window == 'all' and definition == 'confirmed'"),
        "expulsion": (
            "expulsion_incidence",
            "one_minus_km",
            "cause == 'expulsion' and censoring == 'last_known' and days == @days",
        ),
        "continuation": ("continuation_curve", "survival", "censoring == 'last_known' and days == @days"),
        "check_done": ("check_done", "proportion", "window == 'all'"),
    }
    if published["outcome"] not in known:
        return None
    name, value, query = known[published["outcome"]]
    days = published.get("horizon_days", 365)  # noqa: F841 - read by the query
    found = tables[name].query(f"by == 'overall' and {query}")
    limits = ("km_lower", "km_upper") if value == "one_minus_km" else ("ci_lower", "ci_upper")
    return tuple(found[[value, *limits]].iloc[0]) if len(found) else None


def draw(tables):
    """The figures of the report: intervals by group, funnel, quarters, curves."""
    figures = []
    failed, vasovagal = tables["failed_insertions"], tables["vasovagal"]
    for by in ("parity_group", "cervical_parity", "births_group", "site_ref", "device_family"):
        chosen = failed[
            (failed["by"] == by)
            & (failed["window"] == "rolling_12_months")
            & (failed["unit"] == "visit_outcome")
        ]
        figures.append(intervals(chosen, f"Failed insertions by {by}"))
    figures.append(intervals(failed[failed["by"] == "quarter"], "Failed insertions by quarter"))
    reasons = tables["failure_reasons"]
    figures.append(
        intervals(reasons[reasons["window"] == "all"].rename(columns={"cause": "stratum"}), "Reasons")
    )
    figures.append(funnel(tables["clinicians"], tables["limits"]))
    for by in ("parity_group", "births_group", "timing_group"):
        chosen = vasovagal[
            (vasovagal["by"] == by)
            & (vasovagal["window"] == "all")
            & (vasovagal["definition"] == "any_reaction")
        ]
        figures.append(intervals(chosen, f"Vasovagal reactions by {by}"))
    for name in ("check_done", "outcome_known"):
        figures.append(intervals(tables[name][tables[name]["window"] == "all"], name))
    expulsion, curve = tables["expulsion_incidence"], tables["continuation_curve"]
    for by in ("overall", "timing_group", "device_class", "parous", "age_band"):
        chosen = expulsion[(expulsion["by"] == by) & (expulsion["cause"] == "expulsion")]
        figures.append(steps(chosen[chosen["censoring"] == "last_known"], "incidence", f"Expulsion by {by}"))
    for by in ("overall", "device_class", "device_family"):
        chosen = curve[(curve["by"] == by) & (curve["censoring"] == "last_known")]
        figures.append(
            steps(chosen[chosen["placement_kind"] == "first"], "survival", f"Continuation by {by}")
        )
    figures.append(
        steps(
            tables["ending_incidence"].assign(stratum=tables["ending_incidence"]["cause"]),
            "incidence",
            "Endings",
        )
    )
    return figures


def intervals(rows, title):
    """Proportions with their intervals."""
    figure = go.Figure(
        go.Scatter(
            x=rows["proportion"],
            y=rows["stratum"].astype(str),
            mode="markers",
            error_x={
                "type": "data",
                "array": rows["ci_upper"] - rows["proportion"],
                "arrayminus": rows["proportion"] - rows["ci_lower"],
            },
        )
    )
    return figure.update_layout(title=title, template="simple_white")


def funnel(clinicians, limits):
    """Clinicians around the service's proportion."""
    rolling = clinicians[clinicians["window"] == "rolling_12_months"]
    figure = go.Figure(
        go.Scatter(x=rolling["n"], y=rolling["proportion"], text=rolling["stratum"], mode="markers+text")
    )
    for name in ("ask_lower", "ask_upper", "review_lower", "review_upper"):
        figure.add_scatter(x=limits["n"], y=limits[name], mode="lines", name=name)
    return figure.update_layout(title="Failed insertions by clinician", template="simple_white")


def steps(rows, value, title):
    """Step curves with a band."""
    figure = go.Figure()
    for stratum, curve in rows.groupby("stratum"):
        for name in ("ci_lower", "ci_upper"):
            figure.add_scatter(
                x=curve["days"],
                y=curve[name],
                mode="lines",
                line={"shape": "hv", "width": 0},
                showlegend=False,
            )
        figure.add_scatter(
            x=curve["days"], y=curve[value], mode="lines", line={"shape": "hv"}, name=str(stratum)
        )
    return figure.update_layout(title=title, template="simple_white")


def write(tables, figures, out):
    """CSV of every table, one JSON record, and one page with figures and tables."""
    (out / "tables").mkdir(parents=True, exist_ok=True)
    for name, table in tables.items():
        table.to_csv(out / "tables" / f"{name}.csv", index=False)
    record = {
        name: json.loads(table.to_json(orient="records", date_format="iso", double_precision=15))
        for name, table in tables.items()
    }
    (out / "record.json").write_text(json.dumps(record), encoding="utf-8")
    parts = [
        figure.to_html(full_html=False, include_plotlyjs=number == 0) for number, figure in enumerate(figures)
    ]
    short = [
        f"<h2>{name}</h2>" + table.to_html(index=False) for name, table in tables.items() if len(table) < 200
    ]
    page = "<!doctype html><meta charset=utf-8><h1>Audit</h1>" + "".join(parts + short)
    (out / "report.html").write_text(page, encoding="utf-8")


def audit(path, quarter):
    """Every table."""
    visits = read(path)
    data_to, period = visits["visit_date"].max(), pd.Period(quarter.replace("-", ""), freq="Q")
    attempts = make_attempts(visits)
    placements = make_placements(visits, attempts, data_to)
    attempts = perforations(attempts, placements)
    parities = ["overall", "parity_group", "cervical_parity", "parous", "births_group", "timing_group"]
    devices = ["overall", "device_class", "device_family"]
    either = {"expulsion": EXPULSIONS}
    apart = {"expulsion_complete": EXPULSIONS[:1], "expulsion_partial": EXPULSIONS[1:]}
    others = {name: [name] for name in ("removal", "pregnancy", "perforation")}
    placements["detail"] = placements["reason"].fillna(placements["ending"])
    by_reason = {name: [name] for name in placements["reason"].dropna().unique()}
    first = placements[placements["placement_kind"] == "first"]
    tables = {
        "rows": pd.DataFrame(
            {"rows": [len(visits)], "attempts": [len(attempts)], "placements": [len(placements)]}
        ),
        "completeness": visits.notna().agg(["sum", "mean"]).T.reset_index(),
        "failed_insertions": failed_table(attempts, period),
        "woman_90_days": woman_90_days(attempts, data_to),
        "failure_reasons": reasons_table(attempts, period),
        "clinicians": clinician_table(attempts, period),
        "emergency": emergency_table(attempts, period),
        "vasovagal": yes_no_table(
            attempts, period, ["any_reaction", "grade_2_plus", "syncope_yes"], parities
        ),
        "perforation": yes_no_table(attempts, period, ["confirmed", "complete", "suspected"], devices),
        "check_done": known_table(placements, period, "check_done", 56, ["overall", "site_ref"]),
        "outcome_known": known_table(first, period, "outcome_known", 395, ["overall", "site_ref"]),
        "expulsion_incidence": incidence_table(
            placements,
            "ending",
            either | apart,
            ["overall", "timing_group", "device_class", "parous", "age_band"],
        ),
        "expulsion_after_replacement": incidence_table(
            placements, "ending", either | apart, ["overall"], kinds=("replacement",)
        ),
        "removal_incidence": incidence_table(
            placements, "detail", {"removal": list(by_reason)} | by_reason, ["overall", "device_class"]
        ),
        "ending_incidence": incidence_table(
            placements,
            "ending",
            either | others | {name: [name] for name in ("unrecorded", "death")},
            ["overall"],
        ),
        "rates": rates_table(first, either | others, ["overall", "timing_group"]),
        "period_rates": rates_table(
            in_quarter(first, period), either | others, ["overall", "timing_group"], entry="entry"
        ),
        "pregnancy": rates_table(placements, {"pregnancy": ["pregnancy"]}, devices),
    }
    curve, median, tests = continuation_tables(placements)
    tables |= {"continuation_curve": curve, "continuation_summary": median, "continuation_tests": tests}
    tables["contrasts"] = contrasts_table(tables["vasovagal"])
    tables["limits"] = limits_table(tables["clinicians"])
    tables["benchmarks"] = benchmark_table(tables)
    return tables


def main():
    """Read the arguments and write the folder."""
    parser = argparse.ArgumentParser()
    parser.add_argument("log", type=Path)
    parser.add_argument("--period", required=True)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    # lifelines warns that it moves tied times apart; an analyst switches that off.
    warnings.simplefilter("ignore")
    tables = audit(given.log, given.period)
    write(tables, draw(tables), given.out)


if __name__ == "__main__":
    main()
