"""The two carriers of a job as chains of numbers, and what an atmosphere leaves of them."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from agent.job import Job
from agent.plan import antenna, equations
from agent.plan.companions import Companion, downlink_companions, uplink_companions
from agent.plan.constants import STANDARD_TEMPERATURE_K
from agent.plan.geometry import FloatArray, Numeric
from agent.plan.modcod import Modcod
from agent.plan.propagation import Attenuation, SlantPath
from agent.plan.waveform import downlink_rungs, uplink_rungs

# A small offset dish sees warm ground with a few per cent of its pattern; handbooks give 10 to 50 K for
# antennas above 10 deg of elevation (Maral and Bousquet, section 5.5.3, from memory).
GROUND_SHARE = 0.07
# A feed set by its scale stands within this of the satellite's polarisation (common practice).
FEED_ERROR_DEG = 3.0
CIRCULAR_TILT_DEG = 45.0  # P.838-3: the tilt that stands for circular polarisation

DirectionName = Literal["downlink", "uplink"]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """How the site sees the satellite, and the temperature at which the atmosphere there radiates."""

    elevation_deg: float
    slant_range_km: float
    feed_rotation_deg: float
    radiating_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One direction. The receiving end has either a noise chain (`receiver_noise_k`) or a given G/T.

    `rungs` are the MODCODs worth using, `power_control_db` is what the sending end adds against a fade.
    """

    name: DirectionName
    path: SlantPath
    antenna_gain_dbi: float
    beamwidth_deg: float
    eirp_dbw: float
    free_space_loss_db: float
    pointing_loss_db: float
    polarisation_loss_db: float
    symbol_rate_msps: float
    roll_off: float
    companions: tuple[Companion, ...]
    rungs: tuple[Modcod, ...]
    power_control_db: float
    receive_feed_loss_db: float
    receiver_noise_k: float | None
    satellite_gt_dbk: float
    radiating_k: float

    @property
    def steady_losses_db(self) -> float:
        """What is lost under any sky (dB)."""
        return self.free_space_loss_db + self.pointing_loss_db + self.polarisation_loss_db


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkState:
    """A link under one sky or many: arrays of one shape; `system_noise_k` is NaN at the satellite's end."""

    sky_noise_k: FloatArray
    system_noise_k: FloatArray
    gt_dbk: FloatArray
    cn0_dbhz: FloatArray
    esno_db: FloatArray


def downlink(job: Job, view: View) -> Link:
    """The carrier from the satellite to the terminal."""
    carrier = job.downlink
    gain_dbi = dish_gain_dbi(job, "downlink")
    return Link(
        name="downlink",
        path=_path(job, view, carrier.frequency_ghz, carrier.polarisation, gain_dbi),
        antenna_gain_dbi=gain_dbi,
        beamwidth_deg=float(antenna.beamwidth_deg(job.antenna.diameter_m, carrier.frequency_ghz)),
        eirp_dbw=carrier.eirp_dbw,
        free_space_loss_db=float(equations.free_space_loss_db(view.slant_range_km, carrier.frequency_ghz)),
        pointing_loss_db=job.antenna.pointing_loss_db,
        polarisation_loss_db=polarisation_loss_db(carrier.polarisation),
        symbol_rate_msps=carrier.symbol_rate_msps,
        roll_off=carrier.roll_off,
        companions=downlink_companions(job, view.slant_range_km),
        rungs=downlink_rungs(job),
        power_control_db=0.0,
        receive_feed_loss_db=job.receiver.feed_loss_db,
        receiver_noise_k=job.receiver.noise_temperature_k,
        satellite_gt_dbk=np.nan,
        radiating_k=view.radiating_k,
    )


def uplink(job: Job, view: View) -> Link:
    """The carrier from the terminal to the satellite."""
    carrier, transmitter = job.uplink, job.transmitter
    gain_dbi = dish_gain_dbi(job, "uplink")
    eirp_dbw = equations.eirp_dbw(
        transmitter.power_w, transmitter.output_back_off_db, transmitter.feed_loss_db, gain_dbi
    )
    return Link(
        name="uplink",
        path=_path(job, view, carrier.frequency_ghz, carrier.polarisation, gain_dbi),
        antenna_gain_dbi=gain_dbi,
        beamwidth_deg=float(antenna.beamwidth_deg(job.antenna.diameter_m, carrier.frequency_ghz)),
        eirp_dbw=float(eirp_dbw),
        free_space_loss_db=float(equations.free_space_loss_db(view.slant_range_km, carrier.frequency_ghz)),
        pointing_loss_db=uplink_pointing_loss_db(job),
        polarisation_loss_db=polarisation_loss_db(carrier.polarisation),
        symbol_rate_msps=carrier.symbol_rate_msps,
        roll_off=carrier.roll_off,
        companions=uplink_companions(job, view.slant_range_km),
        rungs=uplink_rungs(job),
        power_control_db=min(carrier.power_control_db or 0.0, transmitter.output_back_off_db),
        receive_feed_loss_db=0.0,
        receiver_noise_k=None,
        satellite_gt_dbk=carrier.satellite_gt_dbk,
        radiating_k=view.radiating_k,
    )


