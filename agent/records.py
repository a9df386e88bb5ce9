"""The records that travel through peakshade: readings in, alert events and situations out.

Fields carry their physical range as `annotated_types` metadata; `agent.inputs.payloads` enforces it at the
edge, once for MQTT and once for recorded sessions. Inside, a record is trusted.

Times are Unix seconds. `unix_s` of a reading is the time the engine uses: the sender's own time, or the
receipt time where the sender's clock was refused (then `sent_unix_s` keeps what the sender claimed).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Literal, TypeAlias

from annotated_types import Interval, MaxLen
from typing_extensions import TypeAliasType

from agent.wording import Codes

# A named type, because pydantic cannot resolve a plain alias that contains itself.
JsonValue = TypeAliasType(
    "JsonValue", "None | bool | int | float | str | list[JsonValue] | dict[str, JsonValue]"
)

RatioDb = Annotated[float, Interval(ge=-40.0, le=60.0)]
LevelDbm = Annotated[float, Interval(ge=-200.0, le=80.0)]
Percent = Annotated[float, Interval(ge=0.0, le=100.0)]
RateMbps = Annotated[float, Interval(ge=0.0, le=100_000.0)]
Milliseconds = Annotated[float, Interval(ge=0.0, le=600_000.0)]
Degc = Annotated[float, Interval(ge=-90.0, le=200.0)]
MetresPerSecond = Annotated[float, Interval(ge=0.0, le=150.0)]
# Clocks that were never set err by decades.
Span = Annotated[float, Interval(ge=-1e10, le=1e10)]
Count = Annotated[int, Interval(ge=0, le=2**53)]
Text = Annotated[str, MaxLen(500)]
Place = Annotated[str, MaxLen(32)]

NoteKind = Literal[
    "shade-on",
    "shade-off",
    "peak-start",
    "peak-done",
    "stream-start",
    "stream-stop",
    "rain",
    "rain-over",
    "moved",
    "accept-level",
    "undo",
    "other",
]
# Read off a screen by a person.
ByHand = Literal["manual"]
Method = Literal["active", "passive", "manual"]
PowerSource = Literal["mains", "generator", "battery"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What every reading has. `extra` holds the fields of the message that peakshade does not know."""

    unix_s: float
    sent_unix_s: float | None = None
    extra: Mapping[str, JsonValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal(Reading):
    """What the modem says about its link. At least one field besides modcod and method.

    A modem without lock mostly reports `locked` alone. `method` is there where a person read it.
    """

    esno_db: RatioDb | None = None
    cn_db: RatioDb | None = None
    quality_percent: Percent | None = None
    locked: bool | None = None
    rx_level_dbm: LevelDbm | None = None
    tx_power_dbm: LevelDbm | None = None
    uplink_esno_db: RatioDb | None = None
    modcod: Text | None = None
    method: ByHand | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Throughput(Reading):
    """One test or measurement of the rate. At least one of down_mbps, up_mbps."""

    method: Method
    down_mbps: RateMbps | None = None
    up_mbps: RateMbps | None = None
    rtt_ms: Milliseconds | None = None
    jitter_ms: Milliseconds | None = None
    loss_percent: Percent | None = None
    bytes_used: Count | None = None
    stream_mbps: RateMbps | None = None
    window_bytes: Count | None = None
    flows: Count | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach(Reading):
    """Echoes from a far host, and from the local gateway. At least one of rtt_ms, loss_percent."""

    rtt_ms: Milliseconds | None = None
    jitter_ms: Milliseconds | None = None
    loss_percent: Percent | None = None
    local_rtt_ms: Milliseconds | None = None
    local_loss_percent: Percent | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperature(Reading):
    """One thermometer; `where` is transmitter, modem, ambient or another word."""

    where: Place
    temperature_degc: Degc


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather(Reading):
    air_degc: Degc | None = None
    rain_mm_h: Annotated[float, Interval(ge=0.0, le=1000.0)] | None = None
    wind_m_s: MetresPerSecond | None = None
    gust_m_s: MetresPerSecond | None = None
    humidity_percent: Percent | None = None
    cloud_percent: Percent | None = None
    irradiance_w_m2: Annotated[float, Interval(ge=0.0, le=2000.0)] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Power(Reading):
    source: PowerSource
    voltage_v: Annotated[float, Interval(ge=0.0, le=1000.0)] | None = None
    battery_percent: Percent | None = None
    runtime_s: Annotated[float, Interval(ge=0.0, le=1e7)] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Note(Reading):
    """What the crew did or saw. `where` says which unit (transmitter, modem); absent: the transmitter.

    `id` is the sender's name for the note; an `undo` has the id of the note that it takes back.
    """

    kind: NoteKind
    id: Text | None = None
    where: Place | None = None
    text: Text | None = None
    by: Text | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledge(Reading):
    """The crew has seen the alert of `rule`; with `snooze_s` it asks for silence so long, for `reason`."""

    rule: Place
    by: Text | None = None
    snooze_s: Annotated[float, Interval(gt=0.0, le=86_400.0)] | None = None
    reason: Text | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockChange(Reading):
    """What the agent found of its own clock: set by so much, and the computer's time less the engine's since.

    `away_s` is how long nobody watched before it; what lay between is not decided (0: nothing). `restarted`:
    the agent has just started, and nothing tells how long that took; what lay before was another run's.
    """

    stepped_s: Span
    offset_s: Span
    away_s: Annotated[float, Interval(ge=0.0, le=1e10)] = 0.0
    restarted: bool | None = None


AnyReading: TypeAlias = (
    ClockChange | Signal | Throughput | Reach | Temperature | Weather | Power | Note | Acknowledge
)

UNDO = "undo"


def without_withdrawn(readings: Iterable[AnyReading]) -> list[AnyReading]:
    """The readings less the notes that were taken back, and the notes that did so."""
    kept = list(readings)
    undone = {one.id for one in kept if isinstance(one, Note) and one.kind == UNDO}
    return [one for one in kept if not isinstance(one, Note) or (one.kind != UNDO and one.id not in undone)]


# Insertion order is the order in which readings of the same time enter the engine.
KINDS: Mapping[str, type[AnyReading]] = {
    "clock": ClockChange,
    "note": Note,
    "acknowledge": Acknowledge,
    "power": Power,
    "weather": Weather,
    "temperature": Temperature,
    "signal": Signal,
    "throughput": Throughput,
    "reach": Reach,
}
# What others may publish; of its own clock the agent knows itself.
SENT_KINDS = tuple(kind for kind in KINDS if kind != "clock")
# Sessions name the notes' file in the plural; every other file has its kind's name.
CSV_STEMS: Mapping[str, str] = {kind: "notes" if kind == "note" else kind for kind in KINDS}

Severity = Literal["advise", "act", "urgent"]
# A reminder is sent while nobody has seen the alert; it is no event, and never stored.
AlertState = Literal["raised", "acknowledged", "cleared", "reminder"]
Cause = Literal["mispoint", "rain", "sun-pass", "blockage", "overheat", "lan", "network", "power", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertEvent:
    """One change of one rule's alert. `evidence` is sentences for the crew, `figures` the numbers behind.

    `said` has action and evidence as codes and figures, for who reads other units; what is not there was said
    in English alone.
    `confidence` (0 to 1) is that in the cause; absent where the rule weighs no causes.
    """

    unix_s: float
    rule: str
    severity: Severity
    state: AlertState
    cause: Cause
    action: str
    evidence: tuple[str, ...]
    figures: Mapping[str, float]
    deadline_unix_s: float | None = None
    confidence: Annotated[float, Interval(ge=0.0, le=1.0)] | None = None
    said: Codes = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ActiveAlert:
    """An alert that stands now: the event that raised it or last changed it, and since when it stands."""

    since_unix_s: float
    event: AlertEvent
    acknowledged: bool
    snoozed_until_unix_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """The engine's whole answer at one moment, for the crew's page and the status command.

    `level` is "fine", a severity, or "unknown" (too little data to say). `figures` holds what was measured
    and expected; a key that cannot be known is absent. `said` has verdict, action and next event as codes and
    figures, as in an event.
    """

    unix_s: float
    level: Literal["unknown", "fine", "advise", "act", "urgent"]
    verdict: str
    cause: Cause
    action: str
    deadline_unix_s: float | None
    next_event: str | None
    next_event_unix_s: float | None
    alerts: tuple[ActiveAlert, ...]
    last_seen_unix_s: Mapping[str, float]
    figures: Mapping[str, float]
    said: Codes = field(default_factory=dict)
