"""The terminal's physics: link budget, pointing, sun noise, rain scaling and heat."""

from dataclasses import dataclass

import numpy as np

from agent.job import Job
from tests.simulate.sky import FloatArray, Sky, satellite_angles, separation_deg

BOLTZMANN_DB = 228.6  # -10 log10 of 1.380649e-23 J/K.
LIGHT_M_S = 299_792_458.0
SCALING_HOLDS_GHZ = 7.0
C_BAND_RAIN_SCALE = 9.0  # ITU-R P.838-3 at 40 mm/h: 0.236 dB/km at 6.2 GHz over 0.026 dB/km at 4.0 GHz
RAIN_TEMPERATURE_K = 275.0  # Medium temperature of rain, ITU-R P.618 (from memory).
SKY_AND_GROUND_K = 24.0  # Clear sky and spillover into a small offset dish (common practice).
AMBIENT_K = 290.0
SUN_DISC_DEG = 0.53
HEAT_STEP_S = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Hardware:
    """How this very terminal differs from its data sheet, and how it warms.

    Rises are steady values above the air: `sun_rise_k` for 1,000 W/m2 in the sun, `loss_rise_k` by its own
    heat when sending. `shade_share` of the sun's rise remains under a shade. `derating_db_k` is the fall of
    the sent power for each kelvin above five below the limit; above `trip_k` over the limit it shuts down.
    `levelling_db` is by how much the network lets it send more to make up for a loss of the uplink.
    """

    down_offset_db: float = 0.0
    up_offset_db: float = 0.0
    drift_db: float = 0.0
    drift_hour: float = 6.0
    sun_rise_k: float = 15.0
    loss_rise_k: float = 12.0
    heating_tau_s: float = 2100.0
    shade_share: float = 0.2
    derating_db_k: float = 0.12
    trip_k: float = 12.0
    levelling_db: float = 0.0
    modem_rise_k: float = 9.0
    modem_sun_rise_k: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """What the geometry and the equipment give in clear sky, perfectly pointed, in dB and degrees."""

    down_esno_db: float
    up_esno_db: float
    down_beam_deg: float
    up_beam_deg: float
    system_k: float
    azimuth_deg: float
    elevation_deg: float
    rtt_ms: float
    rain_scale: float


def link_of(job: Job, hardware: Hardware) -> Link:
    """A plain link budget (equations of any satellite handbook) with the terminal's own offsets."""
    azimuth_deg, elevation_deg, distance_m = satellite_angles(job.site, job.satellite.longitude_deg)
    feed = 10.0 ** (-job.receiver.feed_loss_db / 10.0)
    gas_db, gas_up_db = (
        _gas_db(carrier.frequency_ghz, elevation_deg) for carrier in (job.downlink, job.uplink)
    )
    sky_k = SKY_AND_GROUND_K + RAIN_TEMPERATURE_K * (1.0 - 10.0 ** (-gas_db / 10.0))
    system_k = sky_k * feed + AMBIENT_K * (1.0 - feed) + job.receiver.noise_temperature_k
    gain_down = _gain_dbi(job, job.downlink.frequency_ghz, job.antenna.receive_gain_dbi)
    gain_up = _gain_dbi(job, job.uplink.frequency_ghz, job.antenna.transmit_gain_dbi)
    down = (
        job.downlink.eirp_dbw - _path_db(job.downlink.frequency_ghz, distance_m) - gas_db
        + gain_down - job.receiver.feed_loss_db - 10.0 * np.log10(system_k)
        - job.antenna.pointing_loss_db + BOLTZMANN_DB - 10.0 * np.log10(job.downlink.symbol_rate_msps * 1e6)
    )  # fmt: skip
    sent_dbw = (
        10.0 * np.log10(job.transmitter.power_w)
        - job.transmitter.output_back_off_db - job.transmitter.feed_loss_db
    )  # fmt: skip
    up = (
        sent_dbw + gain_up - job.antenna.pointing_loss_db - _path_db(job.uplink.frequency_ghz, distance_m)
        - gas_up_db + job.uplink.satellite_gt_dbk + BOLTZMANN_DB
        - 10.0 * np.log10(job.uplink.symbol_rate_msps * 1e6)
    )  # fmt: skip
    return Link(
        down_esno_db=float(down) + hardware.down_offset_db,
        up_esno_db=float(up) + hardware.up_offset_db,
        down_beam_deg=_beam_deg(job, job.downlink.frequency_ghz),
        up_beam_deg=_beam_deg(job, job.uplink.frequency_ghz),
        system_k=float(system_k),
        azimuth_deg=azimuth_deg,
        elevation_deg=elevation_deg,
        # Up, down, and the same back from a teleport that is about as far, plus what the modems need.
        rtt_ms=float(4.0 * distance_m / LIGHT_M_S * 1000.0) + 60.0,
        rain_scale=rain_scale(job.downlink.frequency_ghz, job.uplink.frequency_ghz),
    )


