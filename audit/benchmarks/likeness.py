"""How alike a published figure is to ours: seven rules, each a grade and a sentence, and the worst one decides.

A: the same, as far as the paper prints it. B: near; the difference is named beside the verdict. C: unlike in a way
that moves the figure itself; shown for orientation, never judged. What is unlike in outcome, form or group of women
has no figure of ours at all and no grade.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from audit.benchmarks.library import Published
from audit.benchmarks.own_kinds import OWN

ALIKE, NEAR, UNLIKE = "A", "B", "C"
NOT_SEEN = "not stated"
_DAYS_A_MONTH = 365.25 / 12

Own = dict[str, Any]


@dataclass(frozen=True)
class Judgement:
    """What one rule says: its grade, and what differs; no words where nothing does."""

    grade: str
    differs: str = ""


@dataclass(frozen=True)
class Rule:
    """One rule of likeness: what it looks at, and the function that judges it."""

    name: str
    judge: Callable[[Published, Own], Judgement]


_SAME = Judgement(ALIKE)


def _definition(published: Published, own: Own) -> Judgement:
    """The same thing counted, in the same unit."""
    if "definition_unlike" in published:
        return Judgement(UNLIKE, published["definition_unlike"])
    if "definition_differs" in published:
        return Judgement(NEAR, published["definition_differs"])
    if published.get("unit_of_analysis") == "not_stated":
        return Judgement(UNLIKE, "The paper does not say what it counts failures per; ours are per visit.")
    if published["definition"].startswith(NOT_SEEN):
        return Judgement(NEAR, "The paper's definition was not seen.")
    return _SAME


def _measure(published: Published, own: Own) -> Judgement:
    """The same form of figure; another form has no figure of ours."""
    if published.get("measure_assumed"):
        return Judgement(NEAR, "The paper does not say whether its figure is from a life table.")
    return _SAME


def _horizon(published: Published, own: Own) -> Judgement:
    """The same time since placement."""
    if "horizon_days" not in published:
        if published["measure"] == "proportion":
            return Judgement(NEAR, "Both count whenever found, over follow-up of unequal length.")
        return Judgement(
            UNLIKE,
            "The paper followed women for mixed lengths of time, and rates fall with time since placement.",
        )
    # Missing (nan) is unequal to itself: ours is then not read off a curve.
    days = own["own_days"]
    if days == days and days != published["horizon_days"]:
        return Judgement(NEAR, f"By {published['horizon_days']} days there, by {days:.0f} here.")
    if OWN[published["outcome"], published["measure"]].whenever:
        months = round(published["horizon_days"] / _DAYS_A_MONTH)
        return Judgement(NEAR, f"Within {months} months there; up to the freeze here.")
    return _SAME


def _device(published: Published, own: Own) -> Judgement:
    """The same class of device; a family stands for its classes only nearly."""
    if own["by"] == "device_family":
        return Judgement(NEAR, "The same family of devices, in which the mix of classes may differ.")
    return _SAME


def _population(published: Published, own: Own) -> Judgement:
    """The same group of women, with nothing else that sets them apart."""
    apart = published.get("unlike", [])
    return Judgement(NEAR, " ".join(apart)) if apart else _SAME


def _censoring(published: Published, own: Own) -> Judgement:
    """The same rule for women no longer heard of."""
    kind = OWN[published["outcome"], published["measure"]]
    if not kind.follow_up or "censoring_rule" in published:
        return _SAME
    if published["censoring"].startswith(NOT_SEEN):
        return Judgement(NEAR, "How the paper treated women lost to follow-up was not seen.")
    return Judgement(NEAR, f"In the paper, {published['censoring']}.")


def _era(published: Published, own: Own) -> Judgement:
    """Devices and practice of our time."""
    if published["status"] == "historical":
        return Judgement(UNLIKE, "Devices and practice of another time.")
    return _SAME


RULES = (
    Rule("definition", _definition),
    Rule("measure", _measure),
    Rule("horizon", _horizon),
    Rule("device", _device),
    Rule("population", _population),
    Rule("censoring", _censoring),
    Rule("era", _era),
)


def likeness(published: Published, own: Own) -> tuple[str, str, str]:
    """The grade of a comparison, what differs in sentences, and by which rules, listed."""
    judged = [(rule.name, rule.judge(published, own)) for rule in RULES]
    different = [(name, said) for name, said in judged if said.grade != ALIKE]
    # Letters rise with unlikeness.
    grade = max(said.grade for _, said in judged)
    return grade, " ".join(said.differs for _, said in different), ", ".join(name for name, _ in different)
