"""The month of the job: its own rain instead of the average year's. Heavy, as `propagation` is."""

from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache
from math import exp, log
from statistics import NormalDist
from zoneinfo import ZoneInfo

import numpy as np
from itur import utils
from itur.models import itu1144, itu1510

from agent.job import Job
from agent.link_plan import Season
from agent.plan import propagation
from agent.plan.budget import Direction, required_esno_db
from agent.plan.links import faded_state
from agent.plan.modcod import modcod_at, rate_mbps

# P.837-7, annex 1: days of the months, and the steps' constants.
MONTH_DAYS = (31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0)
COLD_RATE_MM_H, RATE_PER_DEGC = 0.5874, 0.0883
MOST_RAIN_PERCENT = 70.0
LOG_MEAN_SHIFT, LOG_SIGMA = 0.7938, 1.26
ZERO_DEGC_K = 273.15


def season(job: Job, down: Direction, up: Direction) -> Season:
    """What both directions carry at the service's availability of the month in which the job begins.

    P.618 is made for whole years: with a month's rain it is an estimate. Gas, cloud and scintillation stay
    those of the year.
    """
    began = datetime.fromtimestamp(job.day.start_unix_s, UTC).astimezone(ZoneInfo(job.site.time_zone))
    site = job.site
    rate_mm_h = rain_of_month_mm_h(site.latitude_deg, site.longitude_deg, began.month)
    down_mbps, down_margin_db = _carried(down, rate_mm_h)
    up_mbps, up_margin_db = _carried(up, rate_mm_h)
    return Season(
        month=began.month,
        rain_rate_mm_h=rate_mm_h,
        down_mbps=down_mbps,
        up_mbps=up_mbps,
        down_margin_db=down_margin_db,
        up_margin_db=up_margin_db,
    )


def _carried(direction: Direction, rate_mm_h: float) -> tuple[float, float]:
    """Rate (Mbit/s) and margin of the booked rate (dB) in the month's rain."""
    link, percent = direction.link, direction.percent[:1]
    rain_db = propagation.rain_attenuation_db(link.path, percent, rate_mm_h)
    year = direction.sky
    sky = replace(
        year,
        gas_db=year.gas_db[:1],
        cloud_db=year.cloud_db[:1],
        scintillation_db=year.scintillation_db[:1],
        rain_db=rain_db,
    )
    esno_db = float(faded_state(link, direction.gas_clear_db, sky).esno_db[0])
    carried_mbps = rate_mbps(modcod_at(esno_db, link.rungs), link.symbol_rate_msps)
    return carried_mbps, esno_db - required_esno_db(link, direction.booked_mbps)


@lru_cache(maxsize=64)
def rain_of_month_mm_h(latitude_deg: float, longitude_deg: float, month: int) -> float:
    """Rain (mm/h) exceeded for 0.01 % of a month (1 to 12); P.837-7, annex 1, solved for the rate.

    0 where it rains for less of the month.
    """
    rainy_percent, mean_mm_h = rain_in_month(latitude_deg, longitude_deg, month)
    if rainy_percent <= propagation.DESIGN_PERCENT:
        return 0.0
    deviations = NormalDist().inv_cdf(1.0 - propagation.DESIGN_PERCENT / rainy_percent)
    return exp(log(mean_mm_h) - LOG_MEAN_SHIFT + LOG_SIGMA * deviations)


def rain_in_month(latitude_deg: float, longitude_deg: float, month: int) -> tuple[float, float]:
    """For how much of a month it rains (percent), and how hard then (mm/h); P.837-7, steps 2 to 6."""
    mean_k = float(itu1510.surface_month_mean_temperature(latitude_deg, longitude_deg, month).value)
    total_mm = float(_monthly_total(month)(np.array([[latitude_deg, longitude_deg]]))[0])
    mean_mm_h = COLD_RATE_MM_H * exp(RATE_PER_DEGC * max(0.0, mean_k - ZERO_DEGC_K))
    hours = 24.0 * MONTH_DAYS[month - 1]
    rainy_percent = 100.0 * total_mm / (hours * mean_mm_h)
    if rainy_percent <= MOST_RAIN_PERCENT:
        return rainy_percent, mean_mm_h
    return MOST_RAIN_PERCENT, 100.0 / MOST_RAIN_PERCENT * total_mm / hours


def _monthly_total(month: int) -> itu1144.RegularGridInterpolator:
    """The library's map of a month's total rain (mm)."""
    return utils.load_data_interpolator(
        "837/v7_lat_mt.npz",
        "837/v7_lon_mt.npz",
        f"837/v7_mt_month{month:02d}.npz",
        itu1144.bilinear_2D_interpolator,
    )