def _gas_db(frequency_ghz: float, elevation_deg: float) -> float:
    """Oxygen, and vapour with its line near 22 GHz: tenths of a dB at the zenith (rough, common practice)."""
    zenith_db = 0.05 + 0.5 * np.exp(-(((frequency_ghz - 22.2) / 4.0) ** 2))
    return float(zenith_db / np.sin(np.radians(elevation_deg)))


def _beam_deg(job: Job, frequency_ghz: float) -> float:
    """Half-power width, 70 wavelengths over the diameter (handbook rule)."""
    return 70.0 * LIGHT_M_S / (frequency_ghz * 1e9) / job.antenna.diameter_m


def _gain_dbi(job: Job, frequency_ghz: float, stated_dbi: float | None) -> float:
    if stated_dbi is not None:
        return stated_dbi
    if job.antenna.efficiency is None:
        raise ValueError("the antenna has neither gains nor an efficiency")
    across = np.pi * job.antenna.diameter_m * frequency_ghz * 1e9 / LIGHT_M_S
    return float(10.0 * np.log10(job.antenna.efficiency * across**2))


def _path_db(frequency_ghz: float, distance_m: float) -> float:
    return float(20.0 * np.log10(4.0 * np.pi * distance_m * frequency_ghz * 1e9 / LIGHT_M_S))


def combined_db(esno_db: FloatArray, interference_db: float | None) -> FloatArray:
    """Es/N0 with interference counted as noise, dB."""
    if interference_db is None:
        return esno_db
    noise: FloatArray = 10.0 ** (-esno_db / 10.0) + 10.0 ** (-interference_db / 10.0)
    return np.asarray(-10.0 * np.log10(noise))


def pointing_loss_db(error_deg: FloatArray, beam_deg: float) -> FloatArray:
    """Loss of the main lobe, 12 (error / beamwidth)**2 dB, levelling off at 30 dB among the side lobes."""
    return np.minimum(12.0 * (error_deg / beam_deg) ** 2, 30.0)


def pointing_error_deg(loss_db: float, beam_deg: float) -> float:
    """The error that costs `loss_db`, degrees."""
    return float(beam_deg * np.sqrt(loss_db / 12.0))


def rain_scale(down_ghz: float, up_ghz: float) -> float:
    """Uplink over downlink rain attenuation near 1 dB: frequency scaling of ITU-R P.618 (from memory).

    It holds from 7 GHz on; below, attenuation falls much faster with the frequency.
    """
    if down_ghz < SCALING_HOLDS_GHZ:
        return C_BAND_RAIN_SCALE
    down, up = (f * f / (1.0 + 1e-4 * f * f) for f in (down_ghz, up_ghz))
    exponent = 1.12e-3 * np.sqrt(up / down) * down**0.55
    return float((up / down) ** (1.0 - exponent))


def rain_loss_db(attenuation_db: FloatArray, system_k: float) -> FloatArray:
    """Fall of the downlink's Es/N0: the attenuation and the noise that the rain radiates, dB."""
    added_k = RAIN_TEMPERATURE_K * (1.0 - 10.0 ** (-attenuation_db / 10.0))
    return attenuation_db + 10.0 * np.log10(1.0 + added_k / system_k)


