"""Clinicians within what chance allows, in order of code. Nobody is put in order of their figure."""

from dataclasses import replace

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, limits_of, one, rows
from reports.figures.funnel import funnel
from reports.figures.theme import Drawing, Figure, Plot
from reports.sections.comparisons import of_both
from reports.sections.learning import learning_blocks
from reports.sections.modelled import ODDS_FOOT, level, p_column, ratio_with_limits
from reports.sections.parts import CASES_NOT_PEOPLE, PERIOD, ROLLING, empty_section
from reports.sections.section import Block, Caution, FigureBlock, Folded, Items, Paragraph, Section
from reports.sections.volume import volume_blocks
from reports.tables import PROPORTION_FOOT, Column, estimate_cell, html_table, proportion_columns
from reports.words_for_codes import stratum, word

_SIGNALS = ("ask", "review")
_OF_THE_SERVICE = ("service", "service_excluding_own")
_TABLE = "failed_insertions_by_clinician"


def clinicians_section(results: AuditResults) -> Section:
    """Each clinician's failed attempts in twelve months against the service's figure."""
    found = rows(results, _TABLE, window=ROLLING)
    if not found:
        empty = empty_section(results, "clinicians", "Clinicians", _TABLE)
        # Supervised attempts alone are nobody's to compare, and still somebody's to learn from.
        return replace(empty, blocks=(*empty.blocks, *learning_blocks(results)))
    heading = clinicians_heading(found)
    blocks: list[Block] = [
        Paragraph(f"Each clinician is compared with {target_words(results.settings.funnel_target)}."),
        Paragraph(
            f"{chance_marks(results)} The women a clinician sees may explain a mark: the second comparison allows "
            f"for {_allowed(found)}.",
            "Attempts under supervision are left out.",
        ),
        Caution(
            f"{CASES_NOT_PEOPLE} Look in this order: the data, the women, equipment and setting, chance, practice."
        ),
        *_marked(found),
        FigureBlock(_figure(results, found, heading)),
    ]
    now = rows(results, _TABLE, window=PERIOD)
    if now:
        table = html_table(
            "Clinicians, this period alone", _columns(), now, foot=PROPORTION_FOOT, counted=(_TABLE,)
        )
        blocks.append(Folded("This period alone", table))
    blocks.extend(_model(results))
    blocks.extend(learning_blocks(results))
    blocks.extend(volume_blocks(results))
    return Section("clinicians", "Clinicians", heading, tuple(blocks))


def target_words(target: str) -> str:
    """What clinicians are compared with.

    Examples
    --------
    >>> target_words("0.05")
    'a fixed proportion, 5.0%, that the service has set'
    """
    named = {
        "service": "the whole service, their own attempts included",
        "service_excluding_own": "the other clinicians together, their own attempts left out",
    }
    return (
        named.get(target)
        or f"a fixed proportion, {wording.percent(float(target))}%, that the service has set"
    )


def _target_of(row: Row) -> str:
    """The target of one clinician inside a sentence."""
    whose = {"service": "the service's", "service_excluding_own": "the others'"}
    return f"{whose.get(str(row['target_kind']), 'the fixed')} {wording.percent(row['target'])}%"


def compared(found: list[Row]) -> list[Row]:
    """The clinicians with enough attempts to compare."""
    return [row for row in found if row["signal"] in (*_SIGNALS, "none")]


def beyond(found: list[Row]) -> list[Row]:
    """The clinicians whose figure crosses a limit."""
    return [row for row in found if row["signal"] in _SIGNALS]


def clinicians_heading(found: list[Row]) -> str:
    """How many of those compared lie beyond the limits."""
    enough, marked = compared(found), beyond(found)
    if not enough:
        return "No clinician has enough attempts to compare"
    if not judged(found):
        return "The one clinician is the service, so there is nobody to compare with"
    if not marked and len(enough) == 1:
        return "The one clinician with enough attempts to compare lies within the limits of chance"
    if not marked:
        return f"All {len(enough)} clinicians compared lie within the limits of chance"
    number = wording.number_word(len(marked)).capitalize()
    return f"{number} of {len(enough)} clinicians compared {'lies' if len(marked) == 1 else 'lie'} beyond a limit"


def judged(found: list[Row]) -> int:
    """How many clinicians are compared with somebody else, or with a fixed target."""
    alone = len(found) == 1 and found[0]["target_kind"] in _OF_THE_SERVICE
    return 0 if alone else len(compared(found))


def chance_marks(results: AuditResults) -> str:
    """How many marks chance alone would give, at most."""
    enough = judged(rows(results, _TABLE, window=ROLLING))
    if not enough:
        return "Nobody is compared, so nobody is marked."
    tail = results.settings.thresholds.ask_tail
    most = 2 * tail * enough
    return (
        f"{wording.plural(enough, 'clinician is', 'clinicians are')} compared. Even if nothing were amiss, chance "
        f"alone would mark some: at most {most:.1f} on average ({wording.percent(tail)}% on each side)."
    )


