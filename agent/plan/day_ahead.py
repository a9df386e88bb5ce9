"""The sun over the hours of a plan, in short sentences in local time: for the check before the job."""

from dataclasses import dataclass
from datetime import datetime, tzinfo

from agent.link_plan import (
    HeatOutlook,
    LinkPlan,
    SunHour,
    SunPass,
    SunPassEffect,
)
from agent.wording import SAFE_ALL_DAY, SAFE_UNSHADED

COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True, slots=True)
class SiteClock:
    """Writes times of a span at the site: to the minute, with the date when it is not the first one's.

    Where the clocks change within the span, each time stands with its offset from UTC.
    """

    first: datetime
    changes: bool

    @classmethod
    def of(cls, start_unix_s: float, end_unix_s: float, time_zone: tzinfo) -> "SiteClock":
        """The clock of a span of time."""
        first = datetime.fromtimestamp(start_unix_s, time_zone)
        last = datetime.fromtimestamp(end_unix_s, time_zone)
        return cls(first, first.utcoffset() != last.utcoffset())

    def text(self, unix_s: float) -> str:
        """One time."""
        moment = datetime.fromtimestamp(unix_s, self.first.tzinfo)
        date = "" if moment.date() == self.first.date() else moment.strftime(" on %d %B")
        return f"{moment:%H:%M}{self._offset(moment)}{date}"

    def hours(self, end_unix_s: float) -> str:
        """From the first time to this one, with both dates."""
        end = datetime.fromtimestamp(end_unix_s, self.first.tzinfo)
        if self.changes:
            start_text = f"{self.first:%Y-%m-%d %H:%M}{self._offset(self.first)}"
            return f"{start_text} to {end:%Y-%m-%d %H:%M}{self._offset(end)} (the clocks change between)"
        return f"{self.first:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M %Z}"

    def _offset(self, moment: datetime) -> str:
        # The last six characters of ISO 8601 are the offset.
        return f" ({moment.isoformat()[-6:]})" if self.changes else ""


def day_ahead(plan: LinkPlan, time_zone: tzinfo) -> tuple[str, ...]:
    """Sunlight, shade and sun passes of the plan's hours; the next sun pass of the year when these have none.

    Times are those of `time_zone`, with the date where it is not that of the plan's first hour.
    """
    clock = SiteClock.of(plan.start_unix_s, plan.end_unix_s, time_zone)
    return (_sunlight(plan.heat, clock), _shade(plan.heat, clock), *_sky(plan, clock))


def day_at_length(plan: LinkPlan, time_zone: tzinfo) -> tuple[str, ...]:
    """The same with what the advice on shade rests on."""
    clock = SiteClock.of(plan.start_unix_s, plan.end_unix_s, time_zone)
    return (_sunlight(plan.heat, clock), _reason(plan.heat, clock), *_sky(plan, clock))


def _reason(heat: HeatOutlook, clock: SiteClock) -> str:
    """What the advice rests on; its time of day gets a date and an offset where these hours need them."""
    if heat.shade_by_unix_s is None:
        return heat.reason
    plain = datetime.fromtimestamp(heat.shade_by_unix_s, clock.first.tzinfo)
    short = SAFE_UNSHADED.format(until_unix_s=f"{plain:%H:%M}")
    return heat.reason.replace(short, SAFE_UNSHADED.format(until_unix_s=clock.text(heat.shade_by_unix_s)))


def _sky(plan: LinkPlan, clock: SiteClock) -> list[str]:
    """Shade by the skyline, and sun passes."""
    sentences = [
        f"The skyline shades the transmitter from {clock.text(one.start_unix_s)} to "
        f"{clock.text(one.end_unix_s)}."
        for one in plan.horizon.shades
    ]
    sentences += [
        f"{_sun_pass(one, clock)} {surviving(effect, plan.downlink.margin_db, clock)}"
        for one, effect in zip(plan.sun_passes, plan.sun_pass_effects, strict=True)
    ]
    if not plan.sun_passes:
        sentences.append(_next_sun_pass(plan, clock))
    return sentences


def _sunlight(heat: HeatOutlook, clock: SiteClock) -> str:
    sunny = [hour for hour in heat.hours if hour.clear_sunshine_min > 0.0]
    if not sunny:
        return "No sunshine on the transmitter in these hours."
    highest = max(sunny, key=lambda hour: hour.sun_elevation_deg)
    return (
        f"Sun on the transmitter: {heat.sun_hours:.1f} h under a clear sky, {heat.half_cloudy_sun_hours:.1f} "
        f"h half-cloudy; highest in the hour from {clock.text(highest.start_unix_s)}, {_where(highest)}."
    )


def _where(hour: SunHour) -> str:
    direction = COMPASS[round(hour.sun_azimuth_deg / 45.0) % len(COMPASS)]
    return f"{hour.sun_elevation_deg:.0f}° up in the {direction}"


def _shade(heat: HeatOutlook, clock: SiteClock) -> str:
    if heat.shade_by_unix_s is None:
        return f"{SAFE_ALL_DAY}."
    return SAFE_UNSHADED.format(until_unix_s=clock.text(heat.shade_by_unix_s)) + "."


def _sun_pass(one: SunPass, clock: SiteClock) -> str:
    return (
        f"Sun pass {clock.text(one.start_unix_s)} to {clock.text(one.end_unix_s)}, deepest at "
        f"{clock.text(one.peak_unix_s)} with {one.depth_db:.1f} dB: leave the dish alone."
    )


def surviving(effect: SunPassEffect, margin_db: float, clock: SiteClock) -> str:
    """What the pass leaves of the downlink; `margin_db` is that of the booked rate in clear sky."""
    allowed = f"an active sun (flux {effect.solar_flux_sfu:.0f})"
    if effect.short_from_unix_s is None or effect.short_to_unix_s is None:
        if not margin_db > 0.0:
            return "The booked downlink is not carried without the sun either."
        worst = f"{effect.modcod}, {effect.rate_mbps:.2f} Mbit/s at worst"
        return (
            f"Nothing happens to the booked rate: {effect.depth_db:.1f} dB with {allowed} is less than the "
            f"margin of {margin_db:.1f} dB ({worst})."
        )
    noticed = f"from {clock.text(effect.short_from_unix_s)} to {clock.text(effect.short_to_unix_s)}"
    if effect.lost_from_unix_s is None or effect.lost_to_unix_s is None:
        return (
            f"With {allowed} lock holds, at {effect.modcod} and {effect.rate_mbps:.2f} Mbit/s at worst; less "
            f"than the booked downlink {noticed}."
        )
    lost = f"from {clock.text(effect.lost_from_unix_s)} to {clock.text(effect.lost_to_unix_s)}"
    return f"With {allowed} lock is lost {lost}, and the stream with it; less than booked {noticed}."


def _next_sun_pass(plan: LinkPlan, clock: SiteClock) -> str:
    later = [one for one in plan.sun_passes_year if one.start_unix_s > plan.end_unix_s]
    if not later:
        return "No sun pass in these hours nor in the next twelve months."
    moment = datetime.fromtimestamp(later[0].peak_unix_s, clock.first.tzinfo)
    return f"No sun pass in these hours; the next one is on {moment.strftime('%d %B %Y')}."
