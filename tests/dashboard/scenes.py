"""Invented situations of an invented terminal, as the engine would tell them."""

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from agent.records import ActiveAlert, AlertEvent, Situation
from agent.watch.words import text
from agent.wording import Said, codes

TERMINAL = "van-1"
DAY_START_UNIX_S = datetime.fromisoformat("2026-07-18T09:00:00+02:00").timestamp()
NOW_UNIX_S = datetime.fromisoformat("2026-07-18T13:36:00+02:00").timestamp()

FIGURES = {
    "esno_db": 10.4,
    "reference_db": 12.1,
    "plan_esno_db": 12.4,
    "deficit_db": 1.7,
    "unexplained_db": 1.6,
    "up_mbps": 3.2,
    "down_mbps": 3.8,
    "plan_up_mbps": 4.0,
    "stream_mbps": 2.5,
    "transmitter_degc": 51.0,
    "transmitter_limit_degc": 55.0,
    "modem_degc": 38.0,
    "transmitter_exposure_s": 12_960.0,
    "modem_exposure_s": 600.0,
    "sun_w_m2": 860.0,
}
LAST_SEEN_UNIX_S = {
    "signal": NOW_UNIX_S - 2.0,
    "throughput": NOW_UNIX_S - 140.0,
    "temperature transmitter": NOW_UNIX_S - 9.0,
}


def active(event: AlertEvent, acknowledged: bool = False, quiet_s: float | None = None) -> ActiveAlert:
    """The event as an alert that stands since then."""
    quiet_until_unix_s = None if quiet_s is None else NOW_UNIX_S + quiet_s
    return ActiveAlert(
        since_unix_s=event.unix_s,
        event=event,
        acknowledged=acknowledged,
        snoozed_until_unix_s=quiet_until_unix_s,
    )


REPEAK = AlertEvent(
    unix_s=NOW_UNIX_S - 720.0,
    rule="repeak",
    severity="act",
    state="raised",
    cause="mispoint",
    action="Re-peak the dish: azimuth first, small steps.",
    evidence=(
        "Es/N0 is 1.7 dB under the reference, for 12 minutes.",
        "No rain reading, no sun pass: the sky does not explain it.",
    ),
    figures={"unexplained_db": 1.6, "deficit_db": 1.7},
    deadline_unix_s=NOW_UNIX_S + 1500.0,
)
HOT = (
    Said("exposure", {"exposure_s": 12_960.0}),
    Said("temperature", {"temperature_degc": 51.0, "limit_degc": 55.0}),
)
SHADE = AlertEvent(
    unix_s=NOW_UNIX_S - 2600.0,
    rule="shade",
    severity="advise",
    state="raised",
    cause="overheat",
    action="Put the shade over the transmitter.",
    evidence=tuple(map(text, HOT)),
    said=codes(evidence=HOT),
    figures={"transmitter_degc": 51.0, "transmitter_limit_degc": 55.0},
)
LOWER_STREAM = AlertEvent(
    unix_s=NOW_UNIX_S - 60.0,
    rule="lower-stream",
    severity="urgent",
    state="raised",
    cause="mispoint",
    action="Lower the stream to 2.0 Mbit/s.",
    evidence=("The uplink carries 2.2 Mbit/s, the stream needs 2.5.",),
    figures={"headroom_mbps": -0.3},
    deadline_unix_s=NOW_UNIX_S + 240.0,
)


def _scene(level: str, verdict: str, alerts: tuple[ActiveAlert, ...]) -> Situation:
    first = alerts[0].event if alerts else None
    return Situation(
        unix_s=NOW_UNIX_S,
        level=level,
        verdict=verdict,
        cause="none" if first is None else first.cause,
        action="" if first is None else first.action,
        deadline_unix_s=None if first is None else first.deadline_unix_s,
        next_event="sun pass in 40 min",
        next_event_unix_s=NOW_UNIX_S + 2400.0,
        alerts=alerts,
        last_seen_unix_s=LAST_SEEN_UNIX_S,
        figures=FIGURES,
    )


SCENES = {
    "fine": _scene("fine", "The stream is safe", ()),
    "advise": _scene("advise", "The transmitter has been in the sun for long", (active(SHADE),)),
    "act": _scene("act", "The dish has slid off its aim", (active(REPEAK),)),
    "urgent": _scene(
        "urgent",
        "The stream will break: the uplink carries less than it needs",
        (active(LOWER_STREAM), active(REPEAK, acknowledged=True), active(SHADE, quiet_s=900.0)),
    ),
    "unknown": Situation(
        unix_s=NOW_UNIX_S,
        level="unknown",
        verdict="Too little data to say",
        cause="none",
        action="Check that the modem reports its signal.",
        deadline_unix_s=None,
        next_event=None,
        next_event_unix_s=None,
        alerts=(),
        last_seen_unix_s={},
        figures={},
    ),
}


def morning() -> Iterator[Situation]:
    """Minute by minute before the scenes: the dish slides from noon on, ten minutes are missing."""
    for number in range(int((NOW_UNIX_S - DAY_START_UNIX_S) // 60.0)):
        if 190 < number < 201:
            continue
        hours = number / 60.0
        esno_db = 12.1 - 1.2 * max(0.0, hours - 3.2) + 0.1 * math.sin(7.0 * hours)
        figures = {**FIGURES, "esno_db": esno_db}
        yield replace(SCENES["fine"], unix_s=DAY_START_UNIX_S + 60.0 * number, figures=figures)
