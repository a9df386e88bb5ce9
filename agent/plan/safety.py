"""Safety around the terminal: radio-frequency keep-out in front of the dish, and what else can hurt.

Distances are an estimate for planning; the licence, local codes and measurements come first.
"""

from collections.abc import Sequence
from math import ceil, isfinite

from agent.job import Job
from agent.link_plan import KeepOut, Safety
from agent.plan.cautions import RF_CLOSE_CAUTION, SITE_CAUTIONS, SUN_CAUTION
from agent.plan.exposure_limits import ExposureLimit, exposure_limits
from agent.plan.heat_index import FULL_SUN_K, heat_band, heat_index_degc
from agent.plan.keep_out import Aperture, clear_below_m, keep_out_m, power_density_w_m2

CONTINUOUS_PERCENT = 100.0  # a live stream may keep the carrier on without a break


def safety(
    job: Job,
    transmit_gain_dbi: float,
    elevation_deg: float,
    air_degc: float | None = None,
    humidity_percent: float | None = None,
) -> Safety:
    """Keep-out distances, crew heat (where air temperature and humidity are given) and the usual cautions.

    Distances (m) are rounded up. They hold for the transmitter's rated power: power control or an operator's
    call may use all of it.
    """
    aperture = rated_aperture(job, transmit_gain_dbi)
    limits = exposure_limits(aperture.frequency_ghz)
    public = [limit for limit in limits if limit.people == "general public"]
    occupational = [limit for limit in limits if limit.people == "occupational"]
    clear_m = clear_below_m(aperture, elevation_deg, min(limit.power_density_w_m2 for limit in public))
    heat_degc = None
    if air_degc is not None and humidity_percent is not None:
        heat_degc = float(heat_index_degc(air_degc, humidity_percent))
    return Safety(
        keep_out_m=_farthest_m(aperture, public),
        occupational_m=_farthest_m(aperture, occupational),
        clear_below_m=float(ceil(clear_m)) if isfinite(clear_m) else None,
        heat_index_degc=heat_degc,
        cautions=(
            *_beam_cautions(job, aperture, limits, clear_m),
            RF_CLOSE_CAUTION,
            *SITE_CAUTIONS,
            _heat_caution(heat_degc),
        ),
        keep_outs=tuple(_keep_out(aperture, limit) for limit in limits),
        duty_factor=_duty_percent(job) / 100.0,
        near_field_end_m=aperture.near_field_end_m,
        far_field_start_m=aperture.far_field_start_m,
        surface_w_m2=aperture.surface_w_m2,
        near_field_w_m2=aperture.near_field_w_m2,
        far_field_start_w_m2=float(power_density_w_m2(aperture, aperture.far_field_start_m)),
    )


def rated_aperture(job: Job, transmit_gain_dbi: float) -> Aperture:
    """The dish with the transmitter's rated power: no back-off, a duty only where the job sets one."""
    transmitter = job.transmitter
    at_feed_w = transmitter.power_w * 10.0 ** (-transmitter.feed_loss_db / 10.0)
    return Aperture(
        diameter_m=job.antenna.diameter_m,
        frequency_ghz=job.uplink.frequency_ghz,
        power_w=at_feed_w * _duty_percent(job) / 100.0,
        gain_dbi=transmit_gain_dbi,
    )


def _duty_percent(job: Job) -> float:
    duty_percent = job.transmitter.duty_percent
    return CONTINUOUS_PERCENT if duty_percent is None else duty_percent


def _distance_m(aperture: Aperture, limit: ExposureLimit) -> float:
    return float(ceil(keep_out_m(aperture, limit.power_density_w_m2)))


def _farthest_m(aperture: Aperture, limits: Sequence[ExposureLimit]) -> float:
    return max(_distance_m(aperture, limit) for limit in limits)


def _keep_out(aperture: Aperture, limit: ExposureLimit) -> KeepOut:
    return KeepOut(
        limit=limit.name,
        source=limit.source,
        limit_w_m2=limit.power_density_w_m2,
        distance_m=_distance_m(aperture, limit),
    )


def _beam_cautions(
    job: Job, aperture: Aperture, limits: Sequence[ExposureLimit], clear_m: float
) -> list[str]:
    strictest = min(limits, key=lambda limit: limit.power_density_w_m2)
    distance_m = _distance_m(aperture, strictest)
    limit = f"{strictest.name} limit, {strictest.power_density_w_m2:.1f} W/m2"
    counted = f"Counted with the transmitter's rated {job.transmitter.power_w:g} W{_duty_words(job)}"
    if distance_m == 0.0:
        return [
            (
                f"RF: keep people out of the beam. {counted}, no point in front of the dish has more than "
                f"{aperture.highest_w_m2:.2g} W/m2 ({limit}); between feed and dish there is more."
            )
        ]
    trained_m = _farthest_m(aperture, [limit for limit in limits if limit.people == "occupational"])
    cautions = [
        (
            f"RF: keep people out of the beam up to {distance_m:.0f} m in front of the dish while it "
            f"transmits ({limit}), trained people under an occupational limit up to {trained_m:.0f} m; rope "
            "off the sector and switch off before anyone crosses it."
        ),
        (
            f"RF: {counted[0].lower()}{counted[1:]}, so that power control cannot lengthen the distance; "
            "another carrier frequency, dish or transmitter can: plan again."
        ),
    ]
    return [*cautions, _people_below(distance_m, clear_m)]


def _duty_words(job: Job) -> str:
    duty_percent = job.transmitter.duty_percent
    if duty_percent is None:
        return " without a break and without back-off"
    return (
        f" without back-off, at a duty of {duty_percent:g} % as the config says (it has to hold in every six "
        "minutes)"
    )


def _people_below(distance_m: float, clear_m: float) -> str:
    if clear_m >= distance_m:
        return (
            "RF: the beam does not rise over people's heads within that distance: nobody in front of the "
            "dish, beside the beam included."
        )
    return (
        f"RF: on level ground the beam passes over people from {ceil(clear_m)} m on along the ground; roofs,"
        " balconies, platforms, lifts, slopes and a dish that moves reach into it."
    )


def _heat_caution(heat_degc: float | None) -> str:
    band = None if heat_degc is None else heat_band(heat_degc)
    if band is None:
        return SUN_CAUTION
    name, meaning = band
    return (
        f"{SUN_CAUTION} Heat index {heat_degc:.0f} °C in the shade, {name}: {meaning}. "
        f"Full sun adds up to {FULL_SUN_K:.0f} K."
    )
