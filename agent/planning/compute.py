"""The link plan of a job, both parts one after the other in this process."""

from collections.abc import Callable

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.span import Span, job_days
from agent.plan.sun_noise import BeamNoise
from agent.planning.link_part import link_plan
from agent.planning.sun_answer import SunAnswer
from agent.planning.sun_part import heat_over, passes_of_the_year


def compute_plan(job: Job, span: Span | None = None) -> LinkPlan:
    """The plan of a job for a span of time, by default the job's days.

    Deterministic: the same job and span give the same plan. About a second once the libraries are loaded.
    """
    covered = span or job_days(job)

    def ask_sun(beam: BeamNoise) -> Callable[[], SunAnswer]:
        passes = passes_of_the_year(job, covered, beam)
        return lambda: SunAnswer(heat=heat_over(job, covered), passes_year=passes)

    return link_plan(job, covered, ask_sun)
