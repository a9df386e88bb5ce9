"""What a change of the terminal, the place or the promise costs in Mbit/s."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from agent.job import Antenna, Job
from agent.link_plan import WhatIf
from agent.plan import propagation
from agent.plan.antenna import gain_dbi
from agent.plan.budget import unavailability_percent
from agent.plan.constants import GEOSTATIONARY_RADIUS_M, WGS84_SEMI_MAJOR_M
from agent.plan.links import Link, View, clear_state, downlink, faded_state, uplink
from agent.plan.modcod import rates_mbps
from agent.plan.worst_month import annual_percent

# Diameters in which transportable dishes are made (m), common practice.
DISH_SIZES_M = (0.45, 0.6, 0.75, 0.98, 1.2, 1.5, 1.8, 2.4, 3.7)
SIZE_TOLERANCE = 0.97
ELEVATIONS_DEG = (10.0, 20.0, 30.0, 45.0, 60.0)
AVAILABILITIES_PERCENT = (99.0, 99.5, 99.9, 99.95, 99.99)


def what_ifs(job: Job, view: View) -> tuple[WhatIf, ...]:
    """The plan itself and then every change, each with its rates and its cost against the plan."""
    planned = _rates(job, view)
    rows = [_row("as planned", planned, planned)]
    rows.extend(_row(change, _rates(changed, seen), planned) for change, changed, seen in _changes(job, view))
    return tuple(rows)


def _changes(job: Job, view: View) -> Iterator[tuple[str, Job, View]]:
    dish, transmitter = job.antenna, job.transmitter
    worse = replace(dish, pointing_loss_db=dish.pointing_loss_db + 1.0)
    yield "1 dB more pointing loss", replace(job, antenna=worse), view
    smaller = smaller_dish(dish)
    if smaller is not None:
        yield f"dish of {smaller.diameter_m:g} m", replace(job, antenna=smaller), view
    half = replace(transmitter, power_w=transmitter.power_w / 2.0)
    yield "transmitter at half power", replace(job, transmitter=half), view
    for elevation_deg in ELEVATIONS_DEG:
        seen = replace(view, elevation_deg=elevation_deg, slant_range_km=range_at_elevation_km(elevation_deg))
        yield f"satellite at {elevation_deg:.0f}° of elevation", job, seen
    asked = job.service.availability_percent
    worst = min(annual_percent(asked), 99.999)
    service = replace(job.service, availability_percent=worst)
    yield f"{asked:g} % of the worst month", replace(job, service=service), view
    for availability in AVAILABILITIES_PERCENT:
        service = replace(job.service, availability_percent=availability)
        yield f"availability {availability:g} %", replace(job, service=service), view


def smaller_dish(dish: Antenna) -> Antenna | None:
    """The next smaller usual dish, of the same efficiency; None below the smallest."""
    sizes = [size for size in DISH_SIZES_M if size < SIZE_TOLERANCE * dish.diameter_m]
    if not sizes:
        return None
    size = sizes[-1]
    change_db = float(gain_dbi(size, 1.0, 1.0) - gain_dbi(dish.diameter_m, 1.0, 1.0))
    return replace(
        dish,
        diameter_m=size,
        receive_gain_dbi=None if dish.receive_gain_dbi is None else dish.receive_gain_dbi + change_db,
        transmit_gain_dbi=None if dish.transmit_gain_dbi is None else dish.transmit_gain_dbi + change_db,
    )


def range_at_elevation_km(elevation_deg: float) -> float:
    """Distance to a geostationary satellite at this elevation (km), 0.1 % accurate (spherical earth)."""
    elevation = np.radians(elevation_deg)
    earth_km, orbit_km = WGS84_SEMI_MAJOR_M / 1e3, GEOSTATIONARY_RADIUS_M / 1e3
    up_km = earth_km * np.sin(elevation)
    return float(np.sqrt(orbit_km**2 - (earth_km * np.cos(elevation)) ** 2) - up_km)


def _rates(job: Job, view: View) -> tuple[float, float, float, float]:
    """Downlink clear and faded, uplink clear and faded (Mbit/s)."""
    down_clear, down_faded = _link_rates(job, downlink(job, view))
    up_clear, up_faded = _link_rates(job, uplink(job, view))
    return down_clear, down_faded, up_clear, up_faded


def _link_rates(job: Job, link: Link) -> tuple[float, float]:
    gas_clear_db = propagation.clear_sky_gas_db(link.path)
    sky = propagation.attenuation(link.path, np.array([unavailability_percent(job)]))
    esno_db = (clear_state(link, gas_clear_db).esno_db, faded_state(link, gas_clear_db, sky).esno_db[0])
    rates = rates_mbps(np.array(esno_db), link.rungs, link.symbol_rate_msps)
    # Without a link there is no rate.
    clear_mbps, faded_mbps = np.nan_to_num(rates)
    return float(clear_mbps), float(faded_mbps)


def _row(
    change: str, rates: tuple[float, float, float, float], planned: tuple[float, float, float, float]
) -> WhatIf:
    down_clear, down_faded, up_clear, up_faded = rates
    return WhatIf(
        change=change,
        down_clear_mbps=down_clear,
        down_faded_mbps=down_faded,
        up_clear_mbps=up_clear,
        up_faded_mbps=up_faded,
        down_cost_mbps=planned[1] - down_faded,
        up_cost_mbps=planned[3] - up_faded,
    )
