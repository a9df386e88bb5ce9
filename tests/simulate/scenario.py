"""What an invented day is made of: job, weather, terminal, sensors, crew and episodes."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from agent.job import Job
from tests.simulate.sky import SkyKind
from tests.simulate.terminal import Hardware

# Times of episodes are seconds after the start of the day.


@dataclass(frozen=True, slots=True, kw_only=True)
class Mispoint:
    """The dish moves: by a `gust`, by a `knock`, or as a `slide` over `over_s`, until the downlink has lost
    `loss_db`; the crew peaks `mended_after_s` later (None: never that day)."""

    how: Literal["gust", "knock", "slide"]
    at_s: float
    loss_db: float
    over_s: float = 2.0
    toward_deg: float = 40.0
    mended_after_s: float | None = 900.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rain:
    """A shower that takes `peak_db` from the downlink at its typical worst."""

    at_s: float
    lasts_s: float
    peak_db: float
    rate_mm_h: float
    noted_after_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Blockage:
    """Something stands in the beam: a `truck`, `people` walking through, or a `tree` in the wind."""

    what: Literal["truck", "people", "tree"]
    at_s: float
    lasts_s: float
    depth_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LanTrouble:
    """A bad cable or radio hop on site: packets are lost before they reach the modem."""

    at_s: float
    lasts_s: float
    loss_percent: float
    rate_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Congestion:
    """The network beyond the satellite is full: queues and little room."""

    at_s: float
    lasts_s: float
    added_rtt_ms: float
    rate_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """The generator stops and the battery carries on."""

    at_s: float
    lasts_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reboot:
    """The modem restarts: silent at first, then on line again after one to two minutes."""

    at_s: float
    lasts_s: float = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StuckSensor:
    """The readings of one kind repeat their value."""

    kind: Literal["transmitter", "signal"]
    at_s: float
    lasts_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingInput:
    """The readings of one kind stop coming."""

    kind: Literal["signal", "temperature", "throughput", "weather", "power"]
    at_s: float
    lasts_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockJump:
    """A sender's clock is wrong by `by_s`; its readings are stamped with the time of receipt."""

    kind: Literal["signal", "temperature", "throughput", "weather"]
    at_s: float
    lasts_s: float
    by_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LateBurst:
    """Readings are held back and arrive together at the end, the newest first where `shuffled`."""

    kind: Literal["signal", "temperature", "throughput"]
    at_s: float
    lasts_s: float
    shuffled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Duplicates:
    """Each reading comes twice."""

    kind: Literal["signal", "temperature", "throughput"]
    at_s: float
    lasts_s: float


Episode: TypeAlias = (
    Mispoint
    | Rain
    | Blockage
    | LanTrouble
    | Congestion
    | Outage
    | Reboot
    | StuckSensor
    | MissingInput
    | ClockJump
    | LateBurst
    | Duplicates
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensors:
    """What is measured, how often, how finely and how noisily.

    `quality` says how the modem reports the carrier: Es/N0, C/N, a percentage, or one of five steps. A step
    of None means that there is no such sensor.
    """

    signal_step_s: float = 1.0
    other_step_s: float = 10.0
    quality: Literal["esno", "cn", "percent", "five"] = "esno"
    resolution_db: float = 0.1
    noise_db: float = 0.1
    scintillation_db: float = 0.05
    scintillation_tau_s: float = 8.0
    slow_noise_db: float = 0.05
    uplink_reported: bool = True
    transmit_power_reported: bool = False
    power_reported: bool = True
    weather_station: bool = True
    rain_gauge: bool = True
    throughput: bool = True
    temperature: bool = True
    test_step_s: float = 1200.0
    window_bytes: int = 262_144
    flows: int = 4
    time_jitter_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """What the crew does by itself. Shade comes `shade_at_s` after the start, or `shade_delay_s` after the
    transmitter is `shade_margin_k` below its limit; None of both: never."""

    peak_start_s: float = 240.0
    peak_done_s: float = 600.0
    stream_start_s: float = 1500.0
    stream_stop_before_end_s: float = 900.0
    shade_at_s: float | None = None
    shade_margin_k: float | None = None
    shade_delay_s: float = 600.0
    peaking_s: float = 240.0
    names: tuple[str, ...] = ("Nell", "Tomo")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """An invented day; `job.day` says from when to when. `peak_residual_db` is lost after any peaking."""

    name: str
    title: str
    story: str
    job: Job
    sky: SkyKind
    hardware: Hardware = Hardware()
    sensors: Sensors = Sensors()
    crew: Crew = Crew()
    episodes: tuple[Episode, ...] = ()
    peak_residual_db: float = 0.1
