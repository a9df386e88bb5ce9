"""The whole day second by second: weather, link, heat and network put together, and the crew's shade."""

from dataclasses import dataclass

import numpy as np

from agent.plan.modcod import ladder, rates_mbps
from tests.simulate.episodes import Action, Truth, truth_of
from tests.simulate.scenario import Crew, Scenario
from tests.simulate.sky import FloatArray, Sky, wander, weather_of
from tests.simulate.terminal import (
    Heat,
    Link,
    combined_db,
    heat_of,
    link_of,
    pointing_loss_db,
    rain_loss_db,
    sent_more_db,
    sun_loss_db,
)

# What protocol headers and framing take from the rate of the coded stream (common practice: a tenth).
CARRIED_SHARE = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class PhysicalDay:
    """The truth of one simulated day, arrays with one value a second from `unix_s[0]` on."""

    unix_s: FloatArray
    sky: Sky
    link: Link
    truth: Truth
    heat: Heat
    bare_heat: Heat
    shade: FloatArray
    down_esno_db: FloatArray
    up_esno_db: FloatArray
    sent_more_db: FloatArray
    pointing_db: FloatArray
    sun_db: FloatArray
    down_mbps: FloatArray
    up_mbps: FloatArray
    stream_mbps: FloatArray


def physical_day(scenario: Scenario, rng: np.random.Generator) -> PhysicalDay:
    """The day of the scenario; everything random comes from `rng`."""
    job, hardware = scenario.job, scenario.hardware
    unix_s = np.arange(job.day.start_unix_s, job.day.end_unix_s)
    link = link_of(job, hardware)
    truth = truth_of(scenario, link, rng, len(unix_s))
    sky = weather_of(rng, scenario.sky, unix_s, job.site, truth.rain_share)
    limit_degc = job.transmitter.limit_degc
    bare = heat_of(sky, np.zeros(len(unix_s)), truth.modem_on, hardware, limit_degc)
    shade = _shade(scenario.crew, bare, limit_degc, truth)
    heat = heat_of(sky, shade, truth.modem_on, hardware, limit_degc) if shade.any() else bare
    error_deg = np.hypot(truth.across_deg, truth.up_deg)
    sun_db = sun_loss_db(sky, link, job.downlink.frequency_ghz, scenario.sky.sun_activity)
    down_db, up_db, more_db = _carriers(scenario, link, truth, heat, (unix_s, error_deg, sun_db))
    down_mbps, up_mbps = _rates(scenario, truth, down_db, up_db)
    return PhysicalDay(
        unix_s=unix_s,
        sky=sky,
        link=link,
        truth=truth,
        heat=heat,
        bare_heat=bare,
        shade=shade,
        down_esno_db=down_db,
        up_esno_db=up_db,
        sent_more_db=more_db,
        pointing_db=pointing_loss_db(error_deg, link.down_beam_deg),
        sun_db=sun_db,
        down_mbps=down_mbps,
        up_mbps=up_mbps,
        stream_mbps=_stream(scenario, truth, rng, len(unix_s)),
    )


def _shade(crew: Crew, bare: Heat, limit_degc: float, truth: Truth) -> FloatArray:
    """0 or 1 at each second, and the note that tells of it."""
    shade = np.zeros(len(bare.transmitter_degc))
    at_s = crew.shade_at_s
    if crew.shade_margin_k is not None:
        warm = np.flatnonzero(bare.transmitter_degc > limit_degc - crew.shade_margin_k)
        if len(warm):
            seen_s = float(warm[0]) + crew.shade_delay_s
            at_s = seen_s if at_s is None else min(at_s, seen_s)
    if at_s is not None and at_s < len(shade):
        shade[int(at_s) :] = 1.0
        truth.actions.append(Action(at_s=at_s, kind="shade-on", where="transmitter"))
    return shade


def _carriers(
    scenario: Scenario, link: Link, truth: Truth, heat: Heat, sky: tuple[FloatArray, FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """True Es/N0 of downlink and uplink (-40 where there is none), and the power sent more (dB)."""
    unix_s, error_deg, sun_db = sky
    job, hardware = scenario.job, scenario.hardware
    hour = (unix_s / 3600.0 + job.site.longitude_deg / 15.0) % 24.0
    drift = hardware.drift_db * np.sin(2.0 * np.pi * (hour - hardware.drift_hour) / 24.0)
    down = link.down_esno_db + drift - pointing_loss_db(error_deg, link.down_beam_deg)
    down -= rain_loss_db(truth.rain_db, link.system_k) + sun_db + truth.blocked_db
    lost_up = pointing_loss_db(error_deg, link.up_beam_deg)
    lost_up += truth.rain_db * link.rain_scale + truth.blocked_db - drift
    more = sent_more_db(lost_up, heat.derating_db, hardware.levelling_db)
    up = link.up_esno_db - lost_up + more
    down = combined_db(np.maximum(down, -40.0), job.downlink.interference_cn_db)
    up = combined_db(np.maximum(up, -40.0), job.uplink.interference_cn_db)
    return (
        np.where(truth.modem_on > 0.0, down, -40.0),
        np.where(truth.modem_on * heat.sending > 0.0, up, -40.0),
        more,
    )


def _rates(
    scenario: Scenario, truth: Truth, down_db: FloatArray, up_db: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """What a test with enough flows gets in each direction, Mbit/s."""
    job = scenario.job
    margin_db = job.modem.implementation_margin_db
    room = CARRIED_SHARE * truth.rate_share * (1.0 - truth.lan_loss_percent / 100.0)
    carried = []
    for esno_db, carrier, booked in (
        (down_db, job.downlink, job.service.down_mbps),
        (up_db, job.uplink, job.service.up_mbps),
    ):
        rates = rates_mbps(esno_db, ladder(job.modem.standard, margin_db), carrier.symbol_rate_msps)
        carried.append(np.asarray(np.minimum(rates, booked / CARRIED_SHARE) * room))
    return carried[0], carried[1]


def _stream(scenario: Scenario, truth: Truth, rng: np.random.Generator, count: int) -> FloatArray:
    """What the encoder sends, Mbit/s: about the booked stream, between the crew's notes."""
    on = np.zeros(count)
    for action in sorted(truth.actions, key=lambda action: action.at_s):
        if action.kind in ("stream-start", "stream-stop"):
            on[int(action.at_s) :] = 1.0 if action.kind == "stream-start" else 0.0
    return on * scenario.job.service.stream_mbps * (1.0 + 0.05 * np.clip(wander(rng, count, 5.0), -3.0, 3.0))