def uplink_pointing_loss_db(job: Job) -> float:
    """What the error that costs the downlink its pointing loss costs the uplink (dB)."""
    down_deg, up_deg = (
        antenna.beamwidth_deg(job.antenna.diameter_m, carrier.frequency_ghz)
        for carrier in (job.downlink, job.uplink)
    )
    error_deg = antenna.pointing_error_deg(job.antenna.pointing_loss_db, down_deg)
    return float(antenna.pointing_loss_db(error_deg, up_deg))


def dish_gain_dbi(job: Job, direction: DirectionName) -> float:
    """The dish's gain at the carrier (dBi): as written in the config, or by its aperture and efficiency."""
    dish = job.antenna
    written_dbi = dish.receive_gain_dbi if direction == "downlink" else dish.transmit_gain_dbi
    if written_dbi is not None:
        return written_dbi
    if dish.efficiency is None:
        raise ValueError("the antenna has neither an efficiency nor both gains; agent.config refuses that")
    frequency_ghz = job.downlink.frequency_ghz if direction == "downlink" else job.uplink.frequency_ghz
    return float(antenna.gain_dbi(dish.diameter_m, frequency_ghz, dish.efficiency))


def polarisation_loss_db(polarisation: str) -> float:
    """Loss by a feed that is not quite in line (dB); none assumed for circular polarisation."""
    return 0.0 if polarisation == "circular" else float(antenna.polarisation_loss_db(FEED_ERROR_DEG))


def tilt_deg(polarisation: str, feed_rotation_deg: float) -> float:
    """Angle of the polarisation from the local horizontal (0 to 90 deg), as P.838 counts it."""
    if polarisation == "circular":
        return CIRCULAR_TILT_DEG
    turned_deg = abs(feed_rotation_deg)
    return turned_deg if polarisation == "horizontal" else 90.0 - turned_deg


def _path(job: Job, view: View, frequency_ghz: float, polarisation: str, gain_dbi: float) -> SlantPath:
    dish = job.antenna
    efficiency = float(antenna.efficiency_from_gain(gain_dbi, dish.diameter_m, frequency_ghz))
    return SlantPath(
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        height_m=job.site.height_m,
        elevation_deg=view.elevation_deg,
        frequency_ghz=frequency_ghz,
        tilt_deg=tilt_deg(polarisation, view.feed_rotation_deg),
        diameter_m=dish.diameter_m,
        efficiency=efficiency,
    )


def clear_state(link: Link, gas_db: float) -> LinkState:
    """The link under a sky that holds nothing but gas (dB)."""
    return _state(link, np.asarray(gas_db), np.asarray(gas_db), np.asarray(0.0))


def faded_state(link: Link, gas_clear_db: float, sky: Attenuation) -> LinkState:
    """The link under these attenuations, shape as theirs.

    What disturbs the uplink comes from elsewhere and does not fade with it, nor does the noise of the hub's
    end; what travels with the downlink does.
    """
    if link.name == "downlink":
        return _state(link, sky.total_db, sky.absorbed_db, np.zeros_like(sky.total_db))
    extra_db = sky.total_db - gas_clear_db
    raised_db = np.minimum(extra_db, link.power_control_db)
    return _state(link, sky.total_db - raised_db, sky.absorbed_db, extra_db - raised_db)


def _state(link: Link, fade_db: FloatArray, absorbed_db: FloatArray, extra_db: FloatArray) -> LinkState:
    sky_k = equations.sky_noise_k(absorbed_db, link.radiating_k)
    if link.receiver_noise_k is None:
        noise_k = np.full_like(fade_db, np.nan)
        gt_dbk = np.full_like(fade_db, link.satellite_gt_dbk)
    else:
        noise_k = system_noise_k(link, sky_k)
        gt_dbk = equations.gt_dbk(link.antenna_gain_dbi, link.receive_feed_loss_db, noise_k)
    cn0_dbhz = equations.cn0_dbhz(link.eirp_dbw, link.steady_losses_db + fade_db, gt_dbk)
    esno_db = equations.esno_db(cn0_dbhz, link.symbol_rate_msps)
    if link.companions:
        esno_db = equations.combined_db(esno_db, *(one.cn_db - extra_db for one in link.companions))
    return LinkState(
        sky_noise_k=sky_k, system_noise_k=noise_k, gt_dbk=gt_dbk, cn0_dbhz=cn0_dbhz, esno_db=esno_db
    )


def ground_noise_k() -> float:
    """Noise that the dish picks up from the ground around it (K)."""
    return GROUND_SHARE * STANDARD_TEMPERATURE_K


def system_noise_k(link: Link, sky_k: Numeric) -> FloatArray:
    """System noise of the terminal (K) at the receiver's input under a sky of this noise (K)."""
    if link.receiver_noise_k is None:
        raise ValueError("the satellite's noise is in its G/T")
    antenna_k = (1.0 - GROUND_SHARE) * np.asarray(sky_k, dtype=float) + ground_noise_k()
    return equations.system_noise_k(antenna_k, link.receive_feed_loss_db, link.receiver_noise_k)
