"""The plan's lines: every number of pointing and budget with symbol, unit and source."""

from typing import TypeAlias

from agent.job import Job
from agent.link_plan import Budget, Item, Pointing
from agent.plan.budget import Direction, unavailability_percent
from agent.plan.constants import BOLTZMANN_DBW_HZ_K, HANDBOOK
from agent.plan.links import FEED_ERROR_DEG, GROUND_SHARE, ground_noise_k
from agent.plan.propagation import EDITIONS
from agent.plan.waveform import PACKET_BYTES, encapsulation_share, pilot_share

# Name, symbol, value, unit and source of one line.
Line: TypeAlias = tuple[str, str, float, str, str]

GEOMETRY = "WGS 84, geodetic to local east, north, up"
CONFIG = "config"
TABLES = {
    "DVB-S2": "EN 302 307-1 V1.4.1, table 13",
    "DVB-S2X": "EN 302 307-1 V1.4.1, table 13, and 302 307-2 V1.1.1, table 20a",
    "DVB-RCS2": "EN 301 545-2, annex A, bursts of 1616 symbols; Es/N0 assumed",
    "DVB-RCS2 short bursts": "EN 301 545-2, annex A, bursts of 536 symbols; Es/N0 assumed",
}


def edition(recommendation: str) -> str:
    """An ITU-R Recommendation with the edition that is computed."""
    return f"ITU-R {recommendation}-{EDITIONS[recommendation]}"


def plan_items(
    job: Job, pointing: Pointing, down: tuple[Direction, Budget], up: tuple[Direction, Budget]
) -> tuple[Item, ...]:
    """All lines, part by part: pointing, downlink, uplink."""
    return (*_pointing(pointing), *_direction(job, *down), *_direction(job, *up))


def _pointing(pointing: Pointing) -> list[Item]:
    lines: list[Line] = [
        ("azimuth from true north", "Az", pointing.azimuth_true_deg, "°", GEOMETRY),
        (
            "azimuth by compass",
            "Az_m",
            pointing.azimuth_magnetic_deg,
            "°",
            "true azimuth less the declination of the World Magnetic Model 2025",
        ),
        ("elevation", "El", pointing.elevation_deg, "°", f"{GEOMETRY}, without refraction"),
        (
            "polarisation skew",
            "psi",
            pointing.polarisation_skew_deg,
            "°",
            f"{GEOMETRY}; clockwise from the dish",
        ),
        ("slant range", "d", pointing.slant_range_km, "km", GEOMETRY),
        ("delay one way", "t", pointing.one_way_delay_ms, "ms", "slant range over the speed of light"),
        (
            "least time from request to answer",
            "RTT",
            pointing.round_trip_delay_ms,
            "ms",
            "four times the slant range, a hub as far as the site",
        ),
    ]
    return [_item("pointing", line) for line in lines]


def _item(part: str, line: Line) -> Item:
    name, symbol, value, unit, source = line
    return Item(part=part, name=name, symbol=symbol, value=value, unit=unit, source=source)


def _direction(job: Job, direction: Direction, budget: Budget) -> list[Item]:
    name = direction.link.name
    lines = [
        *(
            _transmit_lines(job, budget)
            if name == "uplink"
            else [("EIRP of the carrier", "EIRP", budget.eirp_dbw, "dBW", CONFIG)]
        ),
        *_loss_lines(budget),
        *_fade_lines(job, budget),
        *(_receive_lines(job, direction, budget) if name == "downlink" else _satellite_lines(budget)),
        *_ratio_lines(job, direction, budget),
        *_rate_lines(job, direction, budget),
    ]
    return [_item(name, line) for line in lines]


def _gain_source(job: Job) -> str:
    return CONFIG if job.antenna.efficiency is None else f"eta (pi D / lambda)^2; {HANDBOOK}"


def _transmit_lines(job: Job, budget: Budget) -> list[Line]:
    transmitter = job.transmitter
    saturated_dbw = (
        budget.eirp_dbw - budget.antenna_gain_dbi + transmitter.feed_loss_db + transmitter.output_back_off_db
    )
    return [
        ("saturated power of the transmitter", "P_sat", saturated_dbw, "dBW", CONFIG),
        ("output back-off", "OBO", -transmitter.output_back_off_db, "dB", CONFIG),
        ("feed loss to the dish", "L_TX", -transmitter.feed_loss_db, "dB", CONFIG),
        ("antenna gain", "G_T", budget.antenna_gain_dbi, "dBi", _gain_source(job)),
        ("EIRP of the carrier", "EIRP", budget.eirp_dbw, "dBW", f"sum of the lines above; {HANDBOOK}"),
    ]


