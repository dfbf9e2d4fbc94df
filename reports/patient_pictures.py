"""The pictures of the patient summary: what may be shown of each count, and in which words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from audit.records import AuditResults
from reports import patient_words as words
from reports import wording
from reports.choosing import Row, limits_of, one, only_bounds
from reports.figures.icons import icon_array, key_shape
from reports.small_counts import FEWEST, Group, first_safe, may_show

Limits = tuple[float, float]
UNKNOWN: Group = ("unknown",)
ENDED: Group = ("came_out", "stopped")
KNOWN_YEAR: Group = ("using", *ENDED)
_OTHERS: Group = ("later", "not_fitted")
# Ways of putting the parts together, the most telling first. Without the unknown they are left out of the whole.
_WAYS: Mapping[str, tuple[tuple[Group, ...], ...]] = {
    "fitted": (
        (("first_visit",), ("later",), ("not_fitted",), UNKNOWN),
        (("first_visit",), ("later",), ("not_fitted",)),
        (("first_visit",), _OTHERS, UNKNOWN),
        (("first_visit",), _OTHERS),
    ),
    "faint": ((("yes",), ("no",), UNKNOWN), (("yes",), ("no",))),
    "year": (
        (("using",), ("came_out",), ("stopped",), UNKNOWN),
        (("using",), ("came_out",), ("stopped",)),
        (("using",), ENDED, UNKNOWN),
        (("using",), ENDED),
        (KNOWN_YEAR, UNKNOWN),
    ),
}
# The part that is most of the whole where the rest are too few to show.
_MOST = {"fitted": "first_visit", "faint": "no", "year": "using"}
_SHAPES: Mapping[Group, str] = {
    **dict.fromkeys((("first_visit",), ("using",), KNOWN_YEAR), "full"),
    **dict.fromkeys((("not_fitted",), _OTHERS, ("no",), ("stopped",), ENDED), "open"),
    **dict.fromkeys((("yes",), ("came_out",)), "diamond"),
    ("later",): "half",
    UNKNOWN: "unknown",
}


@dataclass(frozen=True)
class Part:
    """One part of a hundred: its shape, how many, what they had in common, and how far out that could be."""

    group: Group
    of_hundred: int
    number: str
    key: Markup
    words: str
    range: str


@dataclass(frozen=True)
class Picture:
    """One question: the hundred it is about, the drawing with its parts, what is said below, and how many were
    counted. Where nothing may be drawn there are only sentences."""

    id: str
    heading: str
    lead: str = ""
    parts: tuple[Part, ...] = ()
    drawing: Markup | None = None
    said: tuple[str, ...] = ()
    counted: str = ""


def fitted_picture(results: AuditResults) -> Picture:
    """Whether women had a device at the first visit, later, or not."""
    found = {
        name: one(results, "fitted_in_the_end", by="overall", window="rolling_12_months", definition=name)
        for name in ("first_visit", "later", "not_fitted")
    }
    kept = {name: row for name, row in found.items() if row is not None}
    if len(kept) < len(found):
        return no_picture("fitted", words.NOT_HELD)
    first = kept["first_visit"]
    if only_bounds(first):
        return no_picture("fitted", words.NOT_WRITTEN_DOWN)
    counts = {**{name: int(row["events"]) for name, row in kept.items()}, "unknown": int(first["n_unknown"])}
    limits: dict[Group, Limits] = {(name,): limits_to_print(row) for name, row in kept.items()}
    limits[_OTHERS] = of_the_rest(limits[("first_visit",)])
    picture = drawn(results, "fitted", counts, limits)
    shown = {part.group: part.of_hundred for part in picture.parts}
    said = []
    if UNKNOWN in shown:
        said.append(if_like_the_rest("fitted", first["proportion"], limits[("first_visit",)]))
    elif shown.get(("later",)):
        later, others = shown[("later",)], shown[("later",)] + shown[("not_fitted",)]
        said.append(words.NOT_AT_FIRST.format(number=others, range=could_be(limits[_OTHERS])))
        if others > 1:
            said.append(words.LATER_OF_THESE.format(number=others, later=later))
    return replace(picture, said=paragraphs(said, picture.said))


def faint_picture(results: AuditResults) -> Picture:
    """Whether women felt faint at a visit, and whether they passed out."""
    fixed = {"by": "overall", "window": "rolling_12_months"}
    row = one(results, "vasovagal_by_parity", definition="vasovagal_any", **fixed)
    if row is None:
        return no_picture("faint", words.NOT_HELD)
    if only_bounds(row):
        return no_picture("faint", words.NOT_WRITTEN_DOWN)
    yes, limits = int(row["events"]), limits_to_print(row)
    counts = {"yes": yes, "no": int(row["n"]) - yes, "unknown": int(row["n_unknown"])}
    picture = drawn(results, "faint", counts, {("yes",): limits, ("no",): of_the_rest(limits)})
    said = []
    if any(part.group == UNKNOWN for part in picture.parts):
        said.append(if_like_the_rest("faint", row["proportion"], limits))
    if picture.parts:
        said += _passed_out(one(results, "vasovagal_by_parity", definition="syncope", **fixed), yes)
    return replace(picture, said=paragraphs(said, picture.said))


def _passed_out(row: Row | None, felt_faint: int) -> list[str]:
    """How many passed out, where neither they nor those who only felt faint are too few."""
    if row is None or row["n"] < FEWEST or only_bounds(row):
        return []
    events = int(row["events"])
    if not all(may_show(number) for number in (events, int(row["n"]) - events, felt_faint - events)):
        return []
    reach = could_be(limits_to_print(row))
    if not events:
        return [words.NONE_PASSED_OUT.format(range=reach)]
    about = words.about_in(wording.whole_part(row["proportion"], 100), 100)
    return [words.PASSED_OUT.format(about=about.capitalize(), range=reach)]


def no_picture(id: str, *said: str) -> Picture:
    """A question with sentences in place of a picture."""
    return Picture(id, words.HEADINGS[id], said=paragraphs(said))


def drawn(
    results: AuditResults,
    id: str,
    counts: Mapping[str, int],
    limits: Mapping[Group, Limits],
    *,
    together: Sequence[Group] = (),
) -> Picture:
    """A question with the picture that its counts allow.

    Parameters
    ----------
    results
        What dates it.
    id
        The question.
    counts
        How many each part holds, the unknown among them.
    limits
        Limits of each part, or of parts together, among those that are known; given where no unknown are drawn.
    together
        Parts that the records do not tell apart, so that only ways holding one of these will do.

    Returns
    -------
    Picture
        With sentences alone where too few were counted, or where nothing may be shown.
    """
    known = sum(counts.values()) - counts["unknown"]
    if known < FEWEST:
        return no_picture(id, words.TOO_FEW_COUNTED[id])
    ways = [way for way in _WAYS[id] if not together or set(together) & set(way)]
    # With no one unknown, "we know about 100 of 100" would say nothing.
    ways = [way for way in ways if counts["unknown"] or KNOWN_YEAR not in way]
    shown = first_safe(counts, ways)
    groups = {group for group, _ in shown}
    if not shown:
        return no_picture(id, _unsplit(id, counts, known))
    said = [_unsplit(id, counts, known)] if KNOWN_YEAR in groups else []
    if not together and groups & {_OTHERS, ENDED}:
        said.append(words.NOT_SPLIT)
    counted = [words.COUNTED[id].format(number=wording.about(sum(number for _, number in shown)))]
    if UNKNOWN not in groups or not counts["unknown"]:
        counted.append(words.FEW_UNKNOWN if counts["unknown"] else words.ALL_KNOWN)
    parts = _parts(results, id, shown, {} if UNKNOWN in groups and counts["unknown"] else limits)
    return Picture(
        id,
        words.HEADINGS[id],
        _lead(results, id),
        parts,
        icon_array([(_SHAPES[part.group], part.of_hundred) for part in parts], _described(parts)),
        paragraphs(said),
        " ".join(counted),
    )


def _unsplit(id: str, counts: Mapping[str, int], known: int) -> str:
    """What may be said where the parts may not be told apart."""
    return words.MOST[id] if 2 * counts[_MOST[id]] > known else words.SOME_TOO_FEW


def _parts(
    results: AuditResults,
    id: str,
    shown: Sequence[tuple[Group, int]],
    limits: Mapping[Group, Limits],
) -> tuple[Part, ...]:
    """The parts of a hundred; an unknown part that is empty is left to a sentence."""
    told = [(group, number) for group, number in shown if number or group != UNKNOWN]
    of_hundred = wording.shared_out([number for _, number in told])
    return tuple(
        Part(
            group,
            share,
            words.FEWER_THAN_ONE if number and not share else str(share),
            key_shape(_SHAPES[group]),
            words.PARTS[id][group].format(days=results.settings.windows.episode_days),
            could_be(limits[group]) if group in limits else "",
        )
        for (group, number), share in zip(told, of_hundred, strict=True)
    )


def _described(parts: Sequence[Part]) -> str:
    """The picture in a sentence for each part, for those who cannot see it."""
    told = (
        words.PICTURE_PART.format(
            number=part.number, shapes=words.SHAPE_NAMES[_SHAPES[part.group]], words=part.words
        )
        for part in parts
    )
    return words.PICTURE.format(parts=" ".join(told))


def _lead(results: AuditResults, id: str) -> str:
    """Who the hundred are."""
    return words.LEADS[id].format(last_day=wording.day(results.period.last_day))


def paragraphs(*groups: Sequence[str]) -> tuple[str, ...]:
    """Sentences that belong together as a paragraph each; none for a group without sentences."""
    return tuple(" ".join(group) for group in groups if group)


def limits_to_print(row: Row) -> Limits:
    """The limits of a proportion."""
    lower, upper, _ = limits_of(row)
    return lower, upper


def of_the_rest(limits: Limits) -> Limits:
    """The limits of what is left of a whole."""
    return 1 - limits[1], 1 - limits[0]


def could_be(limits: Limits, size: int = 100) -> str:
    """Limits in words, rounded outwards."""
    return words.could_be(*wording.outwards(*limits, size))


def if_like_the_rest(id: str, value: float, limits: Limits) -> str:
    """An estimate that takes the unknown to be like the rest."""
    about = words.about_in(wording.whole_part(value, 100), 100)
    return words.IF_LIKE_THE_REST[id].format(about=about, range=could_be(limits))
