"""The budget of one direction, and what both directions carry over availability."""

from dataclasses import dataclass
from math import isnan, nan

import numpy as np

from agent.job import Job
from agent.link_plan import AvailabilityCurve, Budget
from agent.plan import propagation
from agent.plan.equations import decibels, ratio
from agent.plan.geometry import FloatArray
from agent.plan.links import Link, LinkState, View, clear_state, downlink, faded_state, uplink
from agent.plan.modcod import modcod_at, modcod_for_rate, rate_mbps, rates_mbps

# Unavailabilities (percent of a year) at which the budget is computed: evenly spread in their logarithm over
# the range of P.618-13.
CURVE_PERCENT = np.geomspace(50.0, 0.001, 48)
CURVE_SHOWN_PERCENT = 10.0
AVAILABILITY_STEP = 0.001
DBM_OVER_DBW = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """One direction, worked out: the link, its Es/N0 under all skies, and what was booked on it.

    `percent` are the unavailabilities of `sky` and `faded`: the service's first, then CURVE_PERCENT.
    """

    link: Link
    percent: FloatArray
    clear: LinkState
    gas_clear_db: float
    faded: LinkState
    sky: propagation.Attenuation
    booked_mbps: float


def unavailability_percent(job: Job) -> float:
    """For how much of an average year the service may be out (percent)."""
    return 100.0 - job.service.availability_percent


def directions(job: Job, view: View) -> tuple[Direction, Direction]:
    """Downlink and uplink."""
    down, up = downlink(job, view), uplink(job, view)
    return _direction(job, down, job.service.down_mbps), _direction(job, up, job.service.up_mbps)


def _direction(job: Job, link: Link, booked_mbps: float) -> Direction:
    percent = np.array([unavailability_percent(job), *CURVE_PERCENT])
    gas_clear_db = propagation.clear_sky_gas_db(link.path)
    sky = propagation.attenuation(link.path, percent)
    return Direction(
        link=link,
        percent=percent,
        clear=clear_state(link, gas_clear_db),
        gas_clear_db=gas_clear_db,
        faded=faded_state(link, gas_clear_db, sky),
        sky=sky,
        booked_mbps=booked_mbps,
    )


def budget(job: Job, direction: Direction) -> Budget:
    """Every line of one direction."""
    link, clear, faded, sky = direction.link, direction.clear, direction.faded, direction.sky
    esno_clear_db, esno_faded_db = float(clear.esno_db), float(faded.esno_db[0])
    at_clear = modcod_at(esno_clear_db, link.rungs)
    at_faded = modcod_at(esno_faded_db, link.rungs)
    required_db = required_esno_db(link, direction.booked_mbps)
    design_db = propagation.rain_attenuation_db(link.path, np.array([propagation.DESIGN_PERCENT]))
    return Budget(
        free_space_loss_db=link.free_space_loss_db,
        gas_db=float(sky.gas_db[0]),
        cloud_db=float(sky.cloud_db[0]),
        scintillation_db=float(sky.scintillation_db[0]),
        rain_db=float(sky.rain_db[0]),
        rain_rate_mm_h=propagation.rain_rate_mm_h(
            link.path.latitude_deg, link.path.longitude_deg, propagation.DESIGN_PERCENT
        ),
        antenna_gain_dbi=link.antenna_gain_dbi,
        beamwidth_deg=link.beamwidth_deg,
        eirp_dbw=link.eirp_dbw,
        system_noise_k=_noise_k(link, float(clear.system_noise_k)),
        gt_dbk=float(clear.gt_dbk),
        cn0_dbhz=float(clear.cn0_dbhz),
        esno_clear_db=esno_clear_db,
        esno_faded_db=esno_faded_db,
        modcod_clear=at_clear.name if at_clear else None,
        modcod_faded=at_faded.name if at_faded else None,
        rate_clear_mbps=rate_mbps(at_clear, link.symbol_rate_msps),
        rate_faded_mbps=rate_mbps(at_faded, link.symbol_rate_msps),
        margin_db=esno_clear_db - required_db,
        pointing_loss_db=link.pointing_loss_db,
        polarisation_loss_db=link.polarisation_loss_db,
        gas_clear_db=direction.gas_clear_db,
        fade_db=float(sky.total_db[0]),
        rain_at_rate_db=float(design_db[0]),
        rain_exponent=propagation.rain_exponent(link.path),
        cross_polar_db=propagation.cross_polar_db(
            link.path, float(sky.rain_db[0]), unavailability_percent(job)
        ),
        system_noise_faded_k=_noise_k(link, float(faded.system_noise_k[0])),
        gt_faded_dbk=float(faded.gt_dbk[0]),
        cn0_faded_dbhz=float(faded.cn0_dbhz[0]),
        interference_cn_db=_companion_db(link, "C/I"),
        intermodulation_cn_db=_companion_db(link, "C/IM"),
        hub_hop_esno_db=_companion_db(link, "Es/N0,hub"),
        eb_n0_clear_db=esno_clear_db - float(decibels(at_clear.efficiency)) if at_clear else nan,
        cn_occupied_db=esno_clear_db - float(decibels(1.0 + link.roll_off)),
        receive_level_dbm=receive_level_dbm(job, direction),
        limited_by="bandwidth" if at_faded == link.rungs[-1] else "power",
        largest_symbol_rate_msps=link.symbol_rate_msps * float(ratio(esno_faded_db - required_db)),
        required_esno_db=required_db,
        margin_faded_db=esno_faded_db - required_db,
        availability_closes_percent=availability_percent(direction, link.rungs[0].esno_db),
        availability_booked_percent=availability_percent(direction, required_db),
    )


