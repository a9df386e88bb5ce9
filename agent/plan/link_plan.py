"""The link plan: what `agent.plan.compute` found, in the form that is stored and that the watch reads.

Light on purpose: the live agent imports this module and none of the libraries that computed the plan.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointing:
    azimuth_true_deg: float
    azimuth_magnetic_deg: float
    elevation_deg: float
    polarisation_skew_deg: float
    slant_range_km: float
    one_way_delay_ms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """One direction. `gt_dbk` is that of the receiving end, `eirp_dbw` that of the sending end.

    `rate_*_mbps` is 0 and `modcod_*` None where the link does not close. `margin_db` is the clear-sky Es/N0
    above what the booked rate needs. `beamwidth_deg` is the dish's full half-power width at the carrier.
    """

    free_space_loss_db: float
    gas_db: float
    cloud_db: float
    scintillation_db: float
    rain_db: float
    rain_rate_mm_h: float
    antenna_gain_dbi: float
    beamwidth_deg: float
    eirp_dbw: float
    system_noise_k: float | None
    gt_dbk: float
    cn0_dbhz: float
    esno_clear_db: float
    esno_faded_db: float
    modcod_clear: str | None
    modcod_faded: str | None
    rate_clear_mbps: float
    rate_faded_mbps: float
    margin_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPass:
    """The sun behind the satellite; the loss follows a bell from `start` over `depth_db` at `peak` to `end`."""

    start_unix_s: float
    peak_unix_s: float
    end_unix_s: float
    depth_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sunshine:
    """Clear-sky irradiance at the site, one value each `step_s` from `start_unix_s` on (W/m2)."""

    start_unix_s: float
    step_s: float
    direct_normal_w_m2: tuple[float, ...]
    global_horizontal_w_m2: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatOutlook:
    sun_hours: float
    shade_advised: bool
    reason: str
    sunshine: Sunshine


@dataclass(frozen=True, slots=True, kw_only=True)
class Safety:
    keep_out_m: float
    heat_index_degc: float | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One line of the budget, with where its method or number comes from."""

    symbol: str
    value: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPlan:
    terminal: str
    pointing: Pointing
    downlink: Budget
    uplink: Budget
    sun_passes: tuple[SunPass, ...]
    heat: HeatOutlook
    safety: Safety
    items: tuple[Item, ...]
    findings: tuple[str, ...]