def _loss_lines(budget: Budget) -> list[Line]:
    pointed = "config, for the downlink; the uplink's by (theta_down / theta_up)^2"
    feed = f"-20 log cos of a feed error of {FEED_ERROR_DEG:g}° (common practice); 0 for circular"
    gas = f"{edition('P.676')}, exceeded for 50 % of a year"
    return [
        ("free-space loss", "L_FS", -budget.free_space_loss_db, "dB", f"20 log(4 pi d / lambda); {HANDBOOK}"),
        ("pointing loss", "L_P", -budget.pointing_loss_db, "dB", pointed),
        ("polarisation loss", "L_X", -budget.polarisation_loss_db, "dB", feed),
        ("gas in clear sky", "A_G50", -budget.gas_clear_db, "dB", gas),
    ]


def _fade_lines(job: Job, budget: Budget) -> list[Line]:
    at = f"at {unavailability_percent(job):g} %"
    floor = f"{at} but not below 1 %"
    rain = f"{edition('P.618')} with {', '.join(map(edition, ('P.837', 'P.838', 'P.839')))}, {at}"
    scintillation = f"{edition('P.618')} with {edition('P.453')}, {at}"
    rainy = "rain exceeded for 0.01 % of a year"
    cross_polar = f"{edition('P.618')}, section 4.1 (for information)"
    return [
        ("gas at the availability", "A_G", -budget.gas_db, "dB", f"{edition('P.676')}, {floor}"),
        ("cloud at the availability", "A_C", -budget.cloud_db, "dB", f"{edition('P.840')}, {floor}"),
        ("rain at the availability", "A_R", -budget.rain_db, "dB", rain),
        ("scintillation at the availability", "A_S", -budget.scintillation_db, "dB", scintillation),
        ("all of it", "A_T", -budget.fade_db, "dB", f"{edition('P.618')}, section 2.5"),
        (rainy, "R_0.01", budget.rain_rate_mm_h, "mm/h", edition("P.837")),
        ("rain attenuation in that rain", "A_0.01", -budget.rain_at_rate_db, "dB", edition("P.618")),
        ("cross-polar discrimination", "XPD", budget.cross_polar_db, "dB", cross_polar),
    ]


def _receive_lines(job: Job, direction: Direction, budget: Budget) -> list[Line]:
    sky = edition("P.618") + ", section 3"
    clear, faded = direction.clear, direction.faded
    return [
        ("antenna gain", "G_R", budget.antenna_gain_dbi, "dBi", _gain_source(job)),
        (
            "beamwidth, full half-power",
            "theta_3dB",
            budget.beamwidth_deg,
            "°",
            f"70 lambda / D; {HANDBOOK}",
        ),
        ("feed loss to the receiver", "L_RX", -job.receiver.feed_loss_db, "dB", CONFIG),
        ("sky noise in clear sky", "T_sky", float(clear.sky_noise_k), "K", sky),
        ("sky noise at the availability", "T_sky,p", float(faded.sky_noise_k[0]), "K", sky),
        ("ground noise", "T_gnd", ground_noise_k(), "K", f"{GROUND_SHARE:.0%} of 290 K (assumption)"),
        ("receiver noise", "T_LNB", job.receiver.noise_temperature_k, "K", CONFIG),
        ("system noise in clear sky", "T_sys", float(clear.system_noise_k), "K", HANDBOOK),
        ("system noise at the availability", "T_sys,p", float(faded.system_noise_k[0]), "K", HANDBOOK),
        ("figure of merit in clear sky", "G/T", budget.gt_dbk, "dB/K", HANDBOOK),
        ("figure of merit at the availability", "G/T,p", budget.gt_faded_dbk, "dB/K", HANDBOOK),
        *_level_lines(job, budget),
    ]


def _satellite_lines(budget: Budget) -> list[Line]:
    return [
        (
            "beamwidth, full half-power",
            "theta_3dB",
            budget.beamwidth_deg,
            "°",
            f"70 lambda / D; {HANDBOOK}",
        ),
        ("figure of merit of the satellite", "G/T", budget.gt_dbk, "dB/K", CONFIG),
    ]