def _companion_db(link: Link, symbol: str) -> float | None:
    return next((one.cn_db for one in link.companions if one.symbol == symbol), None)


def receive_level_dbm(job: Job, direction: Direction) -> float | None:
    """Level of the carrier at the modem in clear sky (dBm); None for the uplink, or where a part lacks."""
    link, receiver = direction.link, job.receiver
    if link.name == "uplink" or receiver.gain_db is None or receiver.cable_loss_db is None:
        return None
    received_dbw = link.eirp_dbw - link.steady_losses_db - direction.gas_clear_db + link.antenna_gain_dbi
    chain_db = receiver.gain_db - receiver.cable_loss_db - receiver.feed_loss_db
    return received_dbw + chain_db + DBM_OVER_DBW


def _noise_k(link: Link, value_k: float) -> float | None:
    return None if link.receiver_noise_k is None else value_k


def required_esno_db(link: Link, booked_mbps: float) -> float:
    """Es/N0 that the modem needs for a rate (dB); NaN where no MODCOD carries it at the symbol rate."""
    modcod = modcod_for_rate(booked_mbps, link.symbol_rate_msps, link.rungs)
    return nan if modcod is None else modcod.esno_db


def availability_percent(direction: Direction, required_db: float) -> float:
    """The availability (percent of a year) at which the Es/N0 just falls to this (dB).

    Rounded down to AVAILABILITY_STEP, so that what is shown never promises more than the budget at the
    service's availability. NaN where it is not even reached for half of the year; at most 99.999, where the
    statistics end.
    """
    percent, esno_db = direction.percent, direction.faded.esno_db
    if isnan(required_db) or not np.max(esno_db) >= required_db:
        return nan
    rising = np.argsort(esno_db)
    log_percent = np.interp(required_db, esno_db[rising], np.log(percent[rising]))
    available = 100.0 - float(np.exp(log_percent))
    # A billionth of a step more, so that a whole number of steps stays one.
    return round(float(np.floor(available / AVAILABILITY_STEP + 1e-9)) * AVAILABILITY_STEP, 3)


def availability_curve(down: Direction, up: Direction) -> AvailabilityCurve:
    """Es/N0 and rates from 90 % of the year on."""
    shown = CURVE_PERCENT <= CURVE_SHOWN_PERCENT
    return AvailabilityCurve(
        availability_percent=_tuple(100.0 - CURVE_PERCENT[shown]),
        down_esno_db=_tuple(down.faded.esno_db[1:][shown]),
        up_esno_db=_tuple(up.faded.esno_db[1:][shown]),
        down_mbps=_tuple(carried_mbps(down)[1:][shown]),
        up_mbps=_tuple(carried_mbps(up)[1:][shown]),
    )


def carried_mbps(direction: Direction) -> FloatArray:
    """Rates (Mbit/s) at the direction's unavailabilities."""
    return rates_mbps(direction.faded.esno_db, direction.link.rungs, direction.link.symbol_rate_msps)


def _tuple(values: FloatArray) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
