"""The sun over the hours of a plan, in short sentences in local time: for the check before the job."""

from datetime import datetime, tzinfo

from agent.link_plan import HeatOutlook, LinkPlan, SunHour, SunPass

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def day_ahead(plan: LinkPlan, time_zone: tzinfo) -> tuple[str, ...]:
    """Sunlight, shade and sun passes of the plan's hours; the next sun pass of the year when these have none.

    Times are those of `time_zone`, with the date where it is not that of the plan's first hour.
    """
    first = datetime.fromtimestamp(plan.start_unix_s, time_zone)
    sentences = [_sunlight(plan.heat, first), _shade(plan.heat, first)]
    sentences += [_sun_pass(one, first) for one in plan.sun_passes]
    if not plan.sun_passes:
        sentences.append(_next_sun_pass(plan, first))
    return tuple(sentences)


def _clock(unix_s: float, first: datetime) -> str:
    """Local time to the minute, with the date when it is another than `first` has."""
    moment = datetime.fromtimestamp(unix_s, first.tzinfo)
    same_day = moment.date() == first.date()
    return moment.strftime("%H:%M" if same_day else "%H:%M on %d %B")


def _sunlight(heat: HeatOutlook, first: datetime) -> str:
    sunny = [hour for hour in heat.hours if hour.clear_sunshine_min > 0.0]
    if not sunny:
        return "No sunshine on the transmitter in these hours."
    highest = max(sunny, key=lambda hour: hour.sun_elevation_deg)
    return (
        f"Sun on the transmitter: {heat.sun_hours:.1f} h under a clear sky, {heat.half_cloudy_sun_hours:.1f} "
        f"h half-cloudy; highest in the hour from {_clock(highest.start_unix_s, first)}, {_where(highest)}."
    )


def _where(hour: SunHour) -> str:
    direction = COMPASS[round(hour.sun_azimuth_deg / 45.0) % len(COMPASS)]
    return f"{hour.sun_elevation_deg:.0f} deg up in the {direction}"


def _shade(heat: HeatOutlook, first: datetime) -> str:
    if heat.shade_by_unix_s is None:
        return "The transmitter needs no shade."
    return f"Shade on the transmitter by {_clock(heat.shade_by_unix_s, first)}."


def _sun_pass(one: SunPass, first: datetime) -> str:
    return (
        f"Sun pass {_clock(one.start_unix_s, first)} to {_clock(one.end_unix_s, first)}, deepest at "
        f"{_clock(one.peak_unix_s, first)} with {one.depth_db:.1f} dB: leave the dish alone."
    )


def _next_sun_pass(plan: LinkPlan, first: datetime) -> str:
    later = [one for one in plan.sun_passes_year if one.start_unix_s > plan.end_unix_s]
    if not later:
        return "No sun pass in these hours nor in the next twelve months."
    moment = datetime.fromtimestamp(later[0].peak_unix_s, first.tzinfo)
    return f"No sun pass in these hours; the next one is on {moment.strftime('%d %B %Y')}."
