"""The known truth of what follows a placement: hazards of every ending, and how the service hears of them.

Hazards are per woman-year and multiply one another. Each figure says where it comes from: a paper, or
"assumed".
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class RemovalRate:
    """Removals for one reason per woman-year; in the first 182 days times `early`. Assumed, see `Hazards`."""

    reason: str
    copper: float
    hormonal: float
    early: float = 1.0
    replaced_at_once: float = 0.0


@dataclass(frozen=True)
class Hazards:
    """What ends a placement. Bands are days since placement: 0-42, 43-182, 183-365, later."""

    bands: tuple[float, ...] = (0.0, 42.0, 182.0, 365.0)
    # Assumed so that women without a multiplier reach 4.3% at 12 months; front-loaded as in Madden 2014
    # (PMID 25198262; 10.2% at 36 months over all women).
    expulsion: tuple[float, ...] = (0.150, 0.045, 0.020, 0.012)
    # Fassett 2023 (Obstet Gynecol 142:641-51): 5.34 within three days of a birth.
    expulsion_early_postpartum: float = 5.0
    expulsion_under_20: float = 2.26  # Madden 2014, hormonal devices, age 14-19
    expulsion_heavy_bleeding: float = 2.84  # Fassett 2023
    expulsion_no_birth: float = 0.59  # Madden 2014
    expulsion_again: float = 3.0  # assumed
    partial: float = 0.40  # of expulsions, assumed
    # Heinemann 2015 (Contraception 91:280-3): 0.06 and 0.52 per 100 woman-years.
    pregnancy_hormonal: float = 0.0006
    pregnancy_copper: float = 0.0052
    pregnancy_small_copper: float = 0.0150  # assumed; trials of small frames give 4.8% at 3 years
    # Delayed perforations come to light in the first year; split over the bands, assumed.
    perforation_bands: tuple[float, ...] = (0.45, 0.40, 0.15, 0.0)
    death: float = 0.0006  # assumed
    # Assumed so that 12-month continuation is near the 88% (hormonal) and 84% (copper) of Peipert 2011
    # (Obstet Gynecol 117:1105-13).
    removals: tuple[RemovalRate, ...] = (
        RemovalRate("bleeding", 0.050, 0.020, early=1.8, replaced_at_once=0.08),
        RemovalRate("pain", 0.018, 0.012, early=1.8, replaced_at_once=0.05),
        RemovalRate("hormonal_effects", 0.0, 0.028, early=1.3, replaced_at_once=0.10),
        RemovalRate("wish_pregnancy", 0.030, 0.026, early=0.3),
        RemovalRate("infection", 0.002, 0.002, early=2.0),
        RemovalRate("malposition", 0.004, 0.004, early=1.8, replaced_at_once=0.40),
        RemovalRate("no_longer_needed", 0.008, 0.006, early=0.5),
        RemovalRate("partner_or_social", 0.003, 0.003),
        RemovalRate("wish_other_method", 0.010, 0.008),
        RemovalRate("other_medical", 0.004, 0.004, replaced_at_once=0.20),
    )


@dataclass(frozen=True)
class FollowUp:
    """How the service learns what happened. Assumed throughout."""

    moved_away: float = 0.018  # per woman-year
    declined: float = 0.010  # per woman-year
    symptom_visit: float = 0.15  # per woman-year, the device found in place
    removed_here: float = 0.88
    returns_with_trouble: float = 0.88
    returns_with_trouble_if_lost: float = 0.65
    days_to_return: float = 8.0
    closing_call: bool = False  # everyone is reached on the last day of the log
    missed_call_recorded: float = 0.60
    replaced_after_expulsion: float = 0.45
    returns_after_unknown_ending: float = 0.08
    pregnant_after_unnoticed_expulsion: float = 0.04
