"""First-order thermal model of a unit in the sun, fitted to the day while it runs.

    dT/dt = (T_air + offset + gain * G - T) / tau

T is the unit's temperature, G the irradiance that reaches it, `offset` what its own dissipation adds, `tau`
its time constant. Over a step of five minutes, with A = 1 - exp(-step / tau),

    T[n+1] - T[n] = A * (T_air - T[n]) + A * gain * G + A * offset

which is linear in (A, A * gain, A * offset): recursive least squares with forgetting (Ljung, System
Identification, 2nd ed. 1999, section 11.2) follows them from the priors below, within bounds.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import exp, inf, isnan, log, nan, sqrt

# Priors and bounds: judgement from the size of such units (3 to 10 kg of aluminium, 20 to 80 W of heat).
TAU_PRIOR_MIN = 25.0
TAU_BOUNDS_MIN = (6.0, 120.0)
GAIN_PRIOR_K_PER_W_M2 = 0.018
GAIN_BOUNDS_K_PER_W_M2 = (0.0, 0.05)
OFFSET_PRIOR_K = 12.0
OFFSET_BOUNDS_K = (-10.0, 60.0)
SHADED_SHARE = 0.25  # diffuse and reflected light that still reaches a unit under a cover
AIR_GUESS_DEGC = 25.0  # without an air reading the offset carries the air temperature too
STEP_MIN = 5
LEARN_EVERY_S = 60.0  # steps overlap: five times the weight of independent ones, for quick starts
FORGETTING = 0.997  # per step: half of the weight is younger than four hours
READING_ERROR_K = 0.3  # of a five-minute rise, until the thermometer has shown its own
LEAST_READING_ERROR_K = 0.1
SLOPE_MINUTES = 10
CAUTION_SIGMAS = 0.5  # the planned-for course lies this far above the likeliest: late is worse than early
STEEPER_K_PER_MIN = 0.2
EXTRA_FADES_MIN = 30.0
EARLY_SIGMAS = 2.0  # one course in forty is earlier (normal distribution)

Matrix = list[list[float]]


def _share(tau_min: float) -> float:
    return 1.0 - exp(-STEP_MIN / tau_min)


def _prior_theta() -> list[float]:
    share = _share(TAU_PRIOR_MIN)
    return [share, share * GAIN_PRIOR_K_PER_W_M2 * 1000.0, share * OFFSET_PRIOR_K / 10.0]


def _prior_covariance() -> Matrix:
    spread = [0.12, 2.0, 0.25]
    return [[spread[i] ** 2 if i == j else 0.0 for j in range(3)] for i in range(3)]


@dataclass(slots=True)
class ThermalModel:
    """The fitted parameters, scaled as (A, A * gain * 1000, A * offset / 10), and how well they predict."""

    theta: list[float] = field(default_factory=_prior_theta)
    covariance: Matrix = field(default_factory=_prior_covariance)
    error_k: float = 0.6  # root mean square of the five-minute prediction's error

    def learn(self, rise_k: float, air_less_unit_k: float, sun_w_m2: float, reading_error_k: float) -> None:
        """One five-minute step: the rise of T (and its error), T_air less T at its start, mean irradiance."""
        x = [air_less_unit_k, sun_w_m2 / 1000.0, 10.0]
        px = [sum(row[j] * x[j] for j in range(3)) for row in self.covariance]
        scale = FORGETTING * reading_error_k**2 + sum(x[j] * px[j] for j in range(3))
        miss_k = rise_k - sum(self.theta[j] * x[j] for j in range(3))
        self.theta = [self.theta[j] + px[j] / scale * miss_k for j in range(3)]
        self.covariance = [
            [(self.covariance[i][j] - px[i] * px[j] / scale) / FORGETTING for j in range(3)] for i in range(3)
        ]
        self.error_k = sqrt(0.95 * self.error_k**2 + 0.05 * min(miss_k**2, 9.0))
        self._bound()

    def _bound(self) -> None:
        share = max(_share(TAU_BOUNDS_MIN[1]), min(_share(TAU_BOUNDS_MIN[0]), self.theta[0]))
        gain = max(GAIN_BOUNDS_K_PER_W_M2[0], min(GAIN_BOUNDS_K_PER_W_M2[1], self.theta[1] / share / 1000.0))
        offset = max(OFFSET_BOUNDS_K[0], min(OFFSET_BOUNDS_K[1], self.theta[2] / share * 10.0))
        self.theta = [share, share * gain * 1000.0, share * offset / 10.0]
        limit = [1.0, 30.0, 3.0]
        for i in range(3):
            # Forgetting without news (steady night, constant shade) must not let the variance run away.
            if self.covariance[i][i] > limit[i] ** 2:
                self.covariance = [[value * 0.5 for value in row] for row in self.covariance]
                break

    @property
    def tau_min(self) -> float:
        """Time constant (minutes)."""
        return -STEP_MIN / log(1.0 - self.theta[0])

    def rise_k(self, temperature_degc: float, air_degc: float, sun_w_m2: float) -> float:
        """Rise over the next five minutes (K)."""
        return self.theta[0] * (self.settled_degc(air_degc, sun_w_m2) - temperature_degc)

    def settled_degc(self, air_degc: float, sun_w_m2: float) -> float:
        """Temperature that the unit would reach if nothing changed (deg C)."""
        return air_degc + (self.theta[1] * sun_w_m2 / 1000.0 + self.theta[2] * 10.0) / self.theta[0]


@dataclass(frozen=True, slots=True)
class Forecast:
    """Seconds until the limit on the likeliest, the planned-for and an early course; inf: not in sight."""

    likely_s: float
    planned_s: float
    early_s: float
    peak_degc: float


@dataclass(slots=True)
class Thermometer:
    """Minute means of one unit's temperature, its slope, and the model fitted to it."""

    model: ThermalModel = field(default_factory=ThermalModel)
    total: float = 0.0
    count: int = 0
    minutes_unix_s: list[float] = field(default_factory=list)
    minutes_degc: list[float] = field(default_factory=list)
    drive: list[tuple[float, float]] = field(default_factory=list)  # (air, irradiance) of the minutes
    learnt_unix_s: float = -inf
    noise_variance_k2: float = READING_ERROR_K**2

    def add(self, temperature_degc: float) -> None:
        """One reading."""
        self.total += temperature_degc
        self.count += 1

    def close_minute(self, unix_s: float, air_degc: float, sun_w_m2: float) -> None:
        """End of a minute under this air temperature (NaN: not known) and irradiance at the unit."""
        if not self.count:
            return
        self.minutes_unix_s.append(unix_s)
        self.minutes_degc.append(self.total / self.count)
        self.drive.append((AIR_GUESS_DEGC if isnan(air_degc) else air_degc, sun_w_m2))
        self.total, self.count = 0.0, 0
        self._follow_noise()
        if len(self.minutes_unix_s) > 4 * SLOPE_MINUTES:
            del self.minutes_unix_s[0], self.minutes_degc[0], self.drive[0]
        self._learn(unix_s)

    def _follow_noise(self) -> None:
        """Noise and resolution of the thermometer, from second differences: a smooth course has none."""
        if len(self.minutes_degc) >= 3:
            before, middle, after = self.minutes_degc[-3:]
            bend = min(abs(after - 2.0 * middle + before), 2.0)
            # A second difference of independent errors has six times their variance, a rise twice.
            self.noise_variance_k2 += 0.05 * (bend**2 / 3.0 - self.noise_variance_k2)

    def _learn(self, unix_s: float) -> None:
        if unix_s - self.learnt_unix_s < LEARN_EVERY_S:
            return
        self.learnt_unix_s = unix_s
        first = next(
            (i for i, t in enumerate(self.minutes_unix_s) if t >= unix_s - STEP_MIN * 60.0 - 1.0),
            len(self.minutes_degc),
        )
        span_min = (unix_s - self.minutes_unix_s[first]) / 60.0 if first < len(self.minutes_degc) else 0.0
        if abs(span_min - STEP_MIN) > 0.5:
            return
        sunlit = self.drive[first + 1 :]
        middle_air = sum(air for air, _ in sunlit) / len(sunlit)
        self.model.learn(
            self.minutes_degc[-1] - self.minutes_degc[first],
            middle_air - self.minutes_degc[first],
            sum(sun for _, sun in sunlit) / len(sunlit),
            max(LEAST_READING_ERROR_K, sqrt(self.noise_variance_k2)),
        )

    def now_degc(self) -> float:
        """Mean of the last two minutes (deg C), the last one where they come rarer; NaN before the first."""
        last = self.minutes_unix_s[-1:]
        values = [
            v
            for t, v in zip(self.minutes_unix_s[-2:], self.minutes_degc[-2:], strict=True)
            if t > last[0] - 90.0
        ]
        return sum(values) / len(values) if values else nan

    def _recent(self) -> int:
        """How many of the last minutes the slope is taken from: those of ten minutes, or three of twenty."""
        times = self.minutes_unix_s
        within = sum(t > times[-1] - SLOPE_MINUTES * 60.0 for t in times[-SLOPE_MINUTES:]) if times else 0
        if within < 3 <= len(times) and times[-3] >= times[-1] - 2.0 * SLOPE_MINUTES * 60.0:
            return 3
        return within

    def mean_degc(self) -> float:
        """Mean over the minutes of the slope (deg C)."""
        last = self.minutes_degc[-self._recent() :]
        return sum(last) / len(last)

    def recent_drive(self) -> tuple[float, float]:
        """Mean air temperature (deg C) and irradiance (W/m2) over the minutes of the slope."""
        last = self.drive[-self._recent() :]
        return sum(air for air, _ in last) / len(last), sum(sun for _, sun in last) / len(last)

    def age_s(self, unix_s: float) -> float:
        """Age of the newest minute (s)."""
        return unix_s - self.minutes_unix_s[-1] if self.minutes_unix_s else inf

    def slope_k_per_min(self) -> float:
        """Least-squares slope over ten minutes or three readings (K/min); NaN with less than that."""
        count = self._recent()
        if count < 3:
            return nan
        times = [t / 60.0 for t in self.minutes_unix_s[-count:]]
        values = self.minutes_degc[-count:]
        mean_t, mean_v = sum(times) / count, sum(values) / count
        spread = sum((t - mean_t) ** 2 for t in times)
        return sum((t - mean_t) * (v - mean_v) for t, v in zip(times, values, strict=True)) / spread


