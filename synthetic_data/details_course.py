"""The known truth of what a log may say besides: ranges of devices, positions on a scan, waits, second reasons."""

from dataclasses import dataclass

Shares = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Details:
    """Ranges of the devices, positions on a scan, waits and second reasons. Assumed throughout."""

    # Shortest and longest uterus by sound that the protocol of the place accepts, in mm.
    sound_ranges: tuple[tuple[str, float, float], ...] = (
        ("copper_t_380", 65, 90),
        ("copper_other_framed", 60, 90),
        ("copper_small_framed", 50, 80),
        ("lng_52", 60, 100),
        ("lng_19_5", 55, 100),
        ("lng_13_5", 55, 100),
    )
    # Where nothing is wrong as far as she knows.
    positions: Shares = (("fundal", 0.90), ("low_in_cavity", 0.07), ("rotated", 0.02), ("embedded", 0.01))
    wait_days: float = 6.0  # mean, from her request to the removal
    wait_recorded: float = 0.85
    second_reasons: tuple[tuple[str, str, float], ...] = (
        ("bleeding", "pain", 0.15),
        ("pain", "bleeding", 0.20),
        ("hormonal_effects", "bleeding", 0.12),
        ("malposition", "pain", 0.30),
    )
