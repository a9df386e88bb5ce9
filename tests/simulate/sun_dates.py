"""On which dates the sun passes behind a satellite."""

from datetime import UTC, date, datetime, timedelta

import numpy as np

from tests.simulate.jobs import Band, Place, job_of
from tests.simulate.sky import satellite_angles, separation_deg, sun_angles_deg
from tests.simulate.terminal import Hardware, link_of

SEARCH_STEP_S = 60.0
DAY_S = 86_400.0


def sun_pass_date(place: Place, band: Band, near: date) -> date:
    """The date after `near` on which the sun comes closest to the beam's middle within half a year."""
    site = place.site
    azimuth_deg, elevation_deg, _ = satellite_angles(site, place.satellite.longitude_deg)
    beam_deg = link_of(job_of(place, band, f"{near}T00:00:00", 1.0), Hardware()).down_beam_deg
    midnight = datetime(near.year, near.month, near.day, tzinfo=UTC).timestamp()
    closest = (np.inf, near)
    for number in range(190):
        unix_s = midnight + number * DAY_S + np.arange(0.0, DAY_S, SEARCH_STEP_S)
        away = float(separation_deg(*sun_angles_deg(unix_s, site), azimuth_deg, elevation_deg).min())
        closest = min(closest, (away, near + timedelta(days=number)))
        if away < 0.25 * beam_deg:
            break
    return closest[1]
