"""The sheet as one HTML page that needs nothing else; `agent.report.pdf` prints it."""

from collections.abc import Sequence
from importlib.resources import files
from math import isnan
from zoneinfo import ZoneInfo

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from agent.job import Job
from agent.link_plan import Budget, Item, LinkPlan
from agent.plan.aiming import feed_turn
from agent.plan.day_ahead import SiteClock, day_ahead
from agent.plan.present import answer, season_sentence
from agent.sheet.drawings import horizon_view, losses_view, plan_view, side_view
from agent.wording import capital

# Common practice of a set-up, in order; each is ticked.
CHECKS = (
    "Licence and operator's line-up slot at hand, phone charged",
    "Ground level and firm, base ballasted, wind under the dish's limit, no thunder",
    "View to the satellite free (skyline, leaves, vehicles that may come)",
    "Keep-out roped off, transmitter off and isolated until line-up",
    "Power through UPS, earth connected, cables dry",
    "Aim as above, feed turned, receive lock, peaked on Es/N0",
    "Measured Es/N0 written down beside the expected one",
    "Line-up with the operator: cross-polarisation, power, carrier",
    "Rate test up and down, then the stream for ten minutes",
    "Shade up by its time, agent running, crew page on the phones",
)
CONTACTS = (
    "Satellite operator, line-up",
    "Hub or teleport",
    "Producer",
    "Crew leader",
    "Local emergency number",
)
BY_HAND = (
    "Es/N0 down after peaking (dB)",
    "Es/N0 up (dB)",
    "level at the modem (dBm)",
    "transmit power set (dBm)",
)


def sheet_html(plan: LinkPlan, job: Job, rules: str, taken_over: Sequence[tuple[str, str]] = ()) -> str:
    """Two A4 pages: to carry, and the budget.

    `rules` names the rules in force; `taken_over` are the lines for the next crew, without which there are
    lines to fill in.
    """
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    zone = ZoneInfo(job.site.time_zone)
    clock = SiteClock.of(job.day.start_unix_s, job.day.end_unix_s, zone)
    aim = plan.pointing
    diameter_m = job.antenna.diameter_m
    return environment.from_string(_packaged("sheet.html.j2")).render(
        style=Markup(_packaged("sheet.css")),
        plan=plan,
        job=job,
        rules=rules,
        taken_over=taken_over,
        answer=answer(plan),
        reason=capital(plan.verdict.reason),
        season=season_sentence(plan, job),
        hours=clock.hours(job.day.end_unix_s),
        feed=feed_turn(aim, job),
        expected=expected(plan, job),
        sun=day_ahead(plan, zone),
        checks=CHECKS,
        contacts=CONTACTS,
        by_hand=BY_HAND,
        side=Markup(side_view(plan.safety, aim.elevation_deg, diameter_m)),
        above=Markup(plan_view(plan.safety, aim.azimuth_true_deg, aim.elevation_deg, diameter_m)),
        horizon=Markup(horizon_view(plan, clock)),
        down_losses=Markup(losses_view(plan.downlink, "downlink", job.downlink.symbol_rate_msps)),
        up_losses=Markup(losses_view(plan.uplink, "uplink", job.uplink.symbol_rate_msps)),
        rows=budget_rows(plan.items),
    )


def _packaged(name: str) -> str:
    return (files("agent.sheet") / name).read_text(encoding="utf-8")


def expected(plan: LinkPlan, job: Job) -> list[tuple[str, str]]:
    """What a technician's meter and modem should show in clear sky."""
    down, up = plan.downlink, plan.uplink
    service = job.service
    where = "" if up.hub_hop_esno_db is not None else " (at the satellite; the hub reports less)"
    booked = f"{service.down_mbps:g} down, {service.up_mbps:g} up, stream {service.stream_mbps:g} Mbit/s"
    margins = [f"{_text(one.margin_db)} and {_text(one.margin_faded_db)} dB" for one in (down, up)]
    lines = [
        ("Es/N0 down", f"{_text(down.esno_clear_db)} dB, {_carried(down)}"),
        (f"Es/N0 up{where}", f"{_text(up.esno_clear_db)} dB, {_carried(up)}"),
        ("Booked", booked),
        (f"Margin, clear and at {service.availability_percent:g} %", f"down {margins[0]}, up {margins[1]}"),
    ]
    if down.receive_level_dbm is not None:
        lines.insert(0, ("Level at the modem", f"{down.receive_level_dbm:.0f} dBm, this carrier alone"))
    return lines


def _text(value_db: float) -> str:
    return "none" if isnan(value_db) else f"{value_db:.1f}"


def _carried(budget: Budget) -> str:
    return (
        "no link"
        if budget.modcod_clear is None
        else f"{budget.modcod_clear}, {budget.rate_clear_mbps:.2f} Mbit/s"
    )


def budget_rows(items: tuple[Item, ...]) -> list[tuple[str, str, str, str, str]]:
    """Name, symbol, downlink, uplink and unit; both directions share a line where they can."""
    rows: dict[tuple[str, str], dict[str, Item]] = {}
    for item in items:
        if item.part in ("downlink", "uplink"):
            rows.setdefault((item.name, item.symbol), {})[item.part] = item
    found = []
    for (name, symbol), parts in rows.items():
        one = next(iter(parts.values()))
        values = ["" if part not in parts else _value(parts[part]) for part in ("downlink", "uplink")]
        found.append((name, symbol, values[0], values[1], one.unit))
    return found


def _value(item: Item) -> str:
    """Two digits; availabilities three, to which they are rounded down."""
    if isnan(item.value):
        return "not defined"
    return f"{item.value:.3f}" if item.unit == "%" else f"{item.value:.2f}"
