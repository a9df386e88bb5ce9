"""What takes the sun's place over the hours: heat on the transmitter, and sun passes. Heavy."""

from dataclasses import replace

from agent.heat.outlook import heat_outlook
from agent.job import Job
from agent.link_plan import HeatOutlook, SunPass
from agent.plan.constants import SECONDS_PER_DAY
from agent.plan.span import Span
from agent.plan.sun import sun_passes
from agent.plan.sun_noise import BeamNoise
from agent.plan.sunshine import clear_sky, sun_path

YEAR_S = 365.25 * SECONDS_PER_DAY
SUNSHINE_STEP_S = 300.0


def heat_over(job: Job, span: Span) -> HeatOutlook:
    """The outlook for the job's hours where the span holds them, else for the whole span."""
    day = job.day
    if not (span.contains(day.start_unix_s) and span.contains(day.end_unix_s)):
        day = replace(day, start_unix_s=span.start_unix_s, end_unix_s=span.end_unix_s)
    sunshine = clear_sky(job.site, span.start_unix_s, span.end_unix_s, SUNSHINE_STEP_S)
    path = sun_path(job.site, span.start_unix_s, span.end_unix_s, SUNSHINE_STEP_S)
    return heat_outlook(replace(job, day=day), sunshine, path, job.day.air_degc)


def passes_of_the_year(job: Job, span: Span, beam: BeamNoise) -> tuple[SunPass, ...]:
    """Those of the twelve months from the span's start, or of the span where that is longer."""
    last_unix_s = max(span.end_unix_s, span.start_unix_s + YEAR_S)
    return sun_passes(job.site, job.satellite.longitude_deg, beam, span.start_unix_s, last_unix_s)
