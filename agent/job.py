"""The job: site, satellite, carriers, terminal, service and day, as written in the config file.

Every section is a frozen record whose ranges are `annotated_types` metadata; `agent.config` reads the file
and enforces them. Longitudes are east positive.
"""

from dataclasses import dataclass, field
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
Encapsulation = Literal["none", "GSE", "MPE"]
ReturnStandard = Literal["DVB-S2", "DVB-S2X", "DVB-RCS2", "DVB-RCS2 short bursts"]
Polarisation = Literal["vertical", "horizontal", "circular"]
Name = Annotated[str, MinLen(1), MaxLen(80)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the terminal stands; `obstructions` are pairs of azimuth and elevation of the skyline (deg)."""

    name: Name
    latitude_deg: Latitude
    longitude_deg: Longitude
    height_m: Annotated[float, Interval(ge=-500.0, le=9000.0)]
    time_zone: str
    obstructions: list[list[Annotated[float, Interval(ge=-90.0, le=360.0)]]] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Satellite:
    name: Name
    longitude_deg: Longitude


@dataclass(frozen=True, slots=True, kw_only=True)
class Downlink:
    """The carrier from the satellite to the terminal; `eirp_dbw` toward the site, for this carrier.

    `interference_cn_db` is that of all interference, `intermodulation_cn_db` that of the transponder.
    """

    frequency_ghz: FrequencyGhz
    polarisation: Polarisation
    eirp_dbw: Annotated[float, Interval(ge=-10.0, le=90.0)]
    symbol_rate_msps: SymbolRateMsps
    roll_off: RollOff
    interference_cn_db: CarrierRatioDb | None = None
    intermodulation_cn_db: CarrierRatioDb | None = None
    highest_modcod: Name | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Uplink:
    """The carrier from the terminal to the satellite; `standard` where it is not the modem's.

    `power_control_db` is how much the terminal may raise its power in rain, within its back-off.
    """

    frequency_ghz: FrequencyGhz
    polarisation: Polarisation
    satellite_gt_dbk: Annotated[float, Interval(ge=-40.0, le=40.0)]
    symbol_rate_msps: SymbolRateMsps
    roll_off: RollOff
    interference_cn_db: CarrierRatioDb | None = None
    intermodulation_cn_db: CarrierRatioDb | None = None
    highest_modcod: Name | None = None
    standard: ReturnStandard | None = None
    power_control_db: LossDb | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Antenna:
    """The dish, with `efficiency` or both gains. It is peaked by the downlink: the loss is that of its."""

    diameter_m: Annotated[float, Interval(ge=0.1, le=15.0)]
    pointing_loss_db: LossDb
    efficiency: Efficiency | None = None
    receive_gain_dbi: GainDbi | None = None
    transmit_gain_dbi: GainDbi | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    """The outdoor receiver; with its `gain_db` and the cable's loss the level at the modem is known."""

    noise_temperature_k: Annotated[float, Interval(ge=5.0, le=2000.0)]
    feed_loss_db: LossDb
    gain_db: Annotated[float, Interval(ge=0.0, le=100.0)] | None = None
    cable_loss_db: LossDb | None = None


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
    pilots: bool = False
    encapsulation: Encapsulation = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """What was booked, and the rate of the live stream that has to fit into the uplink.

    `allowance_gb` is what may be sent and received, in powers of ten, before it costs more or slows down.
    """

    down_mbps: RateMbps
    up_mbps: RateMbps
    stream_mbps: RateMbps
    availability_percent: Annotated[float, Interval(ge=90.0, le=99.999)]
    allowance_gb: Annotated[float, Interval(gt=0.0, le=1e6)] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hub:
    """The other end of both carriers, as far as it is known: its way up (downlink) and its way down (uplink).

    `uplink_eirp_dbw`, `uplink_frequency_ghz` and `satellite_gt_dbk` (toward the hub) belong together, as do
    `satellite_eirp_dbw` (of the terminal's carrier, toward the hub), `downlink_frequency_ghz` and `gt_dbk`.
    `losses_db` is what atmosphere and pointing take there.
    """

    uplink_eirp_dbw: Annotated[float, Interval(ge=0.0, le=110.0)] | None = None
    uplink_frequency_ghz: FrequencyGhz | None = None
    satellite_gt_dbk: Annotated[float, Interval(ge=-40.0, le=40.0)] | None = None
    satellite_eirp_dbw: Annotated[float, Interval(ge=-30.0, le=90.0)] | None = None
    downlink_frequency_ghz: FrequencyGhz | None = None
    gt_dbk: Annotated[float, Interval(ge=-10.0, le=60.0)] | None = None
    losses_db: LossDb | None = None
    latitude_deg: Latitude | None = None
    longitude_deg: Longitude | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """The hours of the job, Unix seconds, `start_unix_s` before `end_unix_s`, and the weather expected then.

    `air_degc` is the day's highest air temperature, `humidity_percent` the humidity that goes with it,
    `solar_flux_sfu` the sun's flux at 10.7 cm (1e-22 W/m2/Hz).
    """

    start_unix_s: float
    end_unix_s: float
    air_degc: Annotated[float, Interval(ge=-60.0, le=60.0)] | None = None
    humidity_percent: Annotated[float, Interval(ge=0.0, le=100.0)] | None = None
    solar_flux_sfu: Annotated[float, Interval(ge=60.0, le=400.0)] | None = None


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
    hub: Hub | None = None
