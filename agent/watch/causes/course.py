"""Decides how likely each course of the loss is: a hidden Markov chain over courses and levels of loss."""

from bisect import bisect_left
from dataclasses import dataclass, field
from functools import lru_cache
from math import exp, pi, sqrt
from typing import Annotated

import numpy as np
from pydantic import PlainSerializer, PlainValidator

from agent.watch.causes.grid import COUNT, LEVELS_DB, SPACING_DB, Floats, normal
from agent.watch.causes.judgement import A_DAY, A_MINUTE, COVER_DB, COVERS, ENDS_S
from agent.watch.causes.kernels import (
    BEGIN,
    BEGINNING,
    BIRTHS,
    CLEAR_LEVELS,
    COURSES,
    FRESH,
    INDEX,
    RAINS,
    SLOW,
    transitions,
)

Stored = Annotated[
    Floats, PlainValidator(lambda rows: np.array(rows, float)), PlainSerializer(lambda rows: rows.tolist())
]
DAY_MIN = 600.0  # the ten hours of `judgement.A_DAY`
STEPS_S = (10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0)  # for which the matrices are kept
MOST = 0.9  # of a course may go within one step: the rates are meant for short ones
ROUNDED = 0.4  # of a level's spacing: what lies within it is spread as 1/sqrt(12) and a little more
OUTLIERS, WIDE = 0.03, 3.0  # of the readings are this much less certain than the rest
IMPOSSIBLE = 1e-5  # no reading rules anything out (judgement)
GONE = 1e-12  # counts as nothing, so that sums stay quick
SELDOM_STEP = 0.02  # a display errs by itself
NEAREST_DB = 0.01  # whose logarithm is taken
RAIN_ENDS_DB, RAIN_ENDS_MIN = 0.5, 8.0  # a shower ends from a small loss only
SHOWERY = 12.0  # times as often as on any day showers come while it has rained lately


def _rates() -> tuple[Floats, Floats]:
    """Per minute: from clear to each beginning, and from course to course at the same level."""
    shares = {name: A_DAY[name].value for name in BEGIN if name in A_DAY}
    slow = A_DAY["slow"].value / len(SLOW)
    begins = np.array([shares.get(name, slow) for name in BEGIN]) / DAY_MIN
    passes = np.zeros((len(COURSES), len(COURSES)))
    for (before, after), rate in A_MINUTE.items():
        passes[INDEX[before], INDEX[after]] = rate.value
    return begins, passes


BEGINS, PASSES = _rates()
ENDS: Floats = np.array([60.0 / ENDS_S[name].value if name in ENDS_S else 0.0 for name in COURSES])
_RAIN_BEGINS = np.array([name in RAINS for name in BEGIN])
_CLOUD_BEGINS = list(BEGIN).index("cloud")
_RAIN_ROWS = [INDEX[name] for name in RAINS]
_SMALL = (LEVELS_DB < RAIN_ENDS_DB).astype(float)


def _start() -> Floats:
    rows = np.zeros((len(COURSES), COUNT))
    rows[0] = FRESH
    return rows


@lru_cache(maxsize=len(STEPS_S))
def _within(minutes: float) -> tuple[Floats, Floats, Floats]:
    """Share of each course that becomes another, ends, or stays within so long."""
    passes, ends = PASSES * minutes, ENDS * minutes
    return passes, ends, 1.0 - np.minimum(passes.sum(axis=1) + ends, MOST)


