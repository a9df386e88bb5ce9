"""The year's worst month against the average year: ITU-R P.841, annex 1."""

# P.841, annex 1, for global planning (from memory): p_w = Q p, Q = Q1 p^-beta; that is p = 0.30 p_w^1.15.
Q1 = 2.85
BETA = 0.13
MOST = 12.0  # Q is never more: all of a rare year's minutes in one month
LEVEL_PERCENT = (
    3.0  # beyond it Q does not fall further (P.841 lets it fall slowly; this errs to the safe side)
)


def worst_month_percent(availability_percent: float) -> float:
    """Availability in the worst month (percent) of what an average year has for this much (90 to 99.999)."""
    annual = 100.0 - availability_percent
    worst: float = annual * min(MOST, Q1 * min(annual, LEVEL_PERCENT) ** -BETA)
    return 100.0 - worst


def annual_percent(worst_month_availability_percent: float) -> float:
    """Availability in an average year (percent) that keeps this much in the worst month; the inverse."""
    worst = 100.0 - worst_month_availability_percent
    beyond = Q1 * LEVEL_PERCENT ** (1.0 - BETA)
    annual: float = (worst / Q1) ** (1.0 / (1.0 - BETA)) if worst < beyond else worst / beyond * LEVEL_PERCENT
    return 100.0 - max(annual, worst / MOST)
