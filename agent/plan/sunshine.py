"""Clear-sky sunshine at the site and the sun's path over it."""

import numpy as np
import numpy.typing as npt
import pandas as pd
from pvlib import atmosphere, clearsky, irradiance

from agent.job import Site
from agent.link_plan import SunPath, Sunshine
from agent.plan.constants import SECONDS_PER_DAY
from agent.plan.geometry import FloatArray
from agent.plan.sun import sun_angles_deg

MEAN_YEAR_DAYS = 365.2425  # Gregorian calendar


def clear_sky(site: Site, start_unix_s: float, end_unix_s: float, step_s: float = 300.0) -> Sunshine:
    """Clear-sky direct normal and global horizontal irradiance (W/m2), each `step_s` from start to end.

    The last value is at or just after the end, so that the whole span can be interpolated. Raises ValueError
    when the span or the step is not positive. Model of Ineichen and Perez (Solar Energy 73, 2002) with the
    monthly Linke turbidity of the place, both as shipped with pvlib (no network); its bias is a few per cent
    of the global and up to 10 % of the direct irradiance (Reno, Hansen and Stein, SAND2012-2389).
    """
    unix_s = _times(start_unix_s, end_unix_s, step_s)
    day_of_year = (unix_s / SECONDS_PER_DAY) % MEAN_YEAR_DAYS + 1.0
    elevation_deg = sun_angles_deg(site, unix_s, refracted=True)[1]
    day = elevation_deg > 0.0
    airmass = atmosphere.get_relative_airmass(90.0 - elevation_deg[day])
    sky = clearsky.ineichen(
        90.0 - elevation_deg[day],
        atmosphere.get_absolute_airmass(airmass, atmosphere.alt2pres(site.height_m)),
        linke_turbidity(site, day_of_year[day]),
        altitude=site.height_m,
        dni_extra=irradiance.get_extra_radiation(day_of_year[day]),
    )
    return Sunshine(
        start_unix_s=start_unix_s,
        step_s=step_s,
        direct_normal_w_m2=_with_nights(sky["dni"], day),
        global_horizontal_w_m2=_with_nights(sky["ghi"], day),
    )


def _with_nights(daytime_w_m2: FloatArray, day: npt.NDArray[np.bool_]) -> tuple[float, ...]:
    values = np.zeros(day.shape)
    values[day] = daytime_w_m2
    return tuple(float(value) for value in values)


def linke_turbidity(site: Site, day_of_year: FloatArray) -> FloatArray:
    """Linke turbidity of the place (about 2 to 7), interpolated between the middles of the months.

    Source: Remund et al., Worldwide Linke turbidity information, ISES Solar World Congress 2003, as shipped
    with pvlib.
    """
    middles = pd.to_datetime([f"2001-{month:02d}-15" for month in range(1, 13)], utc=True)
    monthly = clearsky.lookup_linke_turbidity(
        middles, site.latitude_deg, site.longitude_deg, interp_turbidity=False
    )
    days = np.asarray(middles.day_of_year, dtype=float)
    turbidity: FloatArray = np.interp(
        day_of_year, days, np.asarray(monthly, dtype=float), period=MEAN_YEAR_DAYS
    )
    return turbidity


def sun_path(site: Site, start_unix_s: float, end_unix_s: float, step_s: float = 300.0) -> SunPath:
    """Where the sun stands, each `step_s` from start to end as in `clear_sky`; refraction is included."""
    azimuth_deg, elevation_deg = sun_angles_deg(
        site, _times(start_unix_s, end_unix_s, step_s), refracted=True
    )
    return SunPath(
        start_unix_s=start_unix_s,
        step_s=step_s,
        azimuth_deg=tuple(float(value) for value in azimuth_deg),
        elevation_deg=tuple(float(value) for value in elevation_deg),
    )


def _times(start_unix_s: float, end_unix_s: float, step_s: float) -> FloatArray:
    if not (end_unix_s > start_unix_s and step_s > 0.0):
        raise ValueError(
            f"clear sky: got start {start_unix_s}, end {end_unix_s}, step {step_s} s; "
            "the end must be after the start and the step positive"
        )
    return start_unix_s + step_s * np.arange(np.ceil((end_unix_s - start_unix_s) / step_s) + 1.0)
