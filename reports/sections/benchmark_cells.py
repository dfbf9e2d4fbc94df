"""The cells of the comparison with published figures: a drawing, the verdict, what the numbers can show."""

from collections.abc import Callable, Sequence

from markupsafe import Markup

from reports import wording
from reports.choosing import Row, is_known
from reports.figures.marks import Mark, interval_mark
from reports.figures.theme import nice_top
from reports.sections import benchmark_words as words
from reports.tables import Column, plain
from reports.words_for_codes import within, word

_NAN = float("nan")
_NEUTRAL = ("continuation", "removal")
# A figure below this is printed as less than the smallest decimal, and says nothing as a figure to detect.
_SMALLEST = 1e-4
_TOP_SCORE = 10.0
# What a proportion is of, where not of women.
_COUNTED = {
    **dict.fromkeys(("failed_insertion", "vasovagal", "perforation"), "attempts"),
    "ectopic_share_of_pregnancies": "pregnancies",
}


def columns(found: Sequence[Row], floor: int, *, judged: bool) -> list[Column]:
    """The columns of one outcome's comparisons; those for orientation only go without what numbers could show."""
    top = top_of(found, floor)
    shared = [
        Column("Published for, and how alike", _paper, "label"),
        Column("Drawn", _drawing(top, floor), "drawing"),
        Column("Published", _published, "text"),
        Column("Ours", _ours, "text"),
    ]
    if not judged:
        return [*shared, Column("Why there is no verdict", plain("reason"), "text")]
    return [
        *shared,
        Column("Verdict", _verdict, "text"),
        Column("What our numbers could show", _power, "text"),
    ]


def overview_columns(floor: int) -> list[Column]:
    """The columns of comparisons of several outcomes, each drawn on a scale of its own."""
    return [
        Column("What, published for whom, and how alike", _outcome_and_paper, "label"),
        Column("Drawn", lambda row: _drawing(top_of([row], floor), floor)(row), "drawing"),
        Column("Published", _published, "text"),
        Column("Ours", _ours, "text"),
        Column("Verdict", lambda row: _lines(_verdict_alone(row), _why(row)), "text"),
        Column("What we could have detected", _detected, "text"),
    ]


def top_of(found: Sequence[Row], floor: int) -> float:
    """The end of the scale on which comparisons are drawn."""
    if found[0]["measure"] == words.SCORE:
        return _TOP_SCORE
    return nice_top(max(_reach(row, floor) for row in found))


def scale_sentence(found: Sequence[Row], floor: int) -> str:
    """The scale on which comparisons are drawn, in words."""
    per, _ = words.unit(found[0])
    if found[0]["measure"] == words.SCORE:
        return f"Drawn on a scale from 0 to {_TOP_SCORE:.0f}."
    years = " woman-years" if words.is_rate(found[0]) else ""
    return f"Drawn on a scale from 0 to {per * top_of(found, floor):.3g} in {wording.count(per)}{years}."


def is_drawn(row: Row, floor: int) -> bool:
    """Whether ours rests on enough to be drawn."""
    return not _not_drawn(row, floor)


def can_be_judged(row: Row) -> bool:
    """Whether a comparison has limits on both sides, is alike enough and not kept open."""
    return row["verdict"] != "cannot_tell" or is_known(row["probability_above"])


def _lines(*texts: str) -> Markup:
    """Texts below each other, empty ones left out."""
    return Markup("<br>").join(text for text in texts if text)


def _paper(row: Row) -> str:
    """The group, the paper's women, the paper, and the grade with what differs."""
    differs = str(row["differs"]) if is_known(row["differs"]) else ""
    grade = f"Likeness {words.grade_words(row)}. "
    return _lines(
        f"{words.short_citation(row)}: {row['population']}", Markup("<b>{}</b>{}").format(grade, differs)
    )


def _outcome_and_paper(row: Row) -> str:
    """The outcome and the group, then the paper as beside every comparison."""
    group = words.group_of(row)
    of = "" if group == "All" else f", {within(group)}"
    return _lines(Markup("<b>{}{}</b>").format(words.outcome_words(str(row["outcome"])), of), _paper(row))


def _reach(row: Row, floor: int) -> float:
    """How far a comparison reaches on the scale."""
    ours = () if _not_drawn(row, floor) else (row["own"], row["own_upper"])
    return float(max(v for v in (row["published"], row["published_upper"], *ours) if is_known(v)))


def _not_drawn(row: Row, floor: int) -> bool:
    """Whether ours rests on too few to be drawn."""
    few = row["measure"] in words.CURVES and row["own_n"] < floor
    return bool(words.too_few(row) or few or not is_known(row["own_upper"]))


def _drawing(top: float, floor: int) -> Callable[[Row], str]:
    """Ours as a dot and line before the paper's interval in grey."""

    def drawn(row: Row) -> str:
        limits = is_known(row["published_lower"])
        band = (
            (row["published_lower"], row["published_upper"])
            if limits
            else (row["published"], row["published"])
        )
        value, lower, upper = (
            (_NAN, _NAN, _NAN) if _not_drawn(row, floor) else (row["own"], row["own_lower"], row["own_upper"])
        )
        mark = Mark(value, lower, upper, band, _stands_out(row))
        # The figures stand in the cells beside it.
        return interval_mark(mark, (0.0, top), "Both figures, drawn")

    return drawn


def _stands_out(row: Row) -> bool:
    """Whether a difference is coloured: of what is neither good nor bad, none is."""
    return row["verdict"] in words.APART and not str(row["outcome"]).startswith(_NEUTRAL)


