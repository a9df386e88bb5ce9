"""Decides how the loss of each course moves within a step of time: one transition matrix a course."""

from functools import lru_cache
from math import exp, log, pi, sqrt

import numpy as np

from agent.watch.causes.grid import (
    COUNT,
    EDGES_DB,
    LEVELS_DB,
    Floats,
    added,
    normal,
    normed,
    spread,
    spread_log,
    student,
)

COURSES = (
    "clear", "still", "creeping", "sinking", "slipping", "rain", "steady-rain", "drying", "cloud",
)  # fmt: skip
INDEX = {name: index for index, name in enumerate(COURSES)}
SLOW = ("creeping", "sinking", "slipping")
SLOW_DB_PER_MIN = (0.015, 0.05, 0.15)  # 1 dB within an hour, within twenty minutes, within seven
RAINS = ("rain", "steady-rain")

# Fade slope of rain, ITU-R P.1623-1 section 3: Student's distribution of three degrees of freedom.
FADE_SLOPE = 0.014  # its parameter s, the average of Europe and the United States
FADE_SLOPE_STEADY = 0.005  # the quiet third of the minutes of measured fades lies below
FADE_FILTER_HZ = 0.02  # its low-pass filter f_B, and b of its equations 18 and 19
FADE_FILTER_EXPONENT = 2.3
RAIN_PER_S = 2e-4  # the rate at which a fade forgets, beta of ITU-R P.1853-1 section 2.2
CLOUD_PER_S = 7.17e-4  # that of cloud water, beta 1 of ITU-R P.1853-1 section 2.4.2
CLOUD_SPREAD = 0.7  # of ln(cloud water) within a day (judgement)

CLEAR_DB, CLEAR_S = 0.13, 2400.0  # drift, reference and small clouds about nothing lost
WANDER_DB = 0.015  # of a still dish within a minute
DRYING_S = 1800.0  # a wet reflector dries in half an hour, as in `judgement.ENDS_S`
RARE_LEAP, LEAP = 0.015, 4.0  # share of the steps in which a fade leaps, and by how much more (judgement)
WANDER_MORE = 0.3  # what is missing wanders more, with the root of its decibels (judgement)
UNEVEN, JERKS = 0.5, 0.2  # shares of a slide's pace by which it errs at all times, and by chance (judgement)
DRIES_UNEVENLY = 0.02  # dB a minute (judgement)
USUAL_CLOUD = 0.35  # of a thick one's loss is the median of what is felt (judgement)
LEAST_RAIN_DB, LEAST_CLOUD_DB = 0.1, 0.03  # whose logarithm is taken are no less
CLEAR_UP_TO_DB = 0.75  # clear-sky levels end here: nearly six standard deviations


def fade_slope(step_s: float, parameter: float) -> float:
    """Scale of the change of ln(attenuation) within `step_s`, ITU-R P.1623-1 equations 18 to 20."""
    low_pass = (FADE_FILTER_HZ**-FADE_FILTER_EXPONENT + (2.0 * step_s) ** FADE_FILTER_EXPONENT) ** (
        1.0 / FADE_FILTER_EXPONENT
    )
    return parameter * sqrt(2.0 * pi**2 / low_pass) * step_s / sqrt(3.0)


@lru_cache(maxsize=12)
def transitions(step_s: float, rain_log_median: float, cloud_db: float) -> Floats:
    """How each course moves the loss within a step, shape (courses, levels, levels), rows sum to 1.

    `rain_log_median` is the median of ln(attenuation in dB) of ITU-R P.1853; `cloud_db` what a thick cloud
    takes.
    """
    minutes, ones = step_s / 60.0, np.ones(COUNT)
    lost_db = np.maximum(LEVELS_DB, 0.0)
    wander_db = WANDER_DB * sqrt(minutes) * (1.0 + WANDER_MORE * np.sqrt(lost_db))
    keep = exp(-step_s / CLEAR_S)
    moves = [
        spread(LEVELS_DB * keep, ones * CLEAR_DB * sqrt(1.0 - keep * keep)),
        spread(LEVELS_DB, wander_db),
    ]
    moves.extend(
        spread(
            LEVELS_DB + rate * minutes,
            wander_db + UNEVEN * rate * minutes + JERKS * rate * sqrt(minutes),
        )
        for rate in SLOW_DB_PER_MIN
    )
    log_db = np.log(np.maximum(LEVELS_DB, LEAST_RAIN_DB))
    for parameter in (FADE_SLOPE, FADE_SLOPE_STEADY):
        scale = fade_slope(step_s, parameter) * ones
        mean = log_db + (1.0 - exp(-RAIN_PER_S * step_s)) * (rain_log_median - log_db)
        moves.append(
            (1.0 - RARE_LEAP) * spread_log(mean, scale, student)
            + RARE_LEAP * spread_log(mean, LEAP * scale, student)
        )
    moves.append(
        spread(
            LEVELS_DB * exp(-step_s / DRYING_S),
            wander_db + DRIES_UNEVENLY * (minutes + lost_db * sqrt(minutes)),
        )
    )
    keep = exp(-CLOUD_PER_S * step_s)
    middle = log(max(USUAL_CLOUD * cloud_db, LEAST_CLOUD_DB))
    moves.append(spread_log(middle + (log_db - middle) * keep, CLOUD_SPREAD * sqrt(1.0 - keep * keep) * ones))
    return np.stack(moves)


# Courses that begin from a clear sky, and with what loss: median (dB) and spread (log), judgement.
BEGIN = {
    "still": (1.6, 0.8),
    "creeping": (0.05, 0.5), "sinking": (0.05, 0.5), "slipping": (0.1, 0.6),
    "rain": (0.25, 0.9), "steady-rain": (0.25, 0.9), "drying": (0.2, 0.8), "cloud": (0.15, 0.6),
}  # fmt: skip
BEGINNING = tuple(INDEX[name] for name in BEGIN)
CLEAR_LEVELS = int(np.searchsorted(LEVELS_DB, CLEAR_UP_TO_DB))
FRESH: Floats = normed(np.diff(normal(EDGES_DB / CLEAR_DB)))
# Shape (clear levels, beginnings * levels).
BIRTHS: Floats = np.concatenate([added(LEVELS_DB[:CLEAR_LEVELS], *BEGIN[name]) for name in BEGIN], axis=1)
