"""The plan as text: the verdict, where to point, when it hurts, what is dangerous, then every line."""

import textwrap
from calendar import month_name
from collections.abc import Iterable, Sequence
from datetime import tzinfo
from math import isnan

from agent.job import Job
from agent.link_plan import Budget, Item, LinkPlan, WhatIf
from agent.plan.aiming import aiming
from agent.plan.day_ahead import SiteClock, day_at_length
from agent.wording import capital

WIDTH = 110
INDENT = "  "
UNDEFINED = "not defined"
MOST_AVAILABLE_PERCENT = 99.999  # where the statistics of ITU-R P.618 end


def plan_text(plan: LinkPlan, job: Job, time_zone: tzinfo) -> str:
    """The whole plan; times are the site's. A satellite below the horizon leaves only what is wrong."""
    if plan.pointing.elevation_deg <= 0.0:
        return "\n".join([*_head(plan, job, time_zone), *_section("Findings", plan.findings)])
    return "\n".join(
        [
            *_head(plan, job, time_zone),
            *_section("Point", aiming(plan.pointing, job)),
            *_section("Carries", _rates(plan, job)),
            *_section("When it hurts", day_at_length(plan, time_zone)),
            *_section("Dangerous", plan.safety.cautions),
            *_section("Findings", plan.findings or ["None."]),
            *_section("What if", []),
            *_what_if(plan.what_if),
            *_items(plan.items),
        ]
    )


def _head(plan: LinkPlan, job: Job, time_zone: tzinfo) -> list[str]:
    clock = SiteClock.of(job.day.start_unix_s, job.day.end_unix_s, time_zone)
    hours = clock.hours(job.day.end_unix_s)
    heading = f"{plan.terminal} to {job.satellite.name} from {job.site.name}, {hours}"
    return [heading, *_wrapped(f"{answer(plan)}: {capital(plan.verdict.reason)}", "")]


def answer(plan: LinkPlan) -> str:
    """The verdict in capitals, and that there is more to read."""
    more = f", with {findings_count(plan)}" if plan.findings else ""
    return plan.verdict.answer.upper() + more


def findings_count(plan: LinkPlan) -> str:
    """How many there are, in words."""
    return f"{len(plan.findings)} finding{'' if len(plan.findings) == 1 else 's'}"


def _section(title: str, sentences: Iterable[str]) -> list[str]:
    lines = ["", title]
    for sentence in sentences:
        lines.extend(_wrapped(sentence, INDENT))
    return lines


def _wrapped(sentence: str, indent: str) -> list[str]:
    return textwrap.wrap(sentence, WIDTH, initial_indent=indent, subsequent_indent=indent + INDENT)


def _rates(plan: LinkPlan, job: Job) -> list[str]:
    availability = f"{job.service.availability_percent:g} % of an average year"
    return [
        _direction("Down", plan.downlink, job.service.down_mbps, job),
        _direction("Up", plan.uplink, job.service.up_mbps, job),
        *power_sentences(plan, job),
        f"{availability} is {plan.worst_month_percent:.2f} % of the worst month (ITU-R P.841).",
        season_sentence(plan, job),
    ]


def season_sentence(plan: LinkPlan, job: Job) -> str:
    """What the rain of the job's own month leaves."""
    found, share = plan.season, f"{job.service.availability_percent:g} %"
    name = month_name[found.month]
    return (
        f"{name} alone: rain over {found.rain_rate_mm_h:.0f} mm/h for 0.01 % of it (of the year: "
        f"{plan.downlink.rain_rate_mm_h:.0f}); at {share} of {name} {found.down_mbps:.2f} Mbit/s down and "
        f"{found.up_mbps:.2f} up, margins {_number(found.down_margin_db, 1)} and "
        f"{_number(found.up_margin_db, 1)} dB (ITU-R P.837 by the month, an estimate)."
    )


def power_sentences(plan: LinkPlan, job: Job) -> list[str]:
    """What a technician's meter shows, and what is left of the transmitter."""
    found = []
    level_dbm = plan.downlink.receive_level_dbm
    if level_dbm is not None:
        found.append(f"Level at the modem: {level_dbm:.0f} dBm in clear sky, this carrier alone.")
    up = plan.uplink
    if not isnan(up.margin_faded_db):
        sign = "left" if up.margin_faded_db >= 0.0 else "short"
        left = f"{abs(up.margin_faded_db):.1f} dB of transmitter {sign}"
        found.append(
            f"The uplink is {up.limited_by}-limited: {left} at the availability, which carries up to "
            f"{up.largest_symbol_rate_msps:.2f} Msps at the booked rate's MODCOD."
        )
    if up.hub_hop_esno_db is None:
        found.append(
            "The uplink's Es/N0 is that at the satellite's input: what the hub reports is lower by its own "
            "hop, which the config does not tell ([hub])."
        )
    return found


def _direction(name: str, budget: Budget, booked_mbps: float, job: Job) -> str:
    availability = f"{job.service.availability_percent:g} %"
    clear, faded = budget.modcod_clear or "no MODCOD", budget.modcod_faded or "no MODCOD"
    return (
        f"{name}: {budget.rate_clear_mbps:.2f} Mbit/s in clear sky ({clear} at Es/N0 "
        f"{_number(budget.esno_clear_db, 1)} dB), {budget.rate_faded_mbps:.2f} at {availability} ({faded} at "
        f"{_number(budget.esno_faded_db, 1)} dB); {booked_mbps:g} booked, margin "
        f"{_number(budget.margin_db, 1)} dB in clear sky and {_number(budget.margin_faded_db, 1)} at "
        f"{availability}; carried for {_share(budget.availability_booked_percent)} of a year, some link for "
        f"{_share(budget.availability_closes_percent)}."
    )


def _share(percent: float) -> str:
    """An availability, which is rounded down and known up to 99.999 %."""
    if isnan(percent):
        return "no part"
    return f"{percent:.3f} %{' or more' if percent >= MOST_AVAILABLE_PERCENT else ''}"


def _number(value: float, digits: int) -> str:
    return UNDEFINED if isnan(value) else f"{value:.{digits}f}"


def _what_if(rows: Sequence[WhatIf]) -> list[str]:
    columns = "".join(f"{way + ' clear':>12}{'faded':>10}{'cost':>8}" for way in ("down", "up"))
    return [
        f"{INDENT}{'Mbit/s':36}{columns}",
        *(
            f"{INDENT}{row.change:36}{row.down_clear_mbps:12.2f}{row.down_faded_mbps:10.2f}{row.down_cost_mbps:8.2f}{row.up_clear_mbps:12.2f}{row.up_faded_mbps:10.2f}{row.up_cost_mbps:8.2f}"
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
