"""Computes the link plan of a job but for what takes the sun's place, which is asked of `sun_part`.

Heavy, as is `sun_part`: each brings its own libraries, and the two may work side by side.
"""

from collections.abc import Callable
from typing import TypeAlias

from agent.job import Job
from agent.link_plan import BaseTilt, LinkPlan, Pointing
from agent.plan import propagation
from agent.plan.budget import Direction, availability_curve, budget, directions
from agent.plan.findings import carried_rates, link_findings, verdict
from agent.plan.geometry import look_angles, worst_base_tilt_offset_deg
from agent.plan.horizon import horizon, horizon_findings
from agent.plan.items import plan_items
from agent.plan.links import View
from agent.plan.magnetic import Declination, declination, magnetic_heading_deg
from agent.plan.safety import safety
from agent.plan.season import season
from agent.plan.slips import height_slips, place_slips
from agent.plan.span import Span
from agent.plan.sun_effect import sun_pass_effect
from agent.plan.sun_noise import QUIET_SUN_SFU, BeamNoise
from agent.plan.what_if import what_ifs
from agent.plan.worst_month import worst_month_percent
from agent.plan.zone_place import zone_place
from agent.planning.sun_answer import SunAnswer

# Told the beam, it sets to work at once and returns where to fetch what it found.
AskSun: TypeAlias = Callable[[BeamNoise], Callable[[], SunAnswer]]

# Common practice: a base 1 deg out of level is left alone, 4 deg is corrected.
BASE_TILTS_DEG = (1.0, 4.0)


def link_plan(job: Job, covered: Span, ask_sun: AskSun) -> LinkPlan:
    """The plan of a job for a span of time; deterministic."""
    site = job.site
    north = declination(site.latitude_deg, site.longitude_deg, site.height_m, covered.start_unix_s)
    pointing = _pointing(job, north)
    view = View(
        elevation_deg=pointing.elevation_deg,
        slant_range_km=pointing.slant_range_km,
        feed_rotation_deg=pointing.feed_rotation_deg,
        radiating_k=propagation.mean_radiating_temperature_k(site.latitude_deg, site.longitude_deg),
    )
    down, up = directions(job, view)
    fetch_sun = ask_sun(_beam(job, down))
    downlink, uplink = budget(job, down), budget(job, up)
    carried = carried_rates(job, (down, downlink), (up, uplink))
    found = link_findings(job, ((down, downlink), (up, uplink)), carried)
    what_if, availability = what_ifs(job, view), availability_curve(down, up)
    items = plan_items(job, pointing, (down, downlink), (up, uplink))
    in_season = season(job, down, up)
    misplaced = _place_findings(job)
    sun = fetch_sun()
    skyline = horizon(job, pointing, downlink, sun.heat.sun_path)
    passes = tuple(one for one in sun.passes_year if one.start_unix_s <= covered.end_unix_s)
    return LinkPlan(
        terminal=job.terminal,
        start_unix_s=covered.start_unix_s,
        end_unix_s=covered.end_unix_s,
        verdict=verdict(job, pointing.elevation_deg, carried),
        pointing=pointing,
        downlink=downlink,
        uplink=uplink,
        carried=carried,
        what_if=what_if,
        availability=availability,
        worst_month_percent=worst_month_percent(job.service.availability_percent),
        season=in_season,
        sun_passes=passes,
        sun_pass_effects=tuple(sun_pass_effect(job, down, one) for one in passes),
        sun_passes_year=sun.passes_year,
        heat=sun.heat,
        horizon=skyline,
        safety=safety(
            job,
            up.link.antenna_gain_dbi,
            pointing.elevation_deg,
            job.day.air_degc,
            job.day.humidity_percent,
        ),
        items=items,
        findings=(*found, *horizon_findings(skyline), *misplaced, *north.findings),
    )


def _place_findings(job: Job) -> list[str]:
    site = job.site
    ground_m = propagation.ground_height_m(site.latitude_deg, site.longitude_deg)
    return [*place_slips(job, zone_place(site.time_zone)), *height_slips(job, ground_m)]


def _pointing(job: Job, north: Declination) -> Pointing:
    site = job.site
    angles = look_angles(site.latitude_deg, site.longitude_deg, site.height_m, job.satellite.longitude_deg)
    azimuth_deg, elevation_deg = float(angles.azimuth_true_deg), float(angles.elevation_deg)
    tilts = ((tilt, worst_base_tilt_offset_deg(elevation_deg, tilt)) for tilt in BASE_TILTS_DEG)
    return Pointing(
        azimuth_true_deg=azimuth_deg,
        azimuth_magnetic_deg=magnetic_heading_deg(azimuth_deg, north.value_deg),
        elevation_deg=elevation_deg,
        polarisation_skew_deg=float(angles.polarisation_skew_deg),
        slant_range_km=float(angles.slant_range_km),
        one_way_delay_ms=float(angles.one_way_delay_ms),
        round_trip_delay_ms=float(angles.round_trip_delay_ms),
        feed_rotation_deg=float(angles.feed_rotation_deg),
        declination_deg=north.value_deg,
        declination_uncertainty_deg=north.uncertainty_deg,
        base_tilts=tuple(
            BaseTilt(
                tilt_deg=tilt,
                azimuth_deg=float(worst.azimuth_deg),
                elevation_deg=float(worst.elevation_deg),
                on_sky_deg=float(worst.on_sky_deg),
            )
            for tilt, worst in tilts
        ),
    )


def _beam(job: Job, down: Direction) -> BeamNoise:
    link = down.link
    return BeamNoise(
        beamwidth_deg=link.beamwidth_deg,
        frequency_ghz=link.path.frequency_ghz,
        gain_dbi=link.antenna_gain_dbi - link.receive_feed_loss_db,
        system_noise_k=float(down.clear.system_noise_k),
        solar_flux_sfu=QUIET_SUN_SFU if job.day.solar_flux_sfu is None else job.day.solar_flux_sfu,
    )