@dataclass(slots=True)
class Course:
    """`likely[c, i]` is the probability of course c at level i, of shape (courses, levels).

    `covers` is how likely something of each kind of `COVERS` stands in the beam on top of that.
    """

    likely: Stored = field(default_factory=_start)
    covers: list[float] = field(default_factory=lambda: [0.0 for _ in COVERS])

    def shares(self) -> list[float]:
        """Probability of each of `COURSES` where nothing stands in the beam."""
        shares: list[float] = self.likely.sum(axis=1).tolist()
        return shares

    def clear(self) -> float:
        """Probability that nothing is missing."""
        return float(self.likely[0].sum())

    def rain(self) -> float:
        """Probability that it rains."""
        return float(self.likely[_RAIN_ROWS].sum())

    def covered(self) -> float:
        """Probability that something stands in the beam."""
        return sum(self.covers)

    def least_db(self, quantile: float) -> float:
        """The loss that is exceeded but for this share of the probability (dB)."""
        return float(LEVELS_DB[np.searchsorted(self.likely.sum(axis=0).cumsum(), quantile)])

    def loss(self) -> tuple[float, float]:
        """What is missing if anything is (dB): mean and standard deviation."""
        levels = self.likely[1:].sum(axis=0)
        levels /= levels.sum()
        mean = float(levels @ LEVELS_DB)
        return mean, sqrt(float(levels @ (LEVELS_DB - mean) ** 2))

    def pass_time(self, step_s: float, rain_log_median: float, cloud_db: float, rained: float) -> None:
        """What may have happened within `step_s`; `rained` (0 to 1) is how much it has rained lately."""
        whole_s = STEPS_S[min(bisect_left(STEPS_S, step_s), len(STEPS_S) - 1)]
        minutes = whole_s / 60.0
        begins = BEGINS * minutes * np.where(_RAIN_BEGINS, 1.0 + SHOWERY * rained, 1.0)
        begins[_CLOUD_BEGINS] *= min(1.0, cloud_db) ** 2
        passes, ends, staying = _within(minutes)
        staying = staying.copy()
        staying[0] = 1.0 - min(begins.sum(), MOST)
        before = self.likely
        after = before * staying[:, np.newaxis] + passes.T @ before
        freed = float((ends * before.sum(axis=1)).sum())
        ended = after[_RAIN_ROWS] * (_SMALL * min(MOST, minutes / RAIN_ENDS_MIN))
        after[_RAIN_ROWS] -= ended
        moved = np.matmul(after[:, np.newaxis, :], transitions(whole_s, rain_log_median, cloud_db))[:, 0, :]
        births = (before[0, :CLEAR_LEVELS] @ BIRTHS).reshape(len(BEGINNING), COUNT)
        moved[list(BEGINNING)] += births * begins[:, np.newaxis]
        moved[0] += FRESH * (freed + float(ended.sum()))
        self.likely = moved
        bare = 1.0 - self.covered()
        self.covers = [
            now * exp(-whole_s / lasts.value) + bare * a_day.value * minutes / DAY_MIN
            for now, (a_day, lasts) in zip(self.covers, COVERS.values(), strict=True)
        ]

    def see(self, loss_db: float, noise_db: float, half_step_db: float) -> None:
        """A loss was shown: within half a step of the display and the noise (dB, one standard deviation)."""
        noise = np.hypot(noise_db, ROUNDED * SPACING_DB)
        near, wide = (
            (
                normal((loss_db + half_step_db - LEVELS_DB) / scale)
                - normal((loss_db - half_step_db - LEVELS_DB) / scale)
            )
            for scale in (noise, WIDE * noise)
        )
        bare = ((1.0 - OUTLIERS) * near + OUTLIERS * wide) / (2.0 * half_step_db) + IMPOSSIBLE
        behind_db = np.maximum(loss_db - LEVELS_DB, NEAREST_DB)
        self._weigh(bare, _log_normal(behind_db, *(one.value for one in COVER_DB)))

    def see_step(self, loss_db: float, step_db: float) -> None:
        """A coarse display went down to here: it seldom does by a loss that is small beside its step.

        Where the level before lay within its step nobody knows, so that the chance grows in a straight line.
        """
        chance = np.maximum(1.0 - np.abs(loss_db - LEVELS_DB) / step_db, SELDOM_STEP)
        self._weigh(chance, np.ones(COUNT))

    def see_lost(self, at_least_db: float) -> None:
        """There is no lock: at least so much is lost."""
        behind = np.maximum(at_least_db - LEVELS_DB, NEAREST_DB)
        self._weigh(
            normal(LEVELS_DB - at_least_db) + IMPOSSIBLE,
            1.0 - normal(np.log(behind / COVER_DB[0].value) / COVER_DB[1].value),
        )

    def _weigh(self, bare: Floats, covered: Floats) -> None:
        cover = self.covered()
        open_sky = (1.0 - cover) * self.likely * bare
        weighed = open_sky + cover * self.likely * covered
        whole = weighed.sum()
        now = 1.0 - float(open_sky.sum() / whole)
        self.covers = [one * now / cover if cover else 0.0 for one in self.covers]
        weighed /= whole
        weighed[weighed < GONE] = 0.0
        self.likely = weighed


def _log_normal(values_db: Floats, median_db: float, spread_log: float) -> Floats:
    """Density (1/dB) of the log-normal distribution."""
    off = np.log(values_db / median_db) / spread_log
    density: Floats = np.exp(-0.5 * off * off) / (values_db * spread_log * sqrt(2.0 * pi))
    return density
