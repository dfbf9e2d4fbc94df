"""What a service may decide about cumulative sums: what is acceptable, what is not, and how rare a false signal."""

from dataclasses import dataclass

NOT_SET = 0.0


@dataclass(frozen=True)
class CusumRules:
    """How failures in order of attempt are tested.

    `acceptable` and `unacceptable` are proportions of failed insertions, set by the service together; 0 is not set,
    and the service's own proportion and `odds_ratio` times its odds then stand in for them. A limit is the
    smallest at which a false signal within `within_attempts` attempts has at most the chance `false_signal`,
    unless the service sets `learning_limit` or `monitoring_limit`; 0 is not set. All but the odds ratio are a local
    choice (common practice, no source); twice the odds is what Steiner SH et al, Biostatistics 2000;1:441-452,
    look for.
    """

    acceptable: float = NOT_SET
    unacceptable: float = NOT_SET
    odds_ratio: float = 2.0
    false_signal: float = 0.05
    within_attempts: int = 100
    learning_limit: float = NOT_SET
    monitoring_limit: float = NOT_SET


def fault_in_cusum(rules: CusumRules) -> str:
    """What is wrong with the rules, as the end of a message that begins with their place; empty where nothing is.

    Examples
    --------
    >>> fault_in_cusum(CusumRules(acceptable=0.1, unacceptable=0.05))
    'unacceptable: must be a proportion above acceptable (0.1) and below 1, got 0.05.'
    >>> fault_in_cusum(CusumRules())
    ''
    """
    low, high = rules.acceptable, rules.unacceptable
    if bool(low) != bool(high):
        name = "unacceptable" if low else "acceptable"
        return f"{name}: is not set. Set both acceptable and unacceptable, or leave both out."
    rule = {
        f"acceptable: must be a proportion below 1, got {low!r}.": low < 1,
        f"unacceptable: must be a proportion above acceptable ({low!r}) and below 1, got {high!r}.": (
            not low or low < high < 1
        ),
        f"odds_ratio: must be above 1, got {rules.odds_ratio!r}.": rules.odds_ratio > 1,
        f"false_signal: must be a proportion between 0 and 1, got {rules.false_signal!r}.": (
            0 < rules.false_signal < 1
        ),
        f"within_attempts: must be 1 or more, got {rules.within_attempts!r}.": rules.within_attempts >= 1,
    }
    return next((fault for fault, holds in rule.items() if not holds), "")
