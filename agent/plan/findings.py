"""What the numbers of the plan mean: which booked rates are carried, what is doubtful, the verdict."""

from math import isnan
from typing import Literal

from agent.job import Job
from agent.link_plan import Budget, Carried, Verdict
from agent.plan import propagation
from agent.plan.budget import Direction, unavailability_percent
from agent.plan.geometry import elevation_finding
from agent.plan.modcod import next_lower, rate_mbps
from agent.plan.off_axis import off_axis_findings
from agent.plan.slips import budget_slips, hidden_satellite_slips, job_slips, over_booked


def carried_rates(
    job: Job, down: tuple[Direction, Budget], up: tuple[Direction, Budget]
) -> tuple[Carried, ...]:
    """The booked down and up rates and the stream against what the link carries."""
    booked = (
        ("down", job.service.down_mbps, down),
        ("up", job.service.up_mbps, up),
        ("stream", job.service.stream_mbps, up),
    )
    return tuple(_carried(job, service, rate, *direction) for service, rate, direction in booked)


def _carried(job: Job, service: str, booked_mbps: float, direction: Direction, budget: Budget) -> Carried:
    rungs = direction.link.rungs
    in_use = next((one for one in rungs if one.name == budget.modcod_faded), None)
    below = None if in_use is None else next_lower(in_use, rungs)
    return Carried(
        service=service,
        booked_mbps=booked_mbps,
        clear=budget.rate_clear_mbps >= booked_mbps,
        at_availability=budget.rate_faded_mbps >= booked_mbps,
        one_modcod_in_hand=rate_mbps(below, direction.link.symbol_rate_msps) >= booked_mbps,
    )


def verdict(job: Job, elevation_deg: float, carried: tuple[Carried, ...]) -> Verdict:
    """Works, tight or does not work, and why.

    It does not work where the stream is more than the booked uplink, a booked rate is not carried even in
    clear sky, or the stream not at the availability. It is tight where another booked rate is not, no MODCOD
    is in hand, or the satellite grazes the horizon.
    """
    low = elevation_finding(elevation_deg)
    if low is not None and elevation_deg <= 0.0:
        return Verdict(answer="does not work", reason=low)
    availability = f"at {job.service.availability_percent:g} % availability"
    if job.service.stream_mbps > job.service.up_mbps:
        return Verdict(answer="does not work", reason=over_booked(job))
    dark = [one for one in carried if not one.clear]
    if dark:
        return Verdict(answer="does not work", reason=f"{_named(dark)} not carried even in clear sky.")
    short = [one for one in carried if not one.at_availability]
    if short:
        answer: Literal["tight", "does not work"] = (
            "does not work" if any(one.service == "stream" for one in short) else "tight"
        )
        return Verdict(answer=answer, reason=f"{_named(short)} carried in clear sky, but not {availability}.")
    thin = [one for one in carried if not one.one_modcod_in_hand]
    if thin:
        return Verdict(
            answer="tight", reason=f"{_named(thin)} carried {availability}, but with no MODCOD in hand."
        )
    if low is not None:
        return Verdict(answer="tight", reason=low)
    return Verdict(
        answer="works", reason=f"all booked rates are carried {availability} with a MODCOD in hand."
    )


def _named(services: list[Carried]) -> str:
    names = " and ".join(f"{one.service} {one.booked_mbps:g} Mbit/s" for one in services)
    return f"{names} {'is' if len(services) == 1 else 'are'}"


def link_findings(
    job: Job, directions: tuple[tuple[Direction, Budget], ...], carried: tuple[Carried, ...]
) -> list[str]:
    """Everything about the links that the crew should know, as sentences."""
    percent = unavailability_percent(job)
    elevation_deg = directions[0][0].link.path.elevation_deg
    grazing = elevation_finding(elevation_deg)
    found = [grazing] if grazing else []
    if elevation_deg <= 0.0:
        return found + hidden_satellite_slips(job)
    found += [sentence for one in carried for sentence in _carried_findings(job, one)]
    for direction, budget in directions:
        found += _direction_findings(job, direction, budget)
        for sentence in propagation.validity_findings(direction.link.path, percent):
            if sentence not in found:
                found.append(sentence)
    back_off_db = job.transmitter.output_back_off_db
    found += off_axis_findings(job)
    found += job_slips(job)
    for direction, budget in directions:
        found += budget_slips(direction.link, budget, back_off_db)
    return found


def _carried_findings(job: Job, carried: Carried) -> list[str]:
    booked = f"The booked {carried.service} rate of {carried.booked_mbps:g} Mbit/s"
    availability = f"{job.service.availability_percent:g} %"
    if not carried.clear:
        return [f"{booked} is not carried even in clear sky."]
    if not carried.at_availability:
        return [f"{booked} is carried in clear sky, but not at {availability} availability."]
    if not carried.one_modcod_in_hand:
        return [f"{booked} is carried at {availability} availability, but with no MODCOD in hand."]
    return []


def _direction_findings(job: Job, direction: Direction, budget: Budget) -> list[str]:
    name, link = direction.link.name, direction.link
    found = []
    if isnan(budget.required_esno_db):
        found.append(
            f"No MODCOD of {job.modem.standard} carries the booked {direction.booked_mbps:g} Mbit/s on the "
            f"{name}'s {link.symbol_rate_msps:g} Msps: book less or a wider carrier."
        )
    return found
