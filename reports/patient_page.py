"""The patient summary: one page in plain words for women, drawn from the results alone and never a small count."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from audit.records import AuditResults
from reports import patient_words as words
from reports import wording
from reports.choosing import Row, is_known, one
from reports.page import render_without_scripts
from reports.patient_pictures import Picture, could_be, faint_picture, fitted_picture
from reports.patient_year import year_picture, year_unknown
from reports.sections.parts import charting_note

_SIZE = 1000
# Published figures that were read in their source and checked a second time; their files say how.
WALL, WALL_MILK = "perforation_europe_2015_all", "perforation_europe_2014_to_36_weeks_breastfeeding"
HORMONE, COPPER = "pregnancy_europe_2015_12_months_lng_52", "pregnancy_europe_2015_12_months_copper"
OUTSIDE = (
    "ectopic_share_of_pregnancies_heinemann_2015_12_months_lng_52",
    "ectopic_share_of_pregnancies_heinemann_2015_12_months_copper_any",
)


@dataclass(frozen=True)
class Rare:
    """A rare problem: its name, and sentences each with the study it rests on."""

    heading: str
    said: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class PatientPage:
    """Everything that is particular to this audit."""

    first_words: tuple[str, ...]
    pictures: tuple[Picture, ...]
    not_known: tuple[str, ...]
    rare: tuple[Rare, ...]
    studies: tuple[str, ...]
    counting: tuple[str, ...]


def render_patient(results: AuditResults) -> str:
    """The patient summary as one self-contained HTML page.

    Parameters
    ----------
    results
        What `audit.run_audit` returned. What its tables lack is said in a sentence.

    Returns
    -------
    str
        A page that asks for nothing outside itself and runs nothing. It shows no count of the service's own from 1
        to 7, nor what would give one by subtraction. The same results always give the same text.
    """
    values = {"page": patient_page(results), "words": words}
    return render_without_scripts(
        "patient.html.j2", results, values, edition=words.EDITION, styles=("patient.css",)
    )


def patient_page(results: AuditResults) -> PatientPage:
    """What the page says."""
    pictures = (fitted_picture(results), faint_picture(results), year_picture(results))
    rare, studies = _rare(results)
    return PatientPage(
        tuple(said.format(data_to=wording.day(results.data_to)) for said in words.FIRST_WORDS),
        pictures,
        _not_known(results, pictures[-1]),
        rare,
        studies,
        _counting(results),
    )


def _not_known(results: AuditResults, year: Picture) -> tuple[str, ...]:
    """How many could not be followed, what that may do to the numbers, and that each woman is her own."""
    unknown = year_unknown(results, year)
    lost = (words.YEAR_UNKNOWN.format(number=unknown), words.TROUBLE_COMES_BACK) if unknown else ()
    return (*lost, words.YOU)


def _counting(results: AuditResults) -> tuple[str, ...]:
    """How it was counted, and what a blank was taken for."""
    told = tuple(said.format(days=results.settings.windows.episode_days) for said in words.COUNTING)
    return (*told, words.BLANK_IS_NO) if charting_note(results, "vasovagal_by_parity") else told


def _rare(results: AuditResults) -> tuple[tuple[Rare, ...], tuple[str, ...]]:
    """What large studies found, with the studies in the order in which they are named."""
    studies: list[str] = []

    def named(row: Row) -> str:
        """The number of a study, given when it is first named."""
        if row["citation"] not in studies:
            studies.append(row["citation"])
        return words.STUDY.format(number=1 + studies.index(row["citation"]))

    told = {
        "wall": _found(results, named, {WALL: words.WALL, WALL_MILK: words.WALL_MILK}),
        "pregnant": _found(results, named, {HORMONE: words.PREGNANT_HORMONE, COPPER: words.PREGNANT_COPPER}),
        "outside": _outside(results, named),
    }
    rare = tuple(Rare(words.RARE[name], said) for name, said in told.items() if said)
    return rare, tuple(f"{study}." for study in studies)


def _published(results: AuditResults, id: str) -> Row | None:
    """A published figure with its limits."""
    row = one(results, "benchmark_comparison", benchmark=id)
    return row if row is not None and is_known(row["published_upper"]) else None


def _found(
    results: AuditResults, named: Callable[[Row], str], sentences: Mapping[str, str]
) -> tuple[tuple[str, str], ...]:
    """Published figures out of a thousand, each in its sentence, with its study."""
    said = []
    for id, sentence in sentences.items():
        row = _published(results, id)
        if row is None:
            continue
        number, limits = (
            wording.whole_part(row["published"], _SIZE),
            (row["published_lower"], row["published_upper"]),
        )
        reach = f" ({could_be(limits, _SIZE)})"
        # Where the upper limit itself is no more than 1, "fewer than 1" says all there is to say.
        if wording.outwards(*limits, _SIZE)[1] <= 1:
            number, reach = 0, ""
        filled = {
            "about": words.about_in(number, _SIZE),
            "range": reach,
            "others": wording.count(_SIZE - number),
        }
        said.append((sentence.format(**filled), named(row)))
    return tuple(said)


def _outside(results: AuditResults, named: Callable[[Row], str]) -> tuple[tuple[str, str], ...]:
    """Pregnancies outside the womb among all women of the study that counted them."""
    women = [_published(results, id) for id in (HORMONE, COPPER)]
    outside = [_published(results, id) for id in OUTSIDE]
    if None in women or None in outside:
        return ()
    events = sum(row["published_events"] for row in outside if row)
    n = sum(row["published_n"] for row in women if row)
    about = words.about_in(wording.whole_part(events / n, _SIZE), _SIZE)
    sentence = words.OUTSIDE.format(about=about, events=wording.count(events), women=wording.count(n))
    return ((sentence, next(named(row) for row in outside if row)),)