def sun_loss_db(sky: Sky, link: Link, frequency_ghz: float, activity: float) -> FloatArray:
    """Fall of the downlink's Es/N0 by the sun in the beam, dB.

    Brightness 120,000 K over the frequency (GHz) to the power 0.75, half of it in one polarisation
    (ITU-R S.1525, from memory), thinned by the beam that is wider than the disc.
    """
    brightness_k = activity * 0.5 * 120_000.0 * frequency_ghz**-0.75
    filled = 1.0 - 2.0 ** (-((SUN_DISC_DEG / link.down_beam_deg) ** 2))
    away_deg = separation_deg(
        sky.sun_azimuth_deg, sky.sun_elevation_deg, link.azimuth_deg, link.elevation_deg
    )
    seen = np.exp(-4.0 * np.log(2.0) * (away_deg / link.down_beam_deg) ** 2)
    clear = 1.0 - 0.5 * sky.cloud
    return np.asarray(10.0 * np.log10(1.0 + brightness_k * filled * seen * clear / link.system_k))


def sent_more_db(lost_db: FloatArray, derating_db: FloatArray, levelling_db: float) -> FloatArray:
    """Sent power over the nominal (dB) where the network levels the uplink, within what heat leaves.

    Closed-loop power control of the earth station, a fade countermeasure of ITU-R S.1061 (from memory).
    """
    return np.minimum(np.clip(lost_db, 0.0, levelling_db), levelling_db - derating_db)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Case temperatures (degC), the uplink's loss by heat (dB) and whether the transmitter sends."""

    transmitter_degc: FloatArray
    modem_degc: FloatArray
    derating_db: FloatArray
    sending: FloatArray


def sun_load_w_m2(sky: Sky) -> FloatArray:
    """Light on a box in the open: the beam on the faces that look at it, and the sky on all."""
    return 0.9 * sky.direct_w_m2 + 0.6 * sky.diffuse_w_m2


def heat_of(sky: Sky, shade: FloatArray, powered: FloatArray, hardware: Hardware, limit_degc: float) -> Heat:
    """First-order warming in steps of ten seconds; `shade` and `powered` are 0 or 1 at each second."""
    every = slice(None, None, HEAT_STEP_S)
    load = sun_load_w_m2(sky)[every] / 1000.0
    remains = 1.0 - (1.0 - hardware.shade_share) * shade[every]
    # Wind carries heat away: a third less rise in a fresh breeze.
    cooled = 1.0 / (1.0 + 0.05 * sky.wind_m_s[every])
    air, on = sky.air_degc[every], powered[every]
    case, sends = np.empty_like(air), np.empty_like(air)
    now, sending = air[0] + 2.0, True
    share = HEAT_STEP_S / hardware.heating_tau_s
    for index in range(len(air)):
        sending = bool(on[index]) and _stays_on(now, sending, limit_degc, hardware)
        sun_k = hardware.sun_rise_k * load[index] * remains[index]
        own_k = hardware.loss_rise_k * (on[index] * 0.3 + 0.7 * sending)
        now += share * (air[index] + (sun_k + own_k) * 1.2 * cooled[index] - now)
        case[index], sends[index] = now, sending
    modem = _first_order(
        air + on * hardware.modem_rise_k + hardware.modem_sun_rise_k * load, hardware.heating_tau_s * 0.6
    )
    over_k = np.maximum(case - (limit_degc - 5.0), 0.0)
    seconds = np.arange(len(sky.air_degc)) / HEAT_STEP_S
    grid = np.arange(len(air))
    return Heat(
        transmitter_degc=np.interp(seconds, grid, case),
        modem_degc=np.interp(seconds, grid, modem),
        derating_db=np.interp(seconds, grid, hardware.derating_db_k * over_k),
        sending=sends[np.minimum(seconds.astype(int), len(sends) - 1)],
    )


def _stays_on(case_degc: float, sending: bool, limit_degc: float, hardware: Hardware) -> bool:
    """The protection opens well above the limit and closes again below it."""
    if sending:
        return case_degc < limit_degc + hardware.trip_k
    return case_degc < limit_degc - 2.0


def _first_order(target: FloatArray, tau_s: float) -> FloatArray:
    out = np.empty_like(target)
    now = target[0] - 3.0
    for index, aim in enumerate(target):
        now += HEAT_STEP_S / tau_s * (aim - now)
        out[index] = now
    return out
