"""What each clinician did and saw, for a sheet of the own: counts, proportions, and the service as a range.

The sheet is for learning. Nobody is ranked, and nobody is to learn another's figure: what the service's figure
makes likely is given only to those who have several colleagues, of whom none stands out.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from audit.schema.derived import CONFIRMED_PERFORATIONS, VASOVAGAL_GRADES
from audit.settings import Thresholds
from audit.statistics.disclosure import hidden_among_others
from audit.statistics.funnel import ordinary_counts
from audit.statistics.summaries import shares_of, with_proportions
from audit.tallies import begun_visits, count_outcomes, count_states, known_to_hold, stacked, tally_outcomes

NOT_RECORDED = "not recorded"
FAILED = "failed"
_BY = "clinician_ref"
_OF_THE_SERVICE = ("service", "service_excluding_own")
# What a clinician's failures are compared with, and what the service's own cases make likely in their women.
_TEXTS = ("target_kind", "signal", "direction")
_NUMBERS = ("expected", "ratio", "ratio_lower", "ratio_upper")
_REACTIONS = ("vasovagal_any", "vasovagal_grade_2_plus", "syncope")


def clinicians_with_sheets(attempts: pd.DataFrame, *, most: int = 1000) -> list[str]:
    """The codes of the clinicians who have a sheet, in order.

    Population: whoever began, or put off, an insertion in the window of `attempts`. Where there are more codes than
    `most`, nobody has one: so many codes are not those of people.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`, of the twelve months that are asked for.
    most
        The largest number of sheets.

    Returns
    -------
    list of str
        None of them is blank. No attempt gives none.

    Examples
    --------
    >>> import pandas as pd
    >>> clinicians_with_sheets(pd.DataFrame({"clinician_ref": ["C2", "C1", None, "C2"]}))
    ['C1', 'C2']
    """
    named = attempts[_BY].dropna().astype(str)
    codes = sorted(named[named != NOT_RECORDED].unique())
    return codes if len(codes) <= most else []


def clinician_counts(attempts: pd.DataFrame) -> pd.DataFrame:
    """How many insertions each clinician began, and what became of them, item by item.

    Population: operator attempts, supervised ones too; deferrals are an item of their own. Reactions count on
    the first attempt of each woman and day. Unknown: an item of its own wherever something can be.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.

    Returns
    -------
    DataFrame
        ``by, stratum`` (the code, or ``not recorded``), ``item, n``: ``begun, placed, failed, outcome_unknown,
        deferred, stopped_on_request, taken_over`` (another went on with it), ``went_on`` (with another's),
        ``supervised, grade_0`` to ``grade_4, grade_unknown, perforation_confirmed, perforation_suspected,
        perforation_unknown, emergency_treatment``. An item without a row is 0. No attempt gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> from audit.schema.derived import ATTEMPTS
    >>> rows = pd.DataFrame({name: [None, None] for name in ATTEMPTS.names}).assign(
    ...     clinician_ref="C1", outcome=["placed", "failed"], visit_outcome=["placed", "failed"])
    >>> table = clinician_counts(rows)
    >>> table[table["item"].isin(["begun", "failed"])][["item", "n"]].values.tolist()
    [['begun', 2], ['failed', 1]]
    """
    held = {name: np.where(mask, 0, -1) for name, mask in _items(attempts).items()}
    return count_states(attempts, states=held, codes=("n",), by=_BY)


def clinician_figures(
    attempts: pd.DataFrame, *, severe: float = 7, recorded_floor: float = 0.8
) -> pd.DataFrame:
    """What each clinician's attempts came to, as proportions.

    Population: own operator attempts with a known outcome; for reactions and pain the insertion visits at which
    the first attempt was their own. Unknown: counted in ``n_unknown``, never as a no.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    severe
        Pain scores from here on count as events.
    recorded_floor
        Where a smaller share is recorded, only the bounds are to be used, and the caution says so.

    Returns
    -------
    DataFrame
        ``by, stratum`` (the code, or ``not recorded``), ``figure`` (``failed`` of the attempts made alone,
        ``failed_supervised``, ``first_pass``, ``vasovagal_any, vasovagal_grade_2_plus, syncope, severe_pain``),
        ``events, n, n_unknown, proportion`` and limits (0-1), ``method, caution``. No attempt gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> from audit.schema.derived import ATTEMPTS
    >>> rows = pd.DataFrame({name: [None, None] for name in ATTEMPTS.names}).assign(
    ...     clinician_ref="C1", practice="independent", outcome=["placed", "failed"])
    >>> clinician_figures(rows)[["figure", "events", "n"]].values.tolist()[0]
    ['failed', 1, 2]
    """
    alone, visits = (
        attempts["practice"] == "independent",
        begun_visits(attempts, _BY, "pain_score", *_REACTIONS),
    )
    begun = attempts["outcome"].isin(["placed", "failed", "unknown"])
    score = visits["pain_score"].astype("float64")
    counted: dict[str, tuple[pd.Series, pd.Series]] = {
        FAILED: _told(attempts[begun & alone]),
        "failed_supervised": _told(attempts[begun & ~alone]),
        "first_pass": _first_pass(attempts[begun]),
        **{name: (visits[_BY], visits[name].astype("boolean")) for name in _REACTIONS},
        "severe_pain": (visits[_BY], (score >= severe).astype("boolean").where(score.notna())),
    }
    table = stacked([_counted(name, *own) for name, own in counted.items()])
    return with_proportions(table, recorded_floor=recorded_floor)


def beside_the_service(
    figures: pd.DataFrame,
    compared: pd.DataFrame,
    *,
    thresholds: Thresholds | None = None,
    others: int = 3,
    largest_share: float = 0.5,
) -> pd.DataFrame:
    """Each clinician's figures with the counts that the service's figure makes ordinary, where it may be told.

    It may be told where at least so many other clinicians have enough known outcomes each to be compared, and none
    of them holds more than half of what these others hold together; a fixed target that the service has set gives
    nobody away. Where it may not, nothing that rests on another's cases is in the row, so that no page can show it.

    Parameters
    ----------
    figures
        Rows of `clinician_figures`, or of figures of that form, of one window and of every clinician.
    compared
        Rows of ``failed_insertions_by_clinician`` of that window, whose target and signal hold for ``failed``.
    thresholds
        Smallest number to compare, and the one-sided tail beyond which a count is out of the ordinary.
    others, largest_share
        The rule: how many others, and the largest share (0-1) of one among them.

    Returns
    -------
    DataFrame
        `figures` with ``service_told`` (bool), ``service`` (0-1, own cases included, or the target set), ``least,
        most`` (counts of events that are ordinary at it; nan with too few to compare), and for ``failed``
        ``target_kind, signal, direction, expected, ratio, ratio_lower, ratio_upper, case_mix_signal`` as in
        `compared`, and ``expected_by``, its method; nan or blank where it may not be told. No rows in, no rows out.
    """
    limits = thresholds or Thresholds()
    own = figures.assign(
        service_told=False,
        **dict.fromkeys(("service", "least", "most"), np.nan),
        **dict.fromkeys(_TEXTS, ""),
        **dict.fromkeys(_NUMBERS, np.nan),
        case_mix_signal="",
        expected_by="",
    )
    parts = [
        _compared(part, compared if figure == FAILED else compared.head(0), limits, others, largest_share)
        for figure, part in own.groupby("figure", sort=False)
    ]
    return stacked(parts) if parts else own


def _items(attempts: pd.DataFrame) -> Mapping[str, np.ndarray]:
    """Which attempts belong to each item."""
    outcome, perforation = attempts["outcome"], attempts["perforation"]
    begun = outcome.isin(["placed", "failed", "unknown"])
    known = outcome.isin(["placed", "failed"])
    visit = attempts["visit_outcome"].notna() & begun
    grade = attempts["vasovagal_grade"].astype("float64")
    grades = {f"grade_{number}": visit & (grade == number) for number in VASOVAGAL_GRADES}
    items = {
        "begun": begun,
        "placed": outcome == "placed",
        "failed": outcome == "failed",
        "outcome_unknown": outcome == "unknown",
        "deferred": outcome == "deferred",
        "stopped_on_request": begun & known_to_hold(attempts["stopped_on_request"]),
        "taken_over": begun & known_to_hold(attempts["taken_over"]),
        "went_on": begun & attempts["visit_outcome"].isna(),
        "supervised": begun & (attempts["practice"] == "supervised"),
        **grades,
        "grade_unknown": visit & grade.isna(),
        "perforation_confirmed": known & perforation.isin(CONFIRMED_PERFORATIONS),
        "perforation_suspected": known & (perforation == "suspected"),
        "perforation_unknown": known & (perforation.isna() | (perforation == "unknown")),
        "emergency_treatment": visit & known_to_hold(attempts["emergency_treatment"]),
    }
    return {name: mask.to_numpy(dtype=bool) for name, mask in items.items()}


def _told(attempts: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Of each attempt whose it is, and whether it failed."""
    outcome = attempts["outcome"]
    return attempts[_BY], (outcome == "failed").astype("boolean").where(outcome != "unknown")


def _first_pass(attempts: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Of each attempt whose it is, and whether the first pass placed the device; a failure is a no."""
    placed, passes = attempts["outcome"] == "placed", attempts["attempts_same_visit"]
    told = (attempts["outcome"] == "failed") | (placed & passes.notna())
    return attempts[_BY], (placed & (passes == 1)).astype("boolean").where(told)


def _counted(figure: str, clinician: pd.Series, event: pd.Series) -> pd.DataFrame:
    """Events, denominators and unknowns of each clinician."""
    tally = tally_outcomes(pd.DataFrame({_BY: clinician, "event": event}), outcome="event", by=_BY)
    table = count_outcomes(tally, events=("yes",), others=("no",), by=_BY)
    table.insert(2, "figure", figure)
    return table


def _compared(
    figure: pd.DataFrame, compared: pd.DataFrame, limits: Thresholds, others: int, largest_share: float
) -> pd.DataFrame:
    """One figure of every clinician beside the service's."""
    there = compared.set_index("stratum").reindex(figure["stratum"])
    told, fixed = _may_be_told(figure, limits, others, largest_share), np.zeros(len(figure), dtype=bool)
    share = shares_of(figure["events"].sum(), figure["n"].sum())
    service = np.full(len(figure), share)
    if len(compared):
        service = there["target"].to_numpy("float64")
        fixed = (there["target_kind"].notna() & ~there["target_kind"].isin(_OF_THE_SERVICE)).to_numpy()
    shown = (told | fixed) & ~np.isnan(service)
    enough = shown & (figure["n"] >= limits.clinician_attempts).to_numpy()
    ordinary = ordinary_counts(figure["n"], np.where(shown, service, 0), tail_probability=limits.ask_tail)
    beside = figure.assign(
        service_told=shown,
        service=np.where(shown, service, np.nan),
        least=np.where(enough, ordinary["least"], np.nan),
        most=np.where(enough, ordinary["most"], np.nan),
    )
    if compared.empty:
        return beside
    texts = {name: _said(there[name], shown) for name in _TEXTS}
    return beside.assign(**texts, **_expected(there, told & enough))


def _expected(there: pd.DataFrame, shown: np.ndarray) -> dict[str, np.ndarray]:
    """What the service's own cases make likely, where they may be told: a fixed target does not cover them."""
    numbers = {name: there[name].where(shown).to_numpy("float64") for name in _NUMBERS}
    texts = {"case_mix_signal": there["case_mix_signal"], "expected_by": there["method"]}
    return {**numbers, **{name: _said(text, shown) for name, text in texts.items()}}


def _said(text: pd.Series, shown: np.ndarray) -> np.ndarray:
    """A text where it may be told, else blank."""
    return text.astype(object).where(shown, "").fillna("").to_numpy(dtype=object)


def _may_be_told(figure: pd.DataFrame, limits: Thresholds, others: int, largest_share: float) -> np.ndarray:
    """Whether each clinician may be told the service's figure; what nobody's code stands at hides nobody."""
    named = (figure["stratum"] != NOT_RECORDED).to_numpy()
    told = np.zeros(len(figure), dtype=bool)
    told[named] = hidden_among_others(
        figure.loc[named, "n"],
        smallest=limits.clinician_attempts,
        others=others,
        largest_share=largest_share,
    )
    return told
