"""What travels with a carrier besides its own noise: interference, intermodulation, noise of the hub's hop.

Each is a ratio of carrier to disturbance in the carrier's symbol rate (dB), as seen in clear sky.
"""

from dataclasses import dataclass

from agent.job import Hub, Job
from agent.plan import equations
from agent.plan.geometry import FloatArray, look_angles

CONFIG = "config"
HUB_LOSSES_DB = 1.0  # gas and pointing at a hub's large dish in clear sky (assumption)


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """One disturbance; `name` and `source` stand on the budget's line."""

    name: str
    symbol: str
    cn_db: float
    source: str


def downlink_companions(job: Job, slant_range_km: float) -> tuple[Companion, ...]:
    """Those of the carrier from the hub to the terminal."""
    carrier, hub = job.downlink, job.hub
    found = _given(carrier.interference_cn_db, carrier.intermodulation_cn_db)
    if hub is None or hub.uplink_eirp_dbw is None:
        return found
    if hub.uplink_frequency_ghz is None or hub.satellite_gt_dbk is None:
        raise ValueError("half of the hub's way up is missing; agent.config refuses that")
    losses_db, source = _hub_losses_db(job, hub, hub.uplink_frequency_ghz, slant_range_km)
    cn0_dbhz = equations.cn0_dbhz(hub.uplink_eirp_dbw, losses_db, hub.satellite_gt_dbk)
    return (*found, _hop("Es/N0 of the hub's way up", cn0_dbhz, carrier.symbol_rate_msps, source))


def uplink_companions(job: Job, slant_range_km: float) -> tuple[Companion, ...]:
    """Those of the carrier from the terminal to the hub."""
    carrier, hub = job.uplink, job.hub
    found = _given(carrier.interference_cn_db, carrier.intermodulation_cn_db)
    if hub is None or hub.satellite_eirp_dbw is None:
        return found
    if hub.downlink_frequency_ghz is None or hub.gt_dbk is None:
        raise ValueError("half of the hub's way down is missing; agent.config refuses that")
    losses_db, source = _hub_losses_db(job, hub, hub.downlink_frequency_ghz, slant_range_km)
    cn0_dbhz = equations.cn0_dbhz(hub.satellite_eirp_dbw, losses_db, hub.gt_dbk)
    return (*found, _hop("Es/N0 of the way down to the hub", cn0_dbhz, carrier.symbol_rate_msps, source))


def _given(interference_db: float | None, intermodulation_db: float | None) -> tuple[Companion, ...]:
    lines = (
        ("carrier to interference", "C/I", interference_db),
        ("carrier to intermodulation of the transponder", "C/IM", intermodulation_db),
    )
    return tuple(
        Companion(name=name, symbol=symbol, cn_db=value_db, source=CONFIG)
        for name, symbol, value_db in lines
        if value_db is not None
    )


def _hub_losses_db(job: Job, hub: Hub, frequency_ghz: float, slant_range_km: float) -> tuple[float, str]:
    """All losses between hub and satellite (dB), and what they rest on."""
    range_km, where = slant_range_km, "the range taken as the terminal's"
    if hub.latitude_deg is not None and hub.longitude_deg is not None:
        angles = look_angles(hub.latitude_deg, hub.longitude_deg, 0.0, job.satellite.longitude_deg)
        range_km, where = float(angles.slant_range_km), "the range from its place"
    other_db = HUB_LOSSES_DB if hub.losses_db is None else hub.losses_db
    stated = f"{other_db:g} dB of other losses{' assumed' if hub.losses_db is None else ''}"
    loss_db = float(equations.free_space_loss_db(range_km, frequency_ghz)) + other_db
    return loss_db, f"[hub]: EIRP - losses + G/T - k - 10 log R_s; {where}, {stated}"


def _hop(name: str, cn0_dbhz: FloatArray, symbol_rate_msps: float, source: str) -> Companion:
    hop_db = float(equations.esno_db(cn0_dbhz, symbol_rate_msps))
    return Companion(name=name, symbol="Es/N0,hub", cn_db=hop_db, source=source)
