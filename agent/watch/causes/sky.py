"""Decides what gauge, notes, gusts, frequency and air say for and against each cause of a loss."""

from collections.abc import Iterator
from math import erfc, exp, isnan, log, sqrt
from typing import NamedTuple

from agent.watch.causes.channels import Likelihoods
from agent.watch.causes.path import Path
from agent.watch.weather_watch import FROST_DEGC, WeatherWatch
from agent.wording import Said

# Of 90 measured fades of 0.7 dB and more (Ku band, nine rainy days of Gianoglio et al. 2023, gauge beside the
# dishes) the gauge had been dry since before the onset in this share, by minutes since the onset; a dead or
# distant gauge keeps the last from falling further.
DRY_SHARE = ((0.0, 0.7), (5.0, 0.4), (10.0, 0.25), (20.0, 0.14), (40.0, 0.08))
# Of the minutes of those fades 91 % had rain within ten minutes, of all other minutes on the air about 5 %.
WET_TIMES, WET_S = 18.0, 600.0
DAMP_TIMES, DAMP_S = 1.5, 1800.0  # 3 % against 2 % between ten and thirty minutes after the last rain
DRIED_S = 3600.0  # within an hour the gauge's dryness counts by its root only: showers come in packs
NOTED_TIMES = 12.0  # who taps it stands in it; it ages with the note (judgement)
# Share of that, as an exponent: the gauge is late at both ends of a shower (judgement).
BESIDE_DRY_GAUGE = 0.5
KNOCKED_TIMES = 30.0  # a noted knock is followed by a loss for no other reason (judgement)
GUST_TIMES, NO_GUST_TIMES = 4.0, 0.7  # half of the turned dishes are turned by a gust (judgement)
COLD_RAIN_TIMES, COLD_REFLECTOR_TIMES = 0.3, 6.0  # dry snow hardly attenuates (P.618: rain height)
DEEP_SHARE = 0.004  # of an average year a fade of two decibels at Ku band lasts (ITU-R P.618)
SELDOM = 1e-3  # no fade is impossible (judgement)
CLOUD_STEEPNESS = 2.0  # half as much again as a thick cloud takes is e times less likely (judgement)


class Factor(NamedTuple):
    """One observation, and how likely each cause makes it: 1 where it has nothing to do with it."""

    what: Said
    likelihood: Likelihoods


class Onset(NamedTuple):
    """When a loss set in, and how much (0 to 1) of what turns a dish, or covers one, came at once."""

    unix_s: float
    turned_at_once: float
    covered_at_once: float


def sky_factors(
    unix_s: float, loss_db: float, onset: Onset, weather: WeatherWatch, path: Path
) -> Iterator[Factor]:
    """All that weather, notes and frequency say of `loss_db`; no snow falls or melts at once."""
    yield _push(onset, weather)
    yield from _rain(unix_s, onset.unix_s, weather)
    attenuation_db = max(0.05, path.attenuation_db(loss_db))
    share = 0.5 * erfc((log(attenuation_db) - path.rain_log_median) / (path.rain_log_spread * sqrt(2.0)))
    reach = min(1.0, max(SELDOM, share / DEEP_SHARE))
    yield Factor(Said("above-rain" if reach < 0.1 else "within-rain"), {"rain": reach})
    over = max(0.0, loss_db / max(path.cloud_db, 0.05) - 1.0)
    yield Factor(Said("cloud-reach"), {"cloud": min(1.0, path.cloud_db) * exp(-CLOUD_STEEPNESS * over)})
    if weather.frost(unix_s):
        falls = weather.air_now_degc(unix_s) < FROST_DEGC
        times: Likelihoods = {"rain": COLD_RAIN_TIMES} if falls else {}
        snow_times = 1.0 + (COLD_REFLECTOR_TIMES - 1.0) * (1.0 - onset.covered_at_once)
        yield Factor(Said("cold" if falls else "frost"), {**times, "reflector": snow_times})


def _push(onset: Onset, weather: WeatherWatch) -> Factor:
    """What knock and wind say: a gust turns no dish slowly."""
    if weather.knock_near(onset.unix_s):
        return Factor(Said("knock"), {"mispoint": KNOCKED_TIMES})
    if not weather.wind_told:
        return Factor(Said("wind-unknown"), {})
    gust = weather.gust_near(onset.unix_s)
    times = GUST_TIMES if gust else NO_GUST_TIMES
    return Factor(
        Said("gust" if gust else "no-gust"), {"mispoint": 1.0 + (times - 1.0) * onset.turned_at_once}
    )


def _rain(unix_s: float, onset_unix_s: float, weather: WeatherWatch) -> Iterator[Factor]:
    noted = weather.rain_noted(unix_s)
    dry = weather.gauge_current(unix_s) and not weather.rain_measured(unix_s)
    if noted > 0.0:
        times = NOTED_TIMES ** (noted * (BESIDE_DRY_GAUGE if dry else 1.0))
        yield Factor(Said("rain-noted"), {"rain": times})
    if not weather.gauge_current(unix_s):
        yield Factor(Said("sky-unknown"), {})
        return
    dry_s = unix_s - weather.rain_unix_s
    if dry_s <= WET_S:
        yield Factor(Said("rain-seen"), {"rain": WET_TIMES})
    elif dry_s <= DAMP_S:
        yield Factor(Said("rained"), {"rain": DAMP_TIMES})
    else:
        share = dry_share((min(unix_s, weather.gauge_unix_s) - onset_unix_s) / 60.0)
        dry_times = sqrt(share) if dry_s <= DRIED_S else share
        # What lies there after a frost has fallen unseen by the gauge, or long ago.
        wet_times = 1.0 if weather.frost(unix_s) else sqrt(dry_times)
        yield Factor(Said("gauge-dry"), {"rain": dry_times, "reflector": wet_times})


def dry_share(minutes: float) -> float:
    """How often a gauge is still dry so long after a fade has set in (0 to 1), between the measured times."""
    if isnan(minutes) or minutes <= 0.0:
        return DRY_SHARE[0][1]
    for (early, before), (late, after) in zip(DRY_SHARE, DRY_SHARE[1:], strict=False):
        if minutes <= late:
            return before + (after - before) * (minutes - early) / (late - early)
    return DRY_SHARE[-1][1]
