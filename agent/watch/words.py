"""Decides how everything that the engine says is worded: a template by its code, filled with figures."""

from collections.abc import Mapping

from agent.wording import METRIC, Reader, Said, worded

_HEADLINES = {
    "over-limit": "{where:cap} is over its limit",
    "long-in-sun": "{where:cap} is long in the sun",
    "gets-too-hot": "{where:cap} gets too hot",
    "mispoint": "The dish points off",
    "mispoint-or-rain": "The dish points off, or it rains",
    "sun-pass-now": "Sun pass now",
    "sun-pass-soon": "Sun pass soon",
    "rain": "Rain takes signal",
    "blockage": "Something stands in the beam",
    "stream-not-carried": "The uplink does not carry the stream",
    "lan-loses": "The local network loses data",
    "network-slow": "The network beyond is slow",
    "rate-low": "The rate is low, cause unknown",
    "battery-headline": "Running on battery",
    "input-silent": "An input has gone silent",
    "clock-wrong": "A device has a wrong clock",
    "clock-stepped": "This computer's clock was set",
}
_PEAK_SAFELY = " when the stream can bear it; transmitter off before anybody is in front of it"
_MORE_THAN_SHADE = "The shade alone does not hold the {where}: let air move around it, keep cases off it"
_ACTIONS = {
    "shade-now": "Shade the {where} now; leave its cooling fins and the beam free",
    "shade-over": "Shade the {where} now: it is over its limit. Housings may be hot to the touch",
    "more-than-shade": _MORE_THAN_SHADE,
    "more-than-shade-over": f"{_MORE_THAN_SHADE}; lower the power with the operator's consent",
    "repeak": f"Re-peak the dish{_PEAK_SAFELY}",
    "look-up-then-repeak": f"Look up. Rain: note it, leave the dish. Dry: re-peak{_PEAK_SAFELY}",
    "wait-sun-pass": (
        "Sun pass: do not touch the dish; warn the producer, lower the stream meanwhile if need be"
    ),
    "wait-rain": (
        "Rain fade: do not touch the dish, it comes back with the sky; lower the stream if it breaks up"
    ),
    "free-the-beam": (
        "Look for people, vehicles, a branch or a drone in front of the dish and keep the beam free"
    ),
    "lower-stream": "Lower the stream to {to_mbps}",
    "look-at-lan": (
        "Look at the LAN: cables, switch, Wi-Fi and the encoder's port; leave dish and modem alone"
    ),
    "call-network": "Call the network's desk: the link is fine, the rate is lost beyond the satellite",
    "repeat-test": (
        "Repeat the throughput test by cable at the modem; if it stays low, call the network's desk"
    ),
    "see-to-power": (
        "On battery: see to generator or mains (switch off before touching); end the stream in time"
    ),
    "see-to-input": "See why {input} has gone silent: power, cable, the script that publishes it",
    "keep-clock": "See that this computer keeps the time: a network time service, or a clock with a battery",
    "set-clock": "Set the clock of the device that publishes: its readings carry a wrong time",
}
_EVIDENCE: Mapping[str, str | tuple[str, ...]] = {
    "exposure": "{exposure_s} of sunshine without shade today (rule of thumb: one to two hours)",
    "temperature": "{temperature_degc}, limit {limit_degc:0}",
    "slope": "slope {slope_degc_per_min:+2}",
    "limit-in": "limit in about {planned_s}, at the earliest in {early_s}",
    "heat-loss": "the uplink lost {loss_db} and the downlink nothing: it cuts its power for heat",
    "shade-works": "shade works: falling {fall_degc_per_min}",
    "shade-falls-short": "the shade does not help enough: still rising",
    "below": "{deficit_db} below the reference",
    "below-rain-seen": "{deficit_db} below the reference, rain seen or measured",
    "below-as-turned": ("{loss_db} below the reference", "as a pointing error of {error_deg} costs"),
    "below-now": "{deficit_db} below the reference now",
    "missing-and-dips": (
        "{missing_db} missing", "{dip} short drop in ten minutes", "{dips} short drops in ten minutes",
    ),
    "sun-pass-starts": "the sun passes behind the satellite: it starts in {until_s}, lasts {lasts_s}",
    "sun-pass-under-way": "the sun passes behind the satellite: it is under way, lasts {lasts_s}",
    "sun-pass-depth": (
        "up to {depth_db} will be missing at the middle and come back by themselves",
    ),
    "confidence": "confidence {confidence_share}",
    "carried": "the weakest recent uplink tests carry {carried_mbps:2}",
    "stream-needs": "the stream of {stream_mbps} needs a fifth more than itself",
    "tests": (
        "tests: down {down_mbps:~}", "up {up_mbps:~}", "RTT {rtt_ms:~}", "loss {loss_percent:~}",
    ),
    "rate-share": "{rate_share} of the rate to expect",
    "signal-fine": "signal fine ({deficit_db} off its reference)",
    "signal-not-known": "signal not known",
    "lan-confidence": "confidence {confidence_share}: losses or jitter at an unchanged round-trip time",
    "network-confidence": "confidence {confidence_share}: the round-trip time has grown",
    "no-rate-cause": "no cause found in signal, delay or loss",
    "on-battery": ("running on battery", "{left_s} left"),
    "battery-charge": "battery at {battery_percent}",
    "silent": "nothing from {input} for {silent_s}",
    "readings-missing": "{count} readings missing",
    "clock-set-forward": "the agent's computer was set forward by {by_s}",
    "clock-set-back": "the agent's computer was set back by {by_s}",
    "own-time": "the watch goes on by a time of its own; spans and alerts are not touched",
    "receipt-time": "readings were stamped with the time of their receipt",
    "over": "over after {lasted_s}",
    "put-off-rain": "put off for the rain after {lasted_s}",
    "put-off-sun-pass": "put off for the sun pass after {lasted_s}",
}  # fmt: skip
_CAUSES = {
    "no-edge": "no clear edge",
    "went-within": "{loss_db} went within {within_s}",
    "took": "the loss took {took_s} to come",
    "came-slowly": "the loss came slowly",
    "began-slowly": "it began slowly",
    "steady": "steady for {steady_s}",
    "few-readings": "too few readings since",
    "only-grown": "has only grown for {grown_s}",
    "rain-over-loss-stayed": "the rain is over and the loss has stayed",
    "comes-and-goes": "comes and goes",
    "not-steady": "not steady",
    "less-quiet": "less quiet than before",
    "as-quiet": "as quiet as before",
    "went-before": "losses like it went by themselves before",
    "still-falling": "still falling",
    "knock": "the crew noted a knock just before",
    "gust": "a strong gust just before",
    "rain-seen": "rain seen or measured",
    "gauge-dry": "the rain gauge is dry",
    "gauge-dry-throughout": "the rain gauge was dry all the time",
    "gauge-due": "the rain gauge has not been read since",
    "rained": "it rained during this loss",
    "sky-unknown": "nothing tells whether it rains",
    "above-rain": "more than rain takes at this frequency",
    "cloud-reach": "no more than a thick cloud takes at this frequency",
    "hardly-more-than-cloud": "hardly more than a thick cloud takes at this frequency",
    "sun-behind": "the sun stands behind the satellite now",
    "no-sun-pass": "no sun pass now",
    "own-unrest": "hardly more than the signal's own unrest",
    "sampled-rarely": "sampled too rarely to tell",
    "deeper-than-unnoticed": "deeper than a dish turns unnoticed",
    "only": "only {jump_db}",
    "lock-lost": "lock is lost",
    "more-than-nudge": "{jump_db} is more than a nudge",
    "jump": "{jump_db}",
    "hard-push": "a hard push for a gust",
    "short-drops": "{dips} short drops in ten minutes",
    "too-long-for-beam": "lasts longer than somebody in the beam",
    "uplink-lost": "the uplink lost {uplink_db}, a turned dish would take {mispoint_db}",
}
_SITUATION = {
    "waiting": "Waiting for the first readings",
    "no-signal-yet": "No signal reading yet",
    "signal-unknown": "The signal is not known",
    "peaking": "Peaking under way",
    "no-reference": "Link is up; no reference yet",
    "shade-short": "Steady, but the shade does not help enough",
    "well-shade-works": "All well; shade works: falling {fall_degc_per_min}",
    "below-plan": "Steady, but peaked {below_db} below plan: check polarisation, connectors, obstruction",
    "well": "All well",
    "next-sun-pass": "sun pass in {in_s}",
    "next-limit": "{where} at its limit in {in_s}",
    "next-battery": "battery empty in {in_s}",
}
_SIDES = {"": "", "for": "for: ", "against": "against: "}

TEMPLATES: Mapping[str, str | tuple[str, ...]] = {
    **_HEADLINES,
    **_ACTIONS,
    **_EVIDENCE,
    **_CAUSES,
    **_SITUATION,
}


def text(said: Said, reader: Reader = METRIC) -> str:
    """The sentence for `reader`; KeyError for a code that is not here, or a figure that it lacks."""
    return _SIDES[said.side] + worded(TEMPLATES[said.code], said.figures, reader)
