"""The known truth of the care given at an insertion visit: what is done, and how often it is written down.

Shares are of visits; a blank word is what nobody wrote down. Assumed throughout, shaped like an ordinary audit.
"""

from dataclasses import dataclass

Words = tuple[tuple[str, float], ...]

_UNWRITTEN = ""


@dataclass(frozen=True)
class Care:
    """What is checked, offered, done and said, column by column."""

    # Drawn at every visit begun.
    at_every_visit: tuple[tuple[str, Words], ...] = (
        (
            "pregnancy_excluded",
            (("yes_criteria", 0.62), ("yes_test", 0.33), ("no", 0.01), (_UNWRITTEN, 0.04)),
        ),
        ("infection_risk_assessed", (("yes", 0.90), ("no", 0.04), (_UNWRITTEN, 0.06))),
        (
            "sti_test",
            (
                *(("not_indicated", 0.45), ("offered_declined", 0.12), ("taken_before", 0.15)),
                *(("taken_same_visit", 0.20), ("indicated_not_offered", 0.04), (_UNWRITTEN, 0.04)),
            ),
        ),
        ("consent_recorded", (("verbal", 0.30), ("written", 0.64), ("no", 0.01), (_UNWRITTEN, 0.05))),
        ("risks_discussed", (("all", 0.86), ("partial", 0.07), ("no", 0.02), (_UNWRITTEN, 0.05))),
        ("bleeding_change_info", (("yes", 0.88), ("no", 0.05), (_UNWRITTEN, 0.07))),
        ("pain_options_discussed", (("yes", 0.72), ("no", 0.16), (_UNWRITTEN, 0.12))),
        ("analgesia_advised", (("yes", 0.70), ("no", 0.14), ("contraindicated", 0.03), (_UNWRITTEN, 0.13))),
        (
            "misoprostol_used",
            (("no", 0.93), ("yes_routine", 0.03), ("yes_after_failed_attempt", 0.02), (_UNWRITTEN, 0.02)),
        ),
        (
            "antibiotic_prophylaxis",
            (("no", 0.90), ("yes_indicated", 0.03), ("yes_routine", 0.04), (_UNWRITTEN, 0.03)),
        ),
        (
            "bimanual_done",
            (("bimanual", 0.80), ("ultrasound", 0.06), ("both", 0.08), ("none", 0.02), (_UNWRITTEN, 0.04)),
        ),
        (
            "ultrasound_guidance",
            (("no", 0.90), ("transabdominal", 0.05), ("transvaginal", 0.01), (_UNWRITTEN, 0.04)),
        ),
    )
    # Drawn where a device was placed.
    where_placed: tuple[tuple[str, Words], ...] = (
        ("info_device_given", (("yes", 0.90), ("no", 0.03), (_UNWRITTEN, 0.07))),
        ("thread_check_advice", (("yes", 0.83), ("no", 0.06), (_UNWRITTEN, 0.11))),
    )
    resistance_no_vaginal_birth: Words = (
        *(("none", 0.60), ("mild", 0.22), ("firm", 0.12), ("impassable", 0.01), (_UNWRITTEN, 0.05)),
    )
    resistance_vaginal_birth: Words = (
        *(("none", 0.81), ("mild", 0.10), ("firm", 0.035), ("impassable", 0.005), (_UNWRITTEN, 0.05)),
    )
    # Of those with firm or impassable resistance; where the os was not passed, it is always one of these.
    second_dilation: Words = (("yes", 0.60), ("no", 0.22), ("declined", 0.04), (_UNWRITTEN, 0.14))
    atropine_at_grade_4: float = 0.5
    plan_after_deferral: Words = (
        *(("rebook_same_fitter", 0.55), ("rebook_experienced_fitter", 0.05), ("other_method", 0.22)),
        *(("none", 0.04), (_UNWRITTEN, 0.14)),
    )
