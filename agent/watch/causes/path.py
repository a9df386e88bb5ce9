"""Decides what rain and cloud can do on the plan's path."""

from functools import lru_cache
from math import isnan, log
from typing import NamedTuple

from agent.link_plan import LinkPlan
from agent.watch.cloud import cloud_loss_db
from agent.watch.uplink import attenuation_db, carrier_loss_db

# ITU-R P.1853-1 section 2.2 fits ln(attenuation) to the normal distribution; with P.618's curve between 0.01
# and 1 % its standard deviation lies between 1.1 and 1.4.
RAIN_LOG_SPREAD = 1.25
RAREST = 3.72  # standard deviations above the median lies what 0.01 % of the year exceed
NO_RAIN_DB = 0.02  # where the plan knows no rain: less than is seen


class Path(NamedTuple):
    """The path's rain as a log-normal attenuation (median of ln dB, its spread); a cloud's loss (dB)."""

    plan: LinkPlan
    rain_log_median: float
    rain_log_spread: float
    cloud_db: float

    def attenuation_db(self, loss_db: float) -> float:
        """The attenuation that with its noise takes `loss_db` from the downlink (dB); 0: not known."""
        found_db = attenuation_db(self.plan.downlink, carrier_loss_db(self.plan.downlink, loss_db))
        return 0.0 if isnan(found_db) else found_db


def path_of(plan: LinkPlan, frequency_ghz: float) -> Path:
    """The path of the plan's downlink at its carrier's frequency."""
    down = plan.downlink
    return Path(
        plan=plan,
        rain_log_median=_rain_log_median(down.rain_at_rate_db),
        rain_log_spread=RAIN_LOG_SPREAD,
        cloud_db=_cloud_db(frequency_ghz, plan.pointing.elevation_deg, down.system_noise_k),
    )


@lru_cache(maxsize=4)
def _rain_log_median(rarest_db: float) -> float:
    return round(log(rarest_db if rarest_db > NO_RAIN_DB else NO_RAIN_DB) - RAREST * RAIN_LOG_SPREAD, 1)


@lru_cache(maxsize=4)
def _cloud_db(frequency_ghz: float, elevation_deg: float, system_noise_k: float | None) -> float:
    cloud_db = cloud_loss_db(frequency_ghz, elevation_deg, system_noise_k)
    return 0.0 if isnan(cloud_db) else round(cloud_db, 1)