def _ratio_lines(job: Job, direction: Direction, budget: Budget) -> list[Line]:
    link = direction.link
    raised_db = min(budget.fade_db - budget.gas_clear_db, link.power_control_db)
    raised = ("power control in that fade", "UPC", raised_db, "dB", "config, as far as the fade goes")
    lines = [
        ("Boltzmann's constant", "k", BOLTZMANN_DBW_HZ_K, "dBW/Hz/K", "SI"),
        ("C/N0 in clear sky", "C/N0", budget.cn0_dbhz, "dBHz", f"EIRP - losses + G/T - k; {HANDBOOK}"),
        (
            "C/N0 at the availability",
            "C/N0,p",
            budget.cn0_faded_dbhz,
            "dBHz",
            "the same with A_T in place of A_G50" + (", and UPC" if link.power_control_db else ""),
        ),
        *([raised] if link.power_control_db else []),
        ("symbol rate", "R_s", link.symbol_rate_msps, "Msps", CONFIG),
    ]
    lines += [(one.name, one.symbol, one.cn_db, "dB", one.source) for one in link.companions]
    place = f"{'with all of the above' if link.companions else 'noise alone'}; {_place(direction, budget)}"
    return [
        *lines,
        ("Es/N0 in clear sky", "Es/N0", budget.esno_clear_db, "dB", f"C/N0 - 10 log R_s, {place}"),
        ("Es/N0 at the availability", "Es/N0,p", budget.esno_faded_db, "dB", f"C/N0,p - 10 log R_s, {place}"),
        (
            "C/N in the occupied bandwidth",
            "C/N",
            budget.cn_occupied_db,
            "dB",
            "Es/N0 less 10 log (1 + roll-off)",
        ),
        ("Eb/N0 in clear sky", "Eb/N0", budget.eb_n0_clear_db, "dB", "Es/N0 - 10 log (net bits a symbol)"),
    ]


def _place(direction: Direction, budget: Budget) -> str:
    """Where the Es/N0 is that of."""
    whole = budget.hub_hop_esno_db is not None
    if direction.link.name == "downlink":
        return "at the terminal" if whole else "at the terminal, the hub's way up taken as perfect"
    return "at the hub" if whole else "at the satellite's input; what the hub reports is lower"


def _rate_lines(job: Job, direction: Direction, budget: Budget) -> list[Line]:
    link = direction.link
    standard = job.uplink.standard if link.name == "uplink" else None
    table = TABLES[standard or job.modem.standard]
    clear, faded = (name or "none closes" for name in (budget.modcod_clear, budget.modcod_faded))
    return [
        ("implementation margin of the modem", "M_i", job.modem.implementation_margin_db, "dB", CONFIG),
        *_net_lines(job),
        ("rate in clear sky", "R", budget.rate_clear_mbps, "Mbit/s", f"{table}: {clear}"),
        ("rate at the availability", "R,p", budget.rate_faded_mbps, "Mbit/s", f"{table}: {faded}"),
        (
            "occupied bandwidth",
            "B",
            link.symbol_rate_msps * (1.0 + link.roll_off),
            "MHz",
            "R_s (1 + roll-off)",
        ),
        (
            "largest symbol rate at the booked rate's MODCOD",
            "R_s,max",
            budget.largest_symbol_rate_msps,
            "Msps",
            f"R_s by the margin at the availability; {budget.limited_by}-limited",
        ),
        ("Es/N0 for the booked rate", "Es/N0_req", budget.required_esno_db, "dB", f"{table}, with M_i"),
        ("margin in clear sky", "M", budget.margin_db, "dB", "Es/N0 - Es/N0_req"),
        ("margin at the availability", "M,p", budget.margin_faded_db, "dB", "Es/N0,p - Es/N0_req"),
        (
            "availability at which the link just closes",
            "p_close",
            budget.availability_closes_percent,
            "%",
            f"where Es/N0,p meets the lowest MODCOD of {table}, with M_i",
        ),
        (
            "availability of the booked rate",
            "p_rate",
            budget.availability_booked_percent,
            "%",
            "where Es/N0,p meets Es/N0_req",
        ),
    ]


def _net_lines(job: Job) -> list[Line]:
    """What is taken off the rates of the table."""
    lines: list[Line] = []
    if job.modem.pilots:
        lines.append(("share left by pilots, QPSK", "k_P", pilot_share("QPSK"), "1", "EN 302 307-1, 5.5.3"))
    if job.modem.encapsulation != "none":
        share = encapsulation_share(job.modem.encapsulation)
        packet = f"{job.modem.encapsulation} around packets of {PACKET_BYTES} bytes (common practice)"
        lines.append(("share of the packets", "k_E", share, "1", packet))
    return lines


def _level_lines(job: Job, budget: Budget) -> list[Line]:
    receiver = job.receiver
    if budget.receive_level_dbm is None or receiver.gain_db is None or receiver.cable_loss_db is None:
        return []
    level = "EIRP - losses + G_R - L_RX + G_LNB - L_cable, the carrier alone"
    return [
        ("gain of the receiver", "G_LNB", receiver.gain_db, "dB", CONFIG),
        ("cable to the modem", "L_cable", -receiver.cable_loss_db, "dB", CONFIG),
        ("level at the modem in clear sky", "P_RX", budget.receive_level_dbm, "dBm", level),
    ]
