"""The job: site, satellite, carriers, terminal, service and day, as written in the config file.

Every section is a frozen record whose ranges are `annotated_types` metadata; `agent.config` reads the file
and enforces them. Longitudes are east positive.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Interval, MaxLen, MinLen

Latitude = Annotated[float, Interval(ge=-90.0, le=90.0)]
Longitude = Annotated[float, Interval(ge=-180.0, le=180.0)]
FrequencyGhz = Annotated[float, Interval(ge=1.0, le=60.0)]
SymbolRateMsps = Annotated[float, Interval(gt=0.0, le=500.0)]
RollOff = Annotated[float, Interval(ge=0.0, le=0.5)]
CarrierRatioDb = Annotated[float, Interval(ge=-10.0, le=60.0)]
LossDb = Annotated[float, Interval(ge=0.0, le=30.0)]
LimitDegc = Annotated[float, Interval(ge=20.0, le=120.0)]
Efficiency = Annotated[float, Interval(gt=0.0, le=1.0)]
GainDbi = Annotated[float, Interval(ge=0.0, le=80.0)]
RateMbps = Annotated[float, Interval(gt=0.0, le=10_000.0)]
Polarisation = Literal["vertical", "horizontal", "circular"]
Name = Annotated[str, MinLen(1), MaxLen(80)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    name: Name
    latitude_deg: Latitude
    longitude_deg: Longitude
    height_m: Annotated[float, Interval(ge=-500.0, le=9000.0)]
    time_zone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Satellite:
    name: Name
    longitude_deg: Longitude


@dataclass(frozen=True, slots=True, kw_only=True)
class Downlink:
    """The carrier from the satellite to the terminal; `eirp_dbw` toward the site, for this carrier."""

    frequency_ghz: FrequencyGhz
    polarisation: Polarisation
    eirp_dbw: Annotated[float, Interval(ge=-10.0, le=90.0)]
    symbol_rate_msps: SymbolRateMsps
    roll_off: RollOff
    interference_cn_db: CarrierRatioDb | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Uplink:
    """The carrier from the terminal to the satellite."""

    frequency_ghz: FrequencyGhz
    polarisation: Polarisation
    satellite_gt_dbk: Annotated[float, Interval(ge=-40.0, le=40.0)]
    symbol_rate_msps: SymbolRateMsps
    roll_off: RollOff
    interference_cn_db: CarrierRatioDb | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Antenna:
    """The dish: either `efficiency` or both gains."""

    diameter_m: Annotated[float, Interval(ge=0.1, le=15.0)]
    pointing_loss_db: LossDb
    efficiency: Efficiency | None = None
    receive_gain_dbi: GainDbi | None = None
    transmit_gain_dbi: GainDbi | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    noise_temperature_k: Annotated[float, Interval(ge=5.0, le=2000.0)]
    feed_loss_db: LossDb


@dataclass(frozen=True, slots=True, kw_only=True)
class Transmitter:
    """`duty_percent` is the share of any six minutes in which the carrier is on at most."""

    power_w: Annotated[float, Interval(gt=0.0, le=1000.0)]
    output_back_off_db: LossDb
    feed_loss_db: LossDb
    limit_degc: LimitDegc
    duty_percent: Annotated[float, Interval(ge=1.0, le=100.0)] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Modem:
    limit_degc: LimitDegc
    implementation_margin_db: LossDb
    standard: Literal["DVB-S2", "DVB-S2X"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """What was booked, and the rate of the live stream that has to fit into the uplink."""

    down_mbps: RateMbps
    up_mbps: RateMbps
    stream_mbps: RateMbps
    availability_percent: Annotated[float, Interval(ge=90.0, le=99.999)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """The hours of the job, Unix seconds, `start_unix_s` before `end_unix_s`, and the weather expected then.

    `air_degc` is the day's highest air temperature, `humidity_percent` the humidity that goes with it.
    """

    start_unix_s: float
    end_unix_s: float
    air_degc: Annotated[float, Interval(ge=-60.0, le=60.0)] | None = None
    humidity_percent: Annotated[float, Interval(ge=0.0, le=100.0)] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    terminal: str
    site: Site
    satellite: Satellite
    downlink: Downlink
    uplink: Uplink
    antenna: Antenna
    receiver: Receiver
    transmitter: Transmitter
    modem: Modem
    service: Service
    day: Day
