"""MODCODs of DVB-S2, DVB-S2X and DVB-RCS2: which one an Es/N0 carries, and at which rate.

Rates of the tables are those of the coded stream at the physical layer: normal frames without pilots, or the
payload of bursts. `agent.plan.waveform` takes off what else goes with a carrier.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import isnan
from typing import Literal, TypeAlias

import numpy as np

from agent.plan.geometry import FloatArray, Numeric

Standard: TypeAlias = Literal["DVB-S2", "DVB-S2X", "DVB-RCS2", "DVB-RCS2 short bursts"]


@dataclass(frozen=True, slots=True)
class Modcod:
    """Modulation and code rate, the Es/N0 an ideal receiver needs (dB), and bits for each symbol."""

    name: str
    esno_db: float
    efficiency: float


# ETSI EN 302 307-1 V1.4.1 (2014-11), table 13: quasi-error-free (packet error rate 1e-7), white noise,
# FECFRAME of 64,800 bits, no pilots, ideal demodulation.
DVB_S2 = (
    Modcod("QPSK 1/4", -2.35, 0.490243),
    Modcod("QPSK 1/3", -1.24, 0.656448),
    Modcod("QPSK 2/5", -0.3, 0.789412),
    Modcod("QPSK 1/2", 1.0, 0.988858),
    Modcod("QPSK 3/5", 2.23, 1.188304),
    Modcod("QPSK 2/3", 3.1, 1.322253),
    Modcod("QPSK 3/4", 4.03, 1.487473),
    Modcod("QPSK 4/5", 4.68, 1.587196),
    Modcod("QPSK 5/6", 5.18, 1.654663),
    Modcod("QPSK 8/9", 6.2, 1.766451),
    Modcod("QPSK 9/10", 6.42, 1.788612),
    Modcod("8PSK 3/5", 5.5, 1.779991),
    Modcod("8PSK 2/3", 6.62, 1.980636),
    Modcod("8PSK 3/4", 7.91, 2.228124),
    Modcod("8PSK 5/6", 9.35, 2.478562),
    Modcod("8PSK 8/9", 10.69, 2.646012),
    Modcod("8PSK 9/10", 10.98, 2.679207),
    Modcod("16APSK 2/3", 8.97, 2.637201),
    Modcod("16APSK 3/4", 10.21, 2.966728),
    Modcod("16APSK 4/5", 11.03, 3.165623),
    Modcod("16APSK 5/6", 11.61, 3.300184),
    Modcod("16APSK 8/9", 12.89, 3.523143),
    Modcod("16APSK 9/10", 13.13, 3.567342),
    Modcod("32APSK 3/4", 12.73, 3.703295),
    Modcod("32APSK 4/5", 13.64, 3.951571),
    Modcod("32APSK 5/6", 14.28, 4.11954),
    Modcod("32APSK 8/9", 15.69, 4.397854),
    Modcod("32APSK 9/10", 16.05, 4.453027),
)
# ETSI EN 302 307-2 V1.1.1 (2014-10), table 20a: the additional normal frames of DVB-S2X, white noise, no
# pilots, frame error rate 1e-5. "-L" are constellations for the linear channel.
DVB_S2X_ADDITIONS = (
    Modcod("QPSK 2/9", -2.85, 0.434841),
    Modcod("QPSK 13/45", -2.03, 0.567805),
    Modcod("QPSK 9/20", 0.22, 0.889135),
    Modcod("QPSK 11/20", 1.45, 1.088581),
    Modcod("8APSK 5/9-L", 4.73, 1.647211),
    Modcod("8APSK 26/45-L", 5.13, 1.713601),
    Modcod("8PSK 23/36", 6.12, 1.896173),
    Modcod("8PSK 25/36", 7.02, 2.062148),
    Modcod("8PSK 13/18", 7.49, 2.145136),
    Modcod("16APSK 1/2-L", 5.97, 1.972253),
    Modcod("16APSK 8/15-L", 6.55, 2.10485),
    Modcod("16APSK 5/9-L", 6.84, 2.193247),
    Modcod("16APSK 26/45", 7.51, 2.281645),
    Modcod("16APSK 3/5", 7.8, 2.370043),
    Modcod("16APSK 3/5-L", 7.41, 2.370043),
    Modcod("16APSK 28/45", 8.1, 2.458441),
    Modcod("16APSK 23/36", 8.38, 2.524739),
    Modcod("16APSK 2/3-L", 8.43, 2.635236),
    Modcod("16APSK 25/36", 9.27, 2.745734),
    Modcod("16APSK 13/18", 9.71, 2.856231),
    Modcod("16APSK 7/9", 10.65, 3.077225),
    Modcod("16APSK 77/90", 11.99, 3.386618),
    Modcod("32APSK 2/3-L", 11.1, 3.289502),
    Modcod("32APSK 32/45", 11.75, 3.510192),
    Modcod("32APSK 11/15", 12.17, 3.620536),
    Modcod("32APSK 7/9", 13.05, 3.841226),
    Modcod("64APSK 32/45-L", 13.98, 4.206428),
    Modcod("64APSK 11/15", 14.81, 4.338659),
    Modcod("64APSK 7/9", 15.47, 4.603122),
    Modcod("64APSK 4/5", 15.87, 4.735354),
    Modcod("64APSK 5/6", 16.55, 4.933701),
    Modcod("128APSK 3/4", 17.73, 5.163248),
    Modcod("128APSK 7/9", 18.53, 5.355556),
    Modcod("256APSK 29/45-L", 16.98, 5.06569),
    Modcod("256APSK 2/3-L", 17.24, 5.241514),
    Modcod("256APSK 31/45-L", 18.1, 5.417338),
    Modcod("256APSK 32/45", 18.59, 5.593162),
    Modcod("256APSK 11/15-L", 18.84, 5.768987),
    Modcod("256APSK 3/4", 19.57, 5.900855),
)
# ETSI EN 301 545-2, annex A, reference waveforms 3 to 22 of linear modulation: payload (bytes) of bursts of
# 536 and of 1616 symbols; preamble, pilots and code are what the payload leaves.
RCS2_PAYLOAD_BYTES = {
    "QPSK 1/3": (38, 123),
    "QPSK 1/2": (59, 188),
    "QPSK 2/3": (85, 264),
    "QPSK 3/4": (96, 298),
    "QPSK 5/6": (108, 333),
    "8PSK 2/3": (115, 355),
    "8PSK 3/4": (130, 400),
    "8PSK 5/6": (144, 444),
    "16QAM 3/4": (175, 539),
    "16QAM 5/6": (194, 599),
}
RCS2_SYMBOLS = (536, 1616)
# Assumption, 1 dB accurate: the standard gives no Es/N0; the turbo code of a burst needs so much more than
# DVB-S2 at the same modulation and code rate. The operator's line-up has the true one.
RCS2_ABOVE_S2_DB = 1.5


def _bursts(length: int) -> tuple[Modcod, ...]:
    needed_db = {one.name.replace("16APSK", "16QAM"): one.esno_db + RCS2_ABOVE_S2_DB for one in DVB_S2}
    return tuple(
        Modcod(name, needed_db[name], 8.0 * payload[length] / RCS2_SYMBOLS[length])
        for name, payload in RCS2_PAYLOAD_BYTES.items()
    )


# A DVB-S2X modem also has the MODCODs of DVB-S2.
BY_STANDARD: dict[Standard, tuple[Modcod, ...]] = {
    "DVB-S2": DVB_S2,
    "DVB-S2X": DVB_S2 + DVB_S2X_ADDITIONS,
    "DVB-RCS2": _bursts(1),
    "DVB-RCS2 short bursts": _bursts(0),
}


@cache
def ladder(standard: Standard, margin_db: float = 0.0) -> tuple[Modcod, ...]:
    """The MODCODs of a standard worth using, where the modem needs this much more than an ideal receiver."""
    return worth_using([replace(one, esno_db=one.esno_db + margin_db) for one in BY_STANDARD[standard]])


def worth_using(modcods: Iterable[Modcod]) -> tuple[Modcod, ...]:
    """Those that carry more than every other that needs no more Es/N0, rising."""
    rungs: list[Modcod] = []
    for modcod in sorted(modcods, key=lambda one: (one.esno_db, -one.efficiency)):
        if not rungs or modcod.efficiency > rungs[-1].efficiency:
            rungs.append(modcod)
    return tuple(rungs)


def modcod_at(esno_db: float, rungs: Sequence[Modcod]) -> Modcod | None:
    """The highest of the MODCODs worth using (rising) at this Es/N0 (dB).

    None where not even the lowest closes, or at NaN.
    """
    if isnan(esno_db):
        return None
    closing = [one for one in rungs if one.esno_db <= esno_db]
    return closing[-1] if closing else None


def next_lower(modcod: Modcod, rungs: Sequence[Modcod]) -> Modcod | None:
    """The next MODCOD worth using that needs less Es/N0 and carries less; None below the lowest."""
    lower = [one for one in rungs if one.esno_db < modcod.esno_db and one.efficiency < modcod.efficiency]
    return lower[-1] if lower else None


def rate_mbps(modcod: Modcod | None, symbol_rate_msps: float) -> float:
    """Rate (Mbit/s) of a MODCOD at a symbol rate (Msps); 0 without a MODCOD."""
    return 0.0 if modcod is None else modcod.efficiency * symbol_rate_msps


def modcod_for_rate(rate: float, symbol_rate_msps: float, rungs: Sequence[Modcod]) -> Modcod | None:
    """The MODCOD that carries this rate (Mbit/s) with the least Es/N0; None where none carries it."""
    carrying = [one for one in rungs if rate_mbps(one, symbol_rate_msps) >= rate]
    return carrying[0] if carrying else None


def rates_mbps(esno_db: Numeric, rungs: Sequence[Modcod], symbol_rate_msps: float) -> FloatArray:
    """Rates (Mbit/s) at these Es/N0 (dB), shape as given; 0 where no MODCOD closes, NaN at NaN."""
    esno_db = np.asarray(esno_db, dtype=float)
    needed_db = np.array([one.esno_db for one in rungs])
    carried = np.array([0.0, *(rate_mbps(one, symbol_rate_msps) for one in rungs)])
    rates: FloatArray = carried[np.searchsorted(needed_db, esno_db, side="right")]
    return np.where(np.isnan(esno_db), np.nan, rates)