def _published(row: Row) -> str:
    """The published figure, its counts, when it refers to and where its limits come from."""
    by = f"by {words.horizon(row)}" if row["measure"] in words.CURVES else ""
    limits = str(row["published_limits"])
    known = "" if limits in ("printed", "not available") else f"limits {limits.removeprefix('computed ')}"
    return _lines(f"Published {words.published(row)}", words.published_counts(row), by, known)


def _ours(row: Row) -> str:
    """Our figure, its group and counts."""
    figure = "" if words.too_few(row) else f" {words.own(row)}"
    return _lines(f"Ours{figure}", words.counts(row), words.group_of(row))


_WHY = {
    "The interval of the difference lies above 0.": "",
    "The interval of the difference lies below 0.": "",
    "The interval of the difference lies within the margin set.": "Within the margin set.",
    "The interval of the difference holds 0 but is wider than the margin set.": "Wider than the margin set.",
    "The interval of the difference holds 0, and no margin is set for this outcome.": "No margin is set.",
}


def _verdict(row: Row) -> str:
    """The verdict, the difference, why, and what an open one leaves possible."""
    return _lines(_verdict_alone(row), _why(row), _among(row), _small(row))


def _verdict_alone(row: Row) -> str:
    """The verdict and the difference."""
    return Markup("<b>{}.</b> {}").format(word(row["verdict"]), words.difference(row))


def _why(row: Row) -> str:
    """The reason of a verdict in short; nothing where the difference says it all."""
    reason = str(row["reason"])
    return next(
        (short + reason[len(long) :] for long, short in _WHY.items() if reason.startswith(long)), reason
    ).strip()


def _among(row: Row) -> str:
    """Where ours lies among all papers for the same women, when it lies apart from this one."""
    if row["verdict"] not in words.APART or not is_known(row["papers"]) or row["papers"] < 2:
        return ""
    lowest, highest = (words.amount(row, row[f"papers_{side}"]) for side in ("lowest", "highest"))
    where = "within" if row["papers_lowest"] <= row["own"] <= row["papers_highest"] else "outside"
    papers = wording.plural(row["papers"], "published figure")
    return f"Ours lies {where} the {papers} for these women, {lowest} to {highest}{words.unit(row)[1]}."


def _small(row: Row) -> str:
    """What an open verdict leaves possible."""
    # Where more of ours would not settle it, it is the paper that is uncertain.
    if row["can_be_settled"] != "yes" or words.too_few(row) or row["measure"] in words.CURVES:
        return ""
    upper, behind = words.amount(row, row["own_upper"]), words.unit(row)[1]
    if not row["own_events"]:
        n = words.counts(row).removeprefix("0 of ").removeprefix("0 in ")
        return (
            f"None seen in {n}: a true figure of up to {upper}{behind} would still be compatible with this."
        )
    return (
        f"From {words.counts(row)}, the true figure could lie between {words.amount(row, row['own_lower'])} and "
        f"{upper}{behind}: too wide to tell good from ordinary practice."
    )


def _power(row: Row) -> str:
    """The chances beyond the margin, what could have been detected, and how many more would settle it."""
    return _lines(_chances(row), _detectable(row), _more(row))


def _chances(row: Row) -> str:
    """How likely the true difference lies beyond the margin, either way."""
    if not is_known(row["probability_above"]):
        return ""
    margin = row["margin"]
    per, _ = words.unit(row)
    by = f" by more than the margin of {per * margin:.3g}{words.points(row)}" if is_known(margin) else ""
    above, below = (_chance(row[f"probability_{side}"]) for side in ("above", "below"))
    return f"Chance that ours is higher{by}: {above}; lower: {below}."


def _chance(value: float) -> str:
    """A probability as a whole percentage, never 0 or 100."""
    if value < 0.01:
        return "under 1%"
    return "over 99%" if value > 0.99 else f"{100 * value:.0f}%"


def _detectable(row: Row) -> str:
    """The nearest true figures that had four chances in five of being shown to differ, as a sentence."""
    shown = _shown(row)
    return f"Would be shown, four times in five: a true figure of {shown}." if shown else ""


def _detected(row: Row) -> str:
    """The same in short, for a table whose headings a narrow page leaves out."""
    shown = _shown(row)
    return f"Detectable: {shown}" if shown else "Detectable: not known"


def _shown(row: Row) -> str:
    """The nearest true figures that had four chances in five of being shown to differ."""
    parts = [
        f"{words.amount(row, row[f'detectable_{side}'])}{words.unit(row)[1]} or {way}"
        for side, way in (("lower", "less"), ("higher", "more"))
        if is_known(row[f"detectable_{side}"]) and row[f"detectable_{side}"] >= _SMALLEST
    ]
    return ", or ".join(parts)


def _more(row: Row) -> str:
    """How many more would settle it, or that none would."""
    if row["can_be_settled"] == "no":
        return "More of ours would not settle it: the published figure is itself too uncertain."
    if not is_known(row["more_needed"]):
        return ""
    counted = "women" if row["measure"] in words.CURVES else _COUNTED.get(str(row["outcome"]), "women")
    unit = "woman-years" if words.is_rate(row) else counted
    return (
        f"About {wording.count(_rounded(row['more_needed']))} more {unit} would settle it, at these figures."
    )


def _rounded(value: float) -> float:
    """A number of women to two figures, rounded up: more would pretend to know."""
    size = 10 ** max(len(str(int(value))) - 2, 0)
    return float(-(-value // size) * size)
