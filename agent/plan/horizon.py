"""The skyline around the site, as the crew measured it: does it hide the satellite, when does it shade?"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from agent.job import Job
from agent.link_plan import Budget, Horizon, Pointing, Shade, SunPath
from agent.plan.constants import SECONDS_PER_DAY
from agent.plan.geometry import FloatArray, Numeric
from agent.plan.span import Span


def first_day(path: SunPath) -> SunPath:
    """Its first 24 hours, for a drawing: the next day's path would lie upon it."""
    count = round(SECONDS_PER_DAY / path.step_s)
    return replace(path, azimuth_deg=path.azimuth_deg[:count], elevation_deg=path.elevation_deg[:count])


def skyline_deg(obstructions: Sequence[Sequence[float]], aim_deg: float, azimuth_deg: Numeric) -> FloatArray:
    """Elevation of the skyline (deg) at azimuths (deg, any shape): straight from pair to pair.

    `obstructions` are pairs of azimuth and elevation (deg). Beyond the outermost, counted from `aim_deg` to
    both sides, the horizon is free (0). NaN in, NaN out.
    """
    beside_deg = _beside(np.asarray(azimuth_deg, dtype=float), aim_deg)
    if not obstructions:
        return np.where(np.isnan(beside_deg), np.nan, 0.0)
    pairs = np.array(sorted((float(_beside(np.asarray(one[0]), aim_deg)), one[1]) for one in obstructions))
    skyline: FloatArray = np.interp(beside_deg, pairs[:, 0], pairs[:, 1], left=0.0, right=0.0)
    return skyline


def _beside(azimuth_deg: FloatArray, aim_deg: float) -> FloatArray:
    """Degrees to the right of the aim, -180 to 180."""
    beside_deg: FloatArray = np.mod(azimuth_deg - aim_deg + 180.0, 360.0) - 180.0
    return beside_deg


def horizon(job: Job, pointing: Pointing, downlink: Budget, path: SunPath) -> Horizon:
    """What the skyline does to the satellite, and to the sun on the transmitter in the job's hours."""
    pairs = tuple((float(azimuth), float(elevation)) for azimuth, elevation in job.site.obstructions)
    aim_deg = pointing.azimuth_true_deg
    if not pairs:
        return Horizon(obstructions=(), clearance_deg=None, shades=())
    half_beam_deg = downlink.beamwidth_deg / 2.0
    around_deg = skyline_deg(pairs, aim_deg, aim_deg + np.linspace(-half_beam_deg, half_beam_deg, 9))
    clearance_deg = pointing.elevation_deg - half_beam_deg - float(np.max(around_deg))
    unix_s: FloatArray = path.start_unix_s + path.step_s * np.arange(len(path.azimuth_deg), dtype=np.float64)
    sun_deg = np.array(path.elevation_deg)
    hours = Span(job.day.start_unix_s, job.day.end_unix_s)
    behind = (sun_deg > 0.0) & (sun_deg < skyline_deg(pairs, aim_deg, np.array(path.azimuth_deg)))
    inside = np.array([hours.contains(float(moment)) for moment in unix_s])
    return Horizon(
        obstructions=pairs,
        clearance_deg=clearance_deg,
        shades=tuple(_spans(unix_s, behind & inside, path.step_s)),
    )


def _spans(unix_s: FloatArray, inside: npt.NDArray[np.bool_], step_s: float) -> list[Shade]:
    """Runs of true, each from its first to a step after its last time."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    return [
        Shade(start_unix_s=float(unix_s[first]), end_unix_s=float(unix_s[last - 1] + step_s))
        for first, last in zip(edges[::2], edges[1::2], strict=True)
    ]


def horizon_findings(found: Horizon) -> list[str]:
    """Is the satellite hidden, or its beam grazed?"""
    if found.clearance_deg is None or found.clearance_deg >= 0.0:
        return []
    into = f"The skyline of site.obstructions reaches {-found.clearance_deg:.1f}° into the beam"
    return [f"{into}: blocked or grazed. Set up elsewhere, or measure the skyline again."]
