"""What a carrier's waveform leaves for IP: pilots, the layers between, and the highest MODCOD it may use."""

from dataclasses import replace
from functools import cache
from math import ceil

from agent.job import Encapsulation, Job, Modem
from agent.plan.modcod import BY_STANDARD, Modcod, Standard, worth_using

SLOT_SYMBOLS = 90  # EN 302 307-1, section 5.5: a frame is one slot of header and the slots of its code word
PILOT_SYMBOLS = 36  # EN 302 307-1, section 5.5.3: after every 16 slots, but not at the end of the frame
SLOTS_BETWEEN_PILOTS = 16
FRAME_BITS = 64_800
BITS_PER_SYMBOL = {
    "QPSK": 2, "8PSK": 3, "8APSK": 3, "16APSK": 4, "32APSK": 5, "64APSK": 6, "128APSK": 7, "256APSK": 8,
}  # fmt: skip
# A video stream's packet: seven packets of 188 bytes with RTP, UDP and IPv4 (common practice).
PACKET_BYTES = 7 * 188 + 12 + 8 + 20
# Bytes around a packet. GSE (ETSI TS 102 606-1): 2 of length, 2 of type, 6 of label. MPE (EN 301 192): 12 of
# section header, 4 of CRC, in transport packets of which 4 of 188 bytes are header. All from memory.
GSE_BYTES = 10
MPE_BYTES = 16
TRANSPORT_SHARE = 184.0 / 188.0


def downlink_rungs(job: Job) -> tuple[Modcod, ...]:
    """The downlink's MODCODs worth using: Es/N0 (dB) that the modem needs, net bits for each symbol."""
    return _rungs(job.modem.standard, job.modem, job.downlink.highest_modcod)


def uplink_rungs(job: Job) -> tuple[Modcod, ...]:
    """The same of the uplink, whose standard may be another."""
    return _rungs(job.uplink.standard or job.modem.standard, job.modem, job.uplink.highest_modcod)


@cache
def _rungs(standard: Standard, modem: Modem, highest: str | None) -> tuple[Modcod, ...]:
    modcods = BY_STANDARD[standard]
    if highest is not None:
        top = next(one for one in modcods if one.name == highest)
        modcods = tuple(one for one in modcods if one.efficiency <= top.efficiency)
    share = encapsulation_share(modem.encapsulation)
    framed = modem.pilots and not standard.startswith("DVB-RCS2")
    return worth_using(
        replace(
            one,
            esno_db=one.esno_db + modem.implementation_margin_db,
            efficiency=one.efficiency * share * (pilot_share(one.name) if framed else 1.0),
        )
        for one in modcods
    )


def pilot_share(modcod: str) -> float:
    """Symbols of a frame without pilots over those with them (1)."""
    slots = ceil(FRAME_BITS / BITS_PER_SYMBOL[modcod.split(" ")[0]] / SLOT_SYMBOLS)
    plain = SLOT_SYMBOLS * (slots + 1)
    return plain / (plain + PILOT_SYMBOLS * ((slots - 1) // SLOTS_BETWEEN_PILOTS))


def encapsulation_share(encapsulation: Encapsulation) -> float:
    """The packet's share of what carries it (1)."""
    if encapsulation == "GSE":
        return PACKET_BYTES / (PACKET_BYTES + GSE_BYTES)
    if encapsulation == "MPE":
        return PACKET_BYTES / (PACKET_BYTES + MPE_BYTES) * TRANSPORT_SHARE
    return 1.0
