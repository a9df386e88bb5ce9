"""What to tell the crew when a rule speaks: cause, action, evidence in words, and the numbers behind."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.antenna import pointing_error_deg
from agent.records import Cause
from agent.throughput import STREAM_ALLOWANCE
from agent.watch.causes import SignalCause
from agent.watch.excursion import START_DB
from agent.watch.features import View
from agent.watch.heat_watch import UnitView
from agent.watch.rate import LIKELY
from agent.watch.uplink import carrier_loss_db

SHADE_FALLING_K_PER_MIN = -0.05
SHADE_JUDGED_S = 300.0
SHADE_NEWS_S = 3600.0  # after an hour the shade is the normal state


@dataclass(frozen=True, slots=True)
class Advice:
    """`figures` may hold only finite numbers."""

    cause: Cause
    action: str
    evidence: tuple[str, ...]
    figures: Mapping[str, float]
    deadline_unix_s: float | None = None


def advise(rule: str, view: View, plan: LinkPlan, job: Job) -> Advice:
    """Advice of `rule` as things stand in `view`."""
    advice = _ADVICE[rule](view, plan, job)
    figures = {name: round(value, 4) for name, value in advice.figures.items() if isfinite(value)}
    return Advice(advice.cause, advice.action, advice.evidence, figures, advice.deadline_unix_s)


def minutes(seconds: float) -> str:
    """A span in words: "25 min", "2 h 05 min"."""
    whole = max(0, round(seconds / 60.0))
    return f"{whole} min" if whole < 120 else f"{whole // 60} h {whole % 60:02d} min"


def _for_and_against(view: View, cause: SignalCause) -> tuple[str, ...]:
    weighed = sorted(
        (item for item in view.signal.evidence if item.cause == cause), key=lambda item: -abs(item.weight)
    )
    confidence = view.signal.confidence.get(cause, 0.0)
    return (
        *(f"{'for' if item.weight > 0.0 else 'against'}: {item.words}" for item in weighed if item.weight),
        f"confidence {confidence:.0%}",
    )


def _signal_figures(view: View) -> dict[str, float]:
    signal = view.signal
    return {
        "level_db": signal.level_db,
        "deficit_db": signal.deficit_db,
        "unexplained_db": signal.unexplained_db,
        "sun_loss_db": signal.sun_loss_db,
        "rain_loss_db": signal.rain_loss_db,
        "uplink_loss_db": signal.uplink_loss_db,
        **{f"confidence_{name}": value for name, value in signal.confidence.items()},
    }


def shade_works(unit: UnitView) -> str | None:
    """That the temperature falls under the shade; None while that cannot be judged, or is not so."""
    if not _judged(unit) or unit.slope_k_per_min > SHADE_FALLING_K_PER_MIN:
        return None
    return f"shade works: falling {-unit.slope_k_per_min:.1f} °C a minute"


def shade_falls_short(unit: UnitView) -> str | None:
    """That a shaded unit still warms toward its limit; None where the limit is not in sight."""
    rising = _judged(unit) and unit.slope_k_per_min >= -SHADE_FALLING_K_PER_MIN
    return "the shade does not help enough: still rising" if rising and isfinite(unit.planned_s) else None


def _judged(unit: UnitView) -> bool:
    judged = unit.shaded and SHADE_JUDGED_S <= unit.shade_age_s <= SHADE_NEWS_S
    return judged and isfinite(unit.slope_k_per_min)


def _shade(view: View, plan: LinkPlan, job: Job) -> Advice:
    unit = view.heat.worst
    evidence = [
        f"{minutes(unit.exposure_s)} of sunshine without shade today (rule of thumb: one to two hours)"
    ]
    deadline = None
    figures = {
        "exposure_s": unit.exposure_s,
        "limit_degc": unit.limit_degc,
        "temperature_degc": unit.temperature_degc,
    }
    if isfinite(unit.temperature_degc):
        evidence.insert(0, f"{unit.temperature_degc:.1f} °C, limit {unit.limit_degc:.0f} °C")
    if isfinite(unit.slope_k_per_min):
        evidence.append(f"slope {unit.slope_k_per_min:+.2f} °C a minute")
        figures["slope_k_per_min"] = unit.slope_k_per_min
    if unit.to_limit is not None and isfinite(unit.to_limit.planned_s):
        evidence.append(
            f"limit in about {minutes(unit.to_limit.planned_s)}, "
            f"at the earliest in {minutes(unit.to_limit.early_s)}"
        )
        figures |= {"to_limit_s": unit.to_limit.planned_s, "to_limit_early_s": unit.to_limit.early_s}
        deadline = view.unix_s + unit.to_limit.planned_s
    if view.heat_loss_db >= 0.5:
        evidence.append(
            f"the uplink lost {view.heat_loss_db:.1f} dB and the downlink nothing: it cuts its power for heat"
        )
        figures["heat_loss_db"] = view.heat_loss_db
    evidence.extend(effect for effect in (shade_works(unit), shade_falls_short(unit)) if effect)
    return Advice("overheat", _shade_action(unit), tuple(evidence), figures, deadline)


def _shade_action(unit: UnitView) -> str:
    over = unit.margin_degc <= 0.0
    if unit.shaded:
        more = f"The shade alone does not hold the {unit.where}: let air move around it, keep cases off it"
        return more + ("; lower the power with the operator's consent" if over else "")
    if over:
        return f"Shade the {unit.where} now: it is over its limit. Housings may be hot to the touch"
    return f"Shade the {unit.where} now; leave its cooling fins and the beam free"


def _repeak(view: View, plan: LinkPlan, job: Job) -> Advice:
    loss_db = view.signal.unexplained_db
    turned_db = carrier_loss_db(plan.downlink, loss_db)
    error_deg = float(pointing_error_deg(turned_db, plan.downlink.beamwidth_deg))
    figures = _signal_figures(view) | {"pointing_error_deg": error_deg}
    words = f"{loss_db:.1f} dB below the reference"
    if error_deg < plan.downlink.beamwidth_deg:
        words += f", as a pointing error of {error_deg:.2f}° costs"
    action = "Re-peak the dish"
    if view.signal.may_be_rain:
        action = "Look up. Rain: note it, leave the dish. Dry: re-peak"
    action += " when the stream can bear it; transmitter off before anybody is in front of it"
    return Advice("mispoint", action, (words, *_for_and_against(view, "mispoint")), figures)


def _sun_pass(view: View, plan: LinkPlan, job: Job) -> Advice:
    upcoming = view.signal.next_pass
    if upcoming is None:
        raise ValueError("the sun-pass rule spoke without a pass")
    until_s = upcoming.start_unix_s - view.unix_s
    when = f"starts in {minutes(until_s)}" if until_s > 0.0 else "is under way"
    length = minutes(upcoming.end_unix_s - upcoming.start_unix_s)
    evidence = (
        f"the sun passes behind the satellite: it {when}, lasts {length}",
        f"up to {upcoming.depth_db:.1f} dB will be missing at the middle and come back by themselves",
    )
    figures = {
        "depth_db": upcoming.depth_db,
        "starts_in_s": max(0.0, until_s),
        "sun_loss_db": view.signal.sun_loss_db,
    }
    action = "Sun pass: do not touch the dish; warn the producer, lower the stream meanwhile if need be"
    return Advice("sun-pass", action, evidence, figures, upcoming.end_unix_s)


def _rain(view: View, plan: LinkPlan, job: Job) -> Advice:
    words = f"{view.signal.deficit_db:.1f} dB below the reference"
    if view["rain_hides"] and "rain" not in view.signal.confidence:
        words += ", rain seen or measured"
    action = "Rain fade: do not touch the dish, it comes back with the sky; lower the stream if it breaks up"
    return Advice("rain", action, (words, *_for_and_against(view, "rain")), _signal_figures(view))


def _blockage(view: View, plan: LinkPlan, job: Job) -> Advice:
    dips = int(view["dips"])
    words = f"{view.signal.unexplained_db:.1f} dB missing"
    if dips:
        words += f", {dips} short drop{'s' if dips > 1 else ''} in ten minutes"
    action = "Look for people, vehicles, a branch or a drone in front of the dish and keep the beam free"
    return Advice("blockage", action, (words, *_for_and_against(view, "blockage")), _signal_figures(view))


def _rate_figures(view: View) -> dict[str, float]:
    rate = view.rate
    return {
        "down_mbps": rate.down_mbps,
        "up_mbps": rate.up_mbps,
        "throughput_ratio": rate.ratio,
        "rtt_ms": rate.rtt_ms,
        "loss_percent": rate.loss_percent,
        "headroom_mbps": rate.headroom_mbps,
    }


def _rate_words(view: View) -> tuple[str, ...]:
    rate = view.rate
    pairs = (
        ("down", rate.down_mbps, "Mbit/s"),
        ("up", rate.up_mbps, "Mbit/s"),
        ("RTT", rate.rtt_ms, "ms"),
        ("loss", rate.loss_percent, "%"),
    )
    measured = ", ".join(f"{name} {value:.3g} {unit}" for name, value, unit in pairs if isfinite(value))
    deficit = view.signal.deficit_db
    signal = f"signal fine ({deficit:.1f} dB off its reference)" if isfinite(deficit) else "signal not known"
    return (f"tests: {measured}", f"{rate.ratio:.0%} of the rate to expect", signal)


def _lower_stream(view: View, plan: LinkPlan, job: Job) -> Advice:
    rate = view.rate
    bearable = max(0.1, rate.carried_mbps / STREAM_ALLOWANCE)
    action = f"Lower the stream to {bearable:.1f} Mbit/s"
    evidence = (
        f"the weakest recent uplink tests carry {rate.carried_mbps:.2f} Mbit/s",
        f"the stream of {rate.stream_mbps:.1f} Mbit/s needs a fifth more than itself",
    )
    return Advice(_likeliest(view), action, evidence, _rate_figures(view) | {"stream_to_mbps": bearable})


def _likeliest(view: View) -> Cause:
    sure: list[tuple[float, Cause]] = [(value, cause) for cause, value in view.signal.confidence.items()]
    sure += [(view.rate.lan_confidence, "lan"), (view.rate.network_confidence, "network")]
    likely = [(value, cause) for value, cause in sure if value >= LIKELY]
    return max(likely)[1] if likely else "none"


def _lan(view: View, plan: LinkPlan, job: Job) -> Advice:
    action = "Look at the LAN: cables, switch, Wi-Fi and the encoder's port; leave dish and modem alone"
    words = f"confidence {view.rate.lan_confidence:.0%}: losses or jitter at an unchanged round-trip time"
    return Advice("lan", action, (*_rate_words(view), words), _rate_figures(view))


def _network(view: View, plan: LinkPlan, job: Job) -> Advice:
    action = "Call the network's desk: the link is fine, the rate is lost beyond the satellite"
    words = f"confidence {view.rate.network_confidence:.0%}: the round-trip time has grown"
    return Advice("network", action, (*_rate_words(view), words), _rate_figures(view))


def _throughput(view: View, plan: LinkPlan, job: Job) -> Advice:
    action = "Repeat the throughput test by cable at the modem; if it stays low, call the network's desk"
    return Advice(
        "none", action, (*_rate_words(view), "no cause found in signal, delay or loss"), _rate_figures(view)
    )


def _battery(view: View, plan: LinkPlan, job: Job) -> Advice:
    runtime_s, percent = view["runtime_s"], view["battery_percent"]
    left = f", {minutes(runtime_s)} left" if isfinite(runtime_s) else ""
    evidence = [f"running on battery{left}"]
    if isfinite(percent):
        evidence.append(f"battery at {percent:.0f} %")
    action = "On battery: see to generator or mains (switch off before touching); end the stream in time"
    deadline = view.unix_s + runtime_s if isfinite(runtime_s) else None
    return Advice(
        "power", action, tuple(evidence), {"runtime_s": runtime_s, "battery_percent": percent}, deadline
    )


def _no_data(view: View, plan: LinkPlan, job: Job) -> Advice:
    signal = view["signal_silence"] >= view["other_silence"]
    age_s = view["signal_age_s"] if signal else view["other_age_s"]
    action = f"See why {view.silent} has gone silent: power, cable, the script that publishes it"
    evidence = (
        f"nothing from {view.silent} for {age_s:.0f} s",
        f"{max(view['signal_silence'], view['other_silence']):.0f} readings missing",
    )
    return Advice("none", action, evidence, {"silent_s": age_s})


def _clock(view: View, plan: LinkPlan, job: Job) -> Advice:
    action = "Set the clock of the device that publishes: its readings carry a wrong time"
    evidence = ("readings were stamped with the time of their receipt",)
    return Advice("none", action, evidence, {"refused_ago_s": view["clock_refused_ago_s"]})


_ADVICE: Mapping[str, Callable[[View, LinkPlan, Job], Advice]] = {
    "shade": _shade,
    "repeak": _repeak,
    "wait-sun-pass": _sun_pass,
    "wait-rain": _rain,
    "blockage": _blockage,
    "lower-stream": _lower_stream,
    "look-at-lan": _lan,
    "call-network": _network,
    "throughput-low": _throughput,
    "on-battery": _battery,
    "no-data": _no_data,
    "clock-wrong": _clock,
}


def _ended(rule: str, view: View) -> str:
    still_missing = not view.signal.deficit_db < START_DB
    if rule == "repeak" and still_missing and view.signal.rain_hides:
        return "put off for the rain"
    if rule == "repeak" and still_missing and view.signal.sun_pass_now:
        return "put off for the sun pass"
    return "over"


def after(rule: str, view: View, lasted_s: float) -> tuple[str, ...]:
    """What to say when the alert of `rule` clears after `lasted_s`."""
    words = [f"{_ended(rule, view)} after {minutes(lasted_s)}"]
    if rule == "shade":
        words.extend(effect for effect in map(shade_works, view.heat.units) if effect)
    elif rule in ("repeak", "wait-rain", "blockage", "wait-sun-pass") and isfinite(view.signal.deficit_db):
        words.append(f"{max(0.0, view.signal.deficit_db):.1f} dB below the reference now")
    return tuple(words)
