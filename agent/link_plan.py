"""The link plan: what `agent.planning.compute` found, in the form that is stored and that the watch reads.

Light on purpose: the live agent imports this module and none of the libraries that computed the plan.
"""

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Literal, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

PartT = TypeVar("PartT", bound="DataclassInstance")

# A sun pass starts and ends at this loss: the least that a modem with a resolution of 0.1 dB shows surely.
SUN_PASS_THRESHOLD_DB = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseTilt:
    """The largest error that a base out of level by `tilt_deg` makes in each angle (deg)."""

    tilt_deg: float
    azimuth_deg: float
    elevation_deg: float
    on_sky_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointing:
    """Where to point; `feed_rotation_deg` is the least turn of a linear feed, clockwise seen from the dish.

    `declination_uncertainty_deg` is one standard deviation, None outside the model's years.
    """

    azimuth_true_deg: float
    azimuth_magnetic_deg: float
    elevation_deg: float
    polarisation_skew_deg: float
    slant_range_km: float
    one_way_delay_ms: float
    round_trip_delay_ms: float
    feed_rotation_deg: float
    declination_deg: float
    declination_uncertainty_deg: float | None
    base_tilts: tuple[BaseTilt, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """One direction. `gt_dbk` is that of the receiving end, `eirp_dbw` that of the sending end.

    "Clear" is gas alone, "faded" the total attenuation (`fade_db`) at the service's availability, whose
    parts are gas, cloud, rain and scintillation. `rain_rate_mm_h` is exceeded for 0.01 % of a year (P.837),
    `rain_at_rate_db` the rain attenuation while it falls (P.618), which grows with the rate to the power of
    `rain_exponent` (P.838). `rate_*_mbps` is 0 and `modcod_*` None where the link does not close. `margin_db`
    is the clear-sky Es/N0 above what the booked rate needs, NaN where no MODCOD carries that. Every value is
    NaN that a satellite below the horizon leaves undefined. `system_noise_k` is None for the satellite's end.
    `availability_*_percent` is that at which the link just closes, or just carries the booked rate; NaN where
    it never does. `beamwidth_deg` is the dish's full half-power width at the carrier.

    Es/N0 is that at the end of both hops where `hub_hop_esno_db` is known, else the uplink's is at the
    satellite's input. `eb_n0_clear_db` is for the MODCOD in clear sky (NaN without), `cn_occupied_db` in the
    occupied bandwidth, `receive_level_dbm` at the modem (None where the config does not say what lies
    between). `limited_by` power: more of it would carry more at the availability; bandwidth: the highest
    MODCOD is in use. `largest_symbol_rate_msps` is what the power then supports at the booked rate's MODCOD.
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
    pointing_loss_db: float
    polarisation_loss_db: float
    gas_clear_db: float
    fade_db: float
    rain_at_rate_db: float
    rain_exponent: float
    cross_polar_db: float
    system_noise_faded_k: float | None
    gt_faded_dbk: float
    cn0_faded_dbhz: float
    interference_cn_db: float | None
    intermodulation_cn_db: float | None
    hub_hop_esno_db: float | None
    eb_n0_clear_db: float
    cn_occupied_db: float
    receive_level_dbm: float | None
    limited_by: Literal["power", "bandwidth"]
    largest_symbol_rate_msps: float
    required_esno_db: float
    margin_faded_db: float
    availability_closes_percent: float
    availability_booked_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """Is a booked rate carried in clear sky, at the availability, and there with one MODCOD in hand?"""

    service: str
    booked_mbps: float
    clear: bool
    at_availability: bool
    one_modcod_in_hand: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """The rates after one change (Mbit/s), and what it costs at the availability (negative: it gains)."""

    change: str
    down_clear_mbps: float
    down_faded_mbps: float
    up_clear_mbps: float
    up_faded_mbps: float
    down_cost_mbps: float
    up_cost_mbps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AvailabilityCurve:
    """Es/N0 (dB) and rate (Mbit/s) of both directions over availability (percent, rising)."""

    availability_percent: tuple[float, ...]
    down_esno_db: tuple[float, ...]
    up_esno_db: tuple[float, ...]
    down_mbps: tuple[float, ...]
    up_mbps: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """The service's availability of the job's month alone (1 to 12), by that month's rain.

    `rain_rate_mm_h` is exceeded for 0.01 % of the month. Rates are 0, and margins of the booked rates NaN, as
    in `Budget`.
    """

    month: int
    rain_rate_mm_h: float
    down_mbps: float
    up_mbps: float
    down_margin_db: float
    up_margin_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPass:
    """The sun behind the satellite: the loss of C/N0 over time.

    It is SUN_PASS_THRESHOLD_DB at start and end, and `depth_db`, which is more, at the peak.
    """

    start_unix_s: float
    peak_unix_s: float
    end_unix_s: float
    depth_db: float


def by_engine_clock(plan: "LinkPlan", offset_s: float) -> "LinkPlan":
    """The plan for an engine whose time is so much behind the true time (s, negative: ahead of it)."""
    if offset_s == 0.0:
        return plan
    return replace(
        plan,
        sun_passes=tuple(_earlier(one, offset_s) for one in plan.sun_passes),
        sun_pass_effects=tuple(_earlier(one, offset_s) for one in plan.sun_pass_effects),
        heat=replace(plan.heat, sunshine=_earlier(plan.heat.sunshine, offset_s)),
    )


def _earlier(part: PartT, offset_s: float) -> PartT:
    """The same with all its times so much earlier (s)."""
    times = {item.name: getattr(part, item.name) for item in fields(part) if item.name.endswith("_unix_s")}
    return replace(part, **{name: time - offset_s for name, time in times.items() if time is not None})


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPassEffect:
    """What a sun pass leaves of the downlink in clear sky, with the sun's flux at 10.7 cm (sfu) allowed for.

    At the peak: loss of C/N0, Es/N0, MODCOD (None: lock is lost) and rate. `short_*` is when the booked rate
    is not carried, `lost_*` when lock is lost; None where that does not happen.
    """

    peak_unix_s: float
    depth_db: float
    solar_flux_sfu: float
    esno_db: float
    modcod: str | None
    rate_mbps: float
    short_from_unix_s: float | None
    short_to_unix_s: float | None
    lost_from_unix_s: float | None
    lost_to_unix_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sunshine:
    """Clear-sky irradiance at the site, one value each `step_s` from `start_unix_s` on (W/m2)."""

    start_unix_s: float
    step_s: float
    direct_normal_w_m2: tuple[float, ...]
    global_horizontal_w_m2: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPath:
    """Where the sun stands at the site, one value each `step_s` from `start_unix_s` on (deg, true north)."""

    start_unix_s: float
    step_s: float
    azimuth_deg: tuple[float, ...]
    elevation_deg: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """A time in the job's hours in which the skyline stands between sun and transmitter."""

    start_unix_s: float
    end_unix_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Horizon:
    """The skyline as pairs of azimuth and elevation (deg), and what it hides.

    `clearance_deg` is from the skyline to the lower edge of the downlink's beam, negative where it is blocked
    or grazed, None where no skyline was given.
    """

    obstructions: tuple[tuple[float, float], ...]
    clearance_deg: float | None
    shades: tuple[Shade, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SunHour:
    """One hour of the job (or its rest): where the sun stands in its middle, and the sunshine in it.

    Sunshine is direct beam over the WMO threshold; `half_cloudy` is a day with half of the sky covered.
    """

    start_unix_s: float
    sun_azimuth_deg: float
    sun_elevation_deg: float
    clear_sunshine_min: float
    half_cloudy_sunshine_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatOutlook:
    """Sun and heat on the outdoor transmitter during the job, under a clear sky unless said otherwise.

    `shade_by_unix_s` is when the shade should be up (None: not needed), `safe_unshaded_min` how long an
    unshaded start does no harm (None: the whole job). The temperatures come from the thermal model's defaults
    at `air_degc`, which is an assumption where `air_assumed`; they err by several kelvins.
    """

    sun_hours: float
    shade_advised: bool
    reason: str
    sunshine: Sunshine
    sun_path: SunPath
    half_cloudy_sun_hours: float
    hours: tuple[SunHour, ...]
    air_degc: float
    air_assumed: bool
    transmitter_limit_degc: float
    transmitter_peak_unshaded_degc: float
    transmitter_peak_shaded_degc: float
    shade_by_unix_s: float | None
    safe_unshaded_min: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOut:
    """How far in front of the dish, along the beam, one exposure limit may be exceeded (m, rounded up).

    0 only where even the dish's surface stays well under the limit.
    """

    limit: str
    source: str
    limit_w_m2: float
    distance_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Safety:
    """`keep_out_m` is the farthest of the general-public `keep_outs`, `occupational_m` of the others.

    People on level ground are below the beam from `clear_below_m` on (None: nowhere). All is counted with the
    transmitter's rated power. The power densities (W/m2, averaged with the duty factor) are those at the
    dish's surface, the highest on the near field's axis (up to `near_field_end_m`) and that where the far
    field starts.
    """

    keep_out_m: float
    occupational_m: float
    clear_below_m: float | None
    heat_index_degc: float | None
    cautions: tuple[str, ...]
    keep_outs: tuple[KeepOut, ...]
    duty_factor: float
    near_field_end_m: float
    far_field_start_m: float
    surface_w_m2: float
    near_field_w_m2: float
    far_field_start_w_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One line of the budget, with where its method or number comes from; `part` groups the lines."""

    part: str
    name: str
    symbol: str
    value: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """`answer` for the booked rates; `reason` in one sentence."""

    answer: Literal["works", "tight", "does not work"]
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPlan:
    """`sun_passes`, their effects and `heat` cover the span, `sun_passes_year` twelve months from its start.

    `worst_month_percent` is the availability of the year's worst month where the year has the service's.
    """

    terminal: str
    start_unix_s: float
    end_unix_s: float
    verdict: Verdict
    pointing: Pointing
    downlink: Budget
    uplink: Budget
    carried: tuple[Carried, ...]
    what_if: tuple[WhatIf, ...]
    availability: AvailabilityCurve
    worst_month_percent: float
    season: Season
    sun_passes: tuple[SunPass, ...]
    sun_pass_effects: tuple[SunPassEffect, ...]
    sun_passes_year: tuple[SunPass, ...]
    heat: HeatOutlook
    horizon: Horizon
    safety: Safety
    items: tuple[Item, ...]
    findings: tuple[str, ...]
