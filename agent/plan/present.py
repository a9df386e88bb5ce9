"""The plan as text: the verdict, where to point, when it hurts, what is dangerous, then every line."""

import textwrap
from collections.abc import Iterable, Sequence
from datetime import tzinfo
from math import isnan

from agent.job import Job
from agent.link_plan import Budget, Item, LinkPlan, WhatIf
from agent.plan.aiming import aiming
from agent.plan.day_ahead import SiteClock, day_ahead

WIDTH = 110
INDENT = "  "
UNDEFINED = "not defined"


def plan_text(plan: LinkPlan, job: Job, time_zone: tzinfo) -> str:
    """The whole plan; times are the site's. A satellite below the horizon leaves only what is wrong."""
    if plan.pointing.elevation_deg <= 0.0:
        return "\n".join([*_head(plan, job, time_zone), *_section("Findings", plan.findings)])
    return "\n".join(
        [
            *_head(plan, job, time_zone),
            *_section("Point", aiming(plan.pointing, job)),
            *_section("Carries", _rates(plan, job)),
            *_section("When it hurts", [*day_ahead(plan, time_zone), plan.heat.reason]),
            *_section("Dangerous", plan.safety.cautions),
            *_section("Findings", plan.findings or ["none"]),
            *_section("What if", []),
            *_what_if(plan.what_if),
            *_items(plan.items),
        ]
    )


def _head(plan: LinkPlan, job: Job, time_zone: tzinfo) -> list[str]:
    clock = SiteClock.of(job.day.start_unix_s, job.day.end_unix_s, time_zone)
    hours = clock.hours(job.day.end_unix_s)
    heading = f"{plan.terminal} to {job.satellite.name} from {job.site.name}, {hours}"
    return [heading, *_wrapped(f"{plan.verdict.answer.upper()}: {plan.verdict.reason}", "")]


def _section(title: str, sentences: Iterable[str]) -> list[str]:
    lines = ["", title]
    for sentence in sentences:
        lines.extend(_wrapped(sentence, INDENT))
    return lines


def _wrapped(sentence: str, indent: str) -> list[str]:
    return textwrap.wrap(sentence, WIDTH, initial_indent=indent, subsequent_indent=indent + INDENT)


def _rates(plan: LinkPlan, job: Job) -> list[str]:
    return [
        _direction("down", plan.downlink, job.service.down_mbps, job),
        _direction("up", plan.uplink, job.service.up_mbps, job),
    ]


def _direction(name: str, budget: Budget, booked_mbps: float, job: Job) -> str:
    availability = f"{job.service.availability_percent:g} %"
    clear, faded = budget.modcod_clear or "no MODCOD", budget.modcod_faded or "no MODCOD"
    return (
        f"{name}: {budget.rate_clear_mbps:.2f} Mbit/s in clear sky ({clear} at Es/N0 "
        f"{_number(budget.esno_clear_db, 1)} dB), {budget.rate_faded_mbps:.2f} at {availability} ({faded} at "
        f"{_number(budget.esno_faded_db, 1)} dB); {booked_mbps:g} booked, margin "
        f"{_number(budget.margin_db, 1)} dB in clear sky; carried for "
        f"{_number(budget.availability_booked_percent, 3)} % of a year, some link for "
        f"{_number(budget.availability_closes_percent, 3)} %"
    )


def _number(value: float, digits: int) -> str:
    return UNDEFINED if isnan(value) else f"{value:.{digits}f}"


def _what_if(rows: Sequence[WhatIf]) -> list[str]:
    columns = "".join(f"{way + ' clear':>12}{'faded':>10}{'cost':>8}" for way in ("down", "up"))
    return [
        f"{INDENT}{'Mbit/s':36}{columns}",
        *(
            f"{INDENT}{row.change:36}{row.down_clear_mbps:12.2f}{row.down_faded_mbps:10.2f}"
            f"{row.down_cost_mbps:8.2f}{row.up_clear_mbps:12.2f}{row.up_faded_mbps:10.2f}{row.up_cost_mbps:8.2f}"
            for row in rows
        ),
    ]


def _items(items: Sequence[Item]) -> list[str]:
    lines: list[str] = []
    part = ""
    for item in items:
        if item.part != part:
            part = item.part
            lines.extend(["", part.capitalize()])
        value = _number(item.value, 3)
        lines.append(f"{INDENT}{item.name:47}{item.symbol:>10}{value:>13} {item.unit:9}{item.source}")
    return lines
