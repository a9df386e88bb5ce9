"""What is the matter, in a few words that can be read at arm's length; what to do stands in the advice."""

from collections.abc import Mapping

from agent.watch.features import View
from agent.watch.heat_watch import UnitView

_SENTENCES: Mapping[str, str] = {
    "repeak": "The dish points off",
    "wait-rain": "Rain takes signal",
    "blockage": "Something stands in the beam",
    "lower-stream": "The uplink does not carry the stream",
    "look-at-lan": "The local network loses data",
    "call-network": "The network beyond is slow",
    "throughput-low": "The rate is low, cause unknown",
    "on-battery": "Running on battery",
    "no-data": "An input has gone silent",
    "clock-wrong": "A device has a wrong clock",
}


def headline(rule: str, view: View) -> str:
    """The short sentence for the alert of `rule` as things stand in `view`."""
    if rule == "shade":
        return _heat(view.heat.worst)
    if rule == "repeak" and view.signal.may_be_rain:
        return "The dish points off, or it rains"
    if rule == "wait-sun-pass":
        return "Sun pass now" if view.signal.sun_pass_now else "Sun pass soon"
    return _SENTENCES[rule]


def _heat(unit: UnitView) -> str:
    name = unit.where.capitalize()
    if unit.margin_degc <= 0.0:
        return f"{name} is over its limit"
    if unit.to_limit is None and not unit.shaded:
        return f"{name} is long in the sun"
    return f"{name} gets too hot"