def forecast(thermometer: "Thermometer", limit_degc: float, ahead: Sequence[tuple[float, float]]) -> Forecast:
    """Time to the limit, stepping the model over `ahead`: (air deg C, irradiance W/m2) of each five minutes.

    What the model does not explain of the measured slope is taken to last where it cools (a cloud, the wind)
    and to fade within half an hour where it warms. The thermometer must have its slope already.
    """
    model, slope = thermometer.model, thermometer.slope_k_per_min()
    temperature = peak = thermometer.now_degc()
    extra_k_per_min = slope - model.rise_k(thermometer.mean_degc(), *thermometer.recent_drive()) / STEP_MIN
    # With the little more sun of the next hour a slope does not grow faster than this.
    steepest_k = (max(0.0, slope) + STEEPER_K_PER_MIN) * STEP_MIN
    crossings = [inf, inf, inf]
    variance = 0.0
    for index, (air, sun) in enumerate(ahead):
        before = temperature, sqrt(variance)
        fade = exp(-(index + 1) * STEP_MIN / EXTRA_FADES_MIN) if extra_k_per_min > 0.0 else 1.0
        rise_k = model.rise_k(temperature, air, sun) + extra_k_per_min * STEP_MIN * fade
        temperature += min(rise_k, steepest_k)
        # Errors of the steps add up, while the pull to the settled temperature forgets old ones.
        variance = variance * (1.0 - model.theta[0]) ** 2 + model.error_k**2
        peak = max(peak, temperature)
        for which, sigmas in enumerate((0.0, CAUTION_SIGMAS, EARLY_SIGMAS)):
            low = before[0] + sigmas * before[1]
            high = temperature + sigmas * sqrt(variance)
            if crossings[which] == inf and high >= limit_degc:
                part = 0.0 if high <= low else max(0.0, (limit_degc - low) / (high - low))
                crossings[which] = (index + part) * STEP_MIN * 60.0
    return Forecast(crossings[0], crossings[1], crossings[2], peak)