def mark_sentence(row: Row) -> str:
    """One mark in a sentence: counts, service, and what the women explain."""
    more = "more" if row["direction"] == "more" else "fewer"
    still = "it still crosses the limit" if row["case_mix_signal"] in _SIGNALS else "it no longer does"
    limit = "99.8%" if row["signal"] == "review" else "95%"
    n, events = wording.plural(row["n"], "attempt"), wording.count(row["events"])
    lower, upper, _ = limits_of(row)
    return (
        f"{stratum(row['by'], row['stratum'])}: {events} of {n} failed ({wording.percent(row['proportion'])}%, "
        f"{wording.span(lower, upper)}), {more} than chance allows around {_target_of(row)} ({limit} limit). "
        f"{_allowed([row]).capitalize()} allowed for, {row['expected']:.1f} were to be expected: {still}."
    )


def _marked(found: list[Row]) -> list[Block]:
    """A sentence for each mark."""
    marked = beyond(found)
    return [Items(tuple(mark_sentence(row) for row in marked))] if marked else []


def _allowed(found: list[Row]) -> str:
    """What the expected failures allow for."""
    return allowed_for(found[0]["method"])


def allowed_for(method: str) -> str:
    """What expected failures allow for, by the method that gave them."""
    modelled = method.endswith("logistic model")
    return "births, age, earlier failures, emergency and cervical surgery" if modelled else "births"


def _model(results: AuditResults) -> list[Block]:
    """The model behind the expected failures, and how good it is."""
    found = rows(results, "failure_model")
    fit = one(results, "failure_model_fit", by="overall")
    if fit is None:
        return []
    if not found:
        return [Paragraph("Expected failures allow for births alone: too few failed for a model of more.")]
    columns = [
        Column("The woman", level, "label"),
        Column("Failed", lambda row: of_both(row["events"], row["n"])),
        Column(
            "Odds ratio (95% interval)", ratio_with_limits("odds_ratio", "ci_lower", "ci_upper"), "interval"
        ),
        p_column(),
    ]
    quality = (
        f"c-statistic {wording.ratio(fit['c_statistic'])} "
        f"({wording.ratio_span(fit['c_lower'], fit['c_upper'])}), calibration slope "
        f"{wording.ratio(fit['calibration_slope'])} here and about {wording.ratio(fit['expected_slope'])} "
        "in new data"
    )
    foot = f"{wording.plural(fit['n'], 'attempt')} of the whole log, {quality}. {ODDS_FOOT}"
    return [
        Folded(
            "The model behind the expected failures",
            html_table("Failed insertion, all women", columns, found, foot=foot, counted=(_TABLE,)),
        )
    ]


def _columns() -> list[Column]:
    """The columns of the table of clinicians."""
    return [
        *proportion_columns(
            Column("Clinician", lambda row: stratum(row["by"], row["stratum"]), "label"),
            events="Failed",
            of="Attempts",
        ),
        Column("Expected for these women", lambda row: f"{row['expected']:.1f}"),
        Column(
            "Seen / expected (95% interval)",
            lambda row: (
                f"{wording.ratio(row['ratio'])} ({wording.ratio_span(row['ratio_lower'], row['ratio_upper'])})"
            ),
            "interval",
        ),
        Column("Against the target", lambda row: word(row["signal"]), "short"),
        Column("Allowing for the women", lambda row: word(row["case_mix_signal"]), "short"),
        Column(
            "Drawn towards all, % (95% interval)",
            estimate_cell("shrunken_proportion", "shrunken_lower", "shrunken_upper"),
            "interval",
        ),
        Column("Would be noticed from, %", lambda row: wording.percent(row["detectable"])),
    ]


def _figure(results: AuditResults, found: list[Row], heading: str) -> Figure:
    """The funnel with its table."""
    marked = ", ".join(str(row["stratum"]) for row in beyond(found)) or "none"
    foot = (
        f"{PROPORTION_FOOT} In order of code. “Would be noticed from”: the smallest true proportion that would "
        "give a mark four times in five. At least "
        f"{results.settings.thresholds.clinician_attempts} attempts are needed to compare."
    )
    return Figure(
        "funnel",
        heading,
        (Plot("funnel-plot", _drawing(results, found), 440),),
        f"{heading}. Each clinician's failed attempts by number of attempts, within stepped exact limits. "
        f"Beyond a limit: {marked}.",
        html_table("Clinicians, twelve months", _columns(), found, foot=foot, counted=(_TABLE,)),
        f"{_lines(results)} Hollow: too few to compare.",
        counted=(_TABLE,),
    )


def _drawing(results: AuditResults, found: list[Row]) -> Drawing:
    """The funnel itself."""
    fewest = results.settings.thresholds.clinician_attempts
    named = {"service": "service"}.get(results.settings.funnel_target, "set")
    return funnel(found, rows(results, "clinician_limits"), fewest=fewest, target=named)


def _lines(results: AuditResults) -> str:
    """What the lines of the funnel are, or why there are none."""
    if results.settings.funnel_target == "service_excluding_own":
        return (
            "No lines are drawn, as each clinician is compared with different colleagues; the table says who "
            "crosses a limit."
        )
    return "The lines are exact binomial limits, 95% and 99.8%, so they step; on a line counts as beyond it."
