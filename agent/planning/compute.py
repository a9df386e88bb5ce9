"""Computes the link plan of a job. Heavy: the agent and the dashboard read what this wrote."""

from dataclasses import replace

from agent.heat.outlook import heat_outlook
from agent.job import Job
from agent.link_plan import BaseTilt, Budget, HeatOutlook, LinkPlan, Pointing, SunPass
from agent.plan import propagation
from agent.plan.budget import availability_curve, budget, directions
from agent.plan.constants import SECONDS_PER_DAY
from agent.plan.findings import carried_rates, link_findings, verdict
from agent.plan.geometry import LookAngles, look_angles, worst_base_tilt_offset_deg
from agent.plan.horizon import horizon, horizon_findings
from agent.plan.items import plan_items
from agent.plan.links import Link, View
from agent.plan.magnetic import Declination, declination, magnetic_heading_deg
from agent.plan.safety import safety
from agent.plan.slips import height_slips, place_slips
from agent.plan.span import Span, job_days
from agent.plan.sun import QUIET_SUN_SFU, BeamNoise, sun_passes
from agent.plan.sun_effect import sun_pass_effect
from agent.plan.sunshine import clear_sky, sun_path
from agent.plan.what_if import what_ifs
from agent.plan.worst_month import worst_month_percent
from agent.plan.zone_place import zone_place

YEAR_S = 365.25 * SECONDS_PER_DAY
# Common practice: a base 1 deg out of level is left alone, 4 deg is corrected.
BASE_TILTS_DEG = (1.0, 4.0)
SUNSHINE_STEP_S = 300.0


def compute_plan(job: Job, span: Span | None = None) -> LinkPlan:
    """The plan of a job for a span of time, by default the job's days.

    The heat outlook is that of the job's hours where the span holds them, else that of the whole span.

    Deterministic: the same job and span give the same plan. About a second once the libraries are loaded.
    """
    covered = span or job_days(job)
    site = job.site
    angles = look_angles(site.latitude_deg, site.longitude_deg, site.height_m, job.satellite.longitude_deg)
    north = declination(site.latitude_deg, site.longitude_deg, site.height_m, covered.start_unix_s)
    pointing = _pointing(angles, north)
    view = View(
        elevation_deg=pointing.elevation_deg,
        slant_range_km=pointing.slant_range_km,
        feed_rotation_deg=pointing.feed_rotation_deg,
        radiating_k=propagation.mean_radiating_temperature_k(site.latitude_deg, site.longitude_deg),
    )
    down, up = directions(job, view)
    downlink, uplink = budget(job, down), budget(job, up)
    carried = carried_rates(job, (down, downlink), (up, uplink))
    found = link_findings(job, ((down, downlink), (up, uplink)), carried)
    heat = _heat(job, covered)
    skyline = horizon(job, pointing, downlink, heat.sun_path)
    passes, year = _sun_passes(job, down.link, downlink, covered)
    return LinkPlan(
        terminal=job.terminal,
        start_unix_s=covered.start_unix_s,
        end_unix_s=covered.end_unix_s,
        verdict=verdict(job, pointing.elevation_deg, carried),
        pointing=pointing,
        downlink=downlink,
        uplink=uplink,
        carried=carried,
        what_if=what_ifs(job, view),
        availability=availability_curve(down, up),
        worst_month_percent=worst_month_percent(job.service.availability_percent),
        sun_passes=passes,
        sun_pass_effects=tuple(sun_pass_effect(job, down, one) for one in passes),
        sun_passes_year=year,
        heat=heat,
        horizon=skyline,
        safety=safety(
            job,
            up.link.antenna_gain_dbi,
            pointing.elevation_deg,
            job.day.air_degc,
            job.day.humidity_percent,
        ),
        items=plan_items(job, pointing, (down, downlink), (up, uplink)),
        findings=(*found, *horizon_findings(skyline), *_place_findings(job), *north.findings),
    )


def _place_findings(job: Job) -> list[str]:
    site = job.site
    ground_m = propagation.ground_height_m(site.latitude_deg, site.longitude_deg)
    return [*place_slips(job, zone_place(site.time_zone)), *height_slips(job, ground_m)]


def _pointing(angles: LookAngles, north: Declination) -> Pointing:
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


def _sun_passes(
    job: Job, link: Link, downlink: Budget, span: Span
) -> tuple[tuple[SunPass, ...], tuple[SunPass, ...]]:
    """Those that touch the span, and those of the year from its start."""
    if downlink.system_noise_k is None:
        raise ValueError("the downlink's budget lacks the terminal's system noise")
    beam = BeamNoise(
        beamwidth_deg=link.beamwidth_deg,
        frequency_ghz=link.path.frequency_ghz,
        gain_dbi=link.antenna_gain_dbi - link.receive_feed_loss_db,
        system_noise_k=downlink.system_noise_k,
        solar_flux_sfu=QUIET_SUN_SFU if job.day.solar_flux_sfu is None else job.day.solar_flux_sfu,
    )
    last_unix_s = max(span.end_unix_s, span.start_unix_s + YEAR_S)
    year = sun_passes(job.site, job.satellite.longitude_deg, beam, span.start_unix_s, last_unix_s)
    return tuple(one for one in year if one.start_unix_s <= span.end_unix_s), year


def _heat(job: Job, span: Span) -> HeatOutlook:
    day = job.day
    if not (span.contains(day.start_unix_s) and span.contains(day.end_unix_s)):
        day = replace(day, start_unix_s=span.start_unix_s, end_unix_s=span.end_unix_s)
    sunshine = clear_sky(job.site, span.start_unix_s, span.end_unix_s, SUNSHINE_STEP_S)
    path = sun_path(job.site, span.start_unix_s, span.end_unix_s, SUNSHINE_STEP_S)
    return heat_outlook(replace(job, day=day), sunshine, path, job.day.air_degc)
