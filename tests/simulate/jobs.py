"""Invented sites, satellites and terminals that the simulated days are put together from."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias
from zoneinfo import ZoneInfo

from agent.job import (
    Antenna,
    Day,
    Downlink,
    Job,
    Modem,
    Receiver,
    Satellite,
    Service,
    Site,
    Transmitter,
    Uplink,
)

Band: TypeAlias = Literal["C", "Ku", "Ka"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A site with the satellite that is used there and the air of its summer and winter days."""

    site: Site
    satellite: Satellite
    summer_degc: tuple[float, float]
    winter_degc: tuple[float, float]


def _place(
    name: str, where: tuple[float, float, float], time_zone: str, satellite: tuple[str, float], air: str
) -> Place:
    """`where` is latitude, longitude, height; `air` is summer low/high and winter low/high."""
    summer_low, summer_high, winter_low, winter_high = (float(word) for word in air.split())
    return Place(
        site=Site(
            name=name, latitude_deg=where[0], longitude_deg=where[1], height_m=where[2], time_zone=time_zone
        ),
        satellite=Satellite(name=satellite[0], longitude_deg=satellite[1]),
        summer_degc=(summer_low, summer_high),
        winter_degc=(winter_low, winter_high),
    )


PLACES = {
    "salt-pan": _place(
        "Salt pan, north gate", (37.25, -6.95, 12.0), "Europe/Madrid", ("GEO-A", 8.0), "22 37 7 16"
    ),
    "dune": _place(
        "Long dune, west track", (-23.9, 14.9, 350.0), "Africa/Windhoek", ("GEO-B", 20.0), "17 32 9 24"
    ),
    "estuary": _place(
        "Grey estuary, slipway", (54.1, -3.1, 6.0), "Europe/London", ("GEO-C", -5.0), "12 20 2 7"
    ),
    "plateau": _place(
        "Red plateau, kilometre 40", (-23.4, 133.2, 560.0), "Australia/Darwin", ("GEO-D", 150.0), "22 38 5 20"
    ),
    "mangrove": _place(
        "Mangrove point, jetty", (1.6, 104.2, 3.0), "Asia/Kuala_Lumpur", ("GEO-E", 110.0), "24 32 23 31"
    ),
    "steppe": _place(
        "High steppe, spring camp", (44.2, 77.6, 910.0), "Asia/Almaty", ("GEO-F", 66.0), "15 33 -12 -2"
    ),
    "fjord": _place("Fjord mouth, quay", (61.9, 5.0, 4.0), "Europe/Oslo", ("GEO-G", 3.0), "11 18 0 4"),
    "pampa": _place(
        "Pampa crossroads", (-36.4, -64.3, 175.0), "America/Argentina/Cordoba", ("GEO-H", -61.0), "16 31 2 15"
    ),
    "dry-lake": _place(
        "Dry lake, east shore", (35.4, -115.6, 600.0), "America/Los_Angeles", ("GEO-I", -110.0), "25 41 3 15"
    ),
    "lagoon": _place("Lagoon landing", (-17.6, 177.4, 2.0), "Pacific/Fiji", ("GEO-J", 172.0), "23 31 19 27"),
}

# Carrier, dish and receiver of each band, of the size that a van or a trailer carries.
DOWNLINKS: dict[Band, Downlink] = {
    "C": Downlink(
        frequency_ghz=3.95,
        polarisation="circular",
        eirp_dbw=31.0,
        symbol_rate_msps=3.0,
        roll_off=0.2,
        interference_cn_db=20.0,
    ),
    "Ku": Downlink(
        frequency_ghz=11.45,
        polarisation="vertical",
        eirp_dbw=42.0,
        symbol_rate_msps=4.0,
        roll_off=0.2,
        interference_cn_db=22.0,
    ),
    "Ka": Downlink(
        frequency_ghz=19.95,
        polarisation="circular",
        eirp_dbw=48.0,
        symbol_rate_msps=5.0,
        roll_off=0.2,
        interference_cn_db=21.0,
    ),
}
UPLINKS: dict[Band, Uplink] = {
    "C": Uplink(
        frequency_ghz=6.175,
        polarisation="circular",
        satellite_gt_dbk=-2.0,
        symbol_rate_msps=2.0,
        roll_off=0.2,
        interference_cn_db=22.0,
    ),
    "Ku": Uplink(
        frequency_ghz=14.05,
        polarisation="horizontal",
        satellite_gt_dbk=4.0,
        symbol_rate_msps=1.8,
        roll_off=0.2,
        interference_cn_db=22.0,
    ),
    "Ka": Uplink(
        frequency_ghz=29.75,
        polarisation="circular",
        satellite_gt_dbk=13.0,
        symbol_rate_msps=2.0,
        roll_off=0.2,
        interference_cn_db=22.0,
    ),
}
ANTENNAS: dict[Band, Antenna] = {
    "C": Antenna(diameter_m=2.4, efficiency=0.62, pointing_loss_db=0.2),
    "Ku": Antenna(diameter_m=0.98, efficiency=0.62, pointing_loss_db=0.3),
    "Ka": Antenna(diameter_m=0.75, efficiency=0.60, pointing_loss_db=0.4),
}
RECEIVERS: dict[Band, Receiver] = {
    "C": Receiver(noise_temperature_k=35.0, feed_loss_db=0.2),
    "Ku": Receiver(noise_temperature_k=75.0, feed_loss_db=0.2),
    "Ka": Receiver(noise_temperature_k=130.0, feed_loss_db=0.3),
}
POWERS_W: dict[Band, float] = {"C": 20.0, "Ku": 8.0, "Ka": 4.0}


def job_of(
    place: Place,
    band: Band,
    start: str,
    hours: float,
    limit_degc: float = 55.0,
    air: tuple[float, float] | None = None,
) -> Job:
    """The job at `place` from `start` (ISO 8601, local time of the site) on, with `band`'s equipment.

    `air` is the forecast that the crew wrote into the config: highest air temperature and humidity.
    """
    begin = datetime.fromisoformat(start).replace(tzinfo=ZoneInfo(place.site.time_zone)).timestamp()
    return Job(
        terminal="van-1",
        site=place.site,
        satellite=place.satellite,
        downlink=DOWNLINKS[band],
        uplink=UPLINKS[band],
        antenna=ANTENNAS[band],
        receiver=RECEIVERS[band],
        transmitter=Transmitter(
            power_w=POWERS_W[band], output_back_off_db=1.0, feed_loss_db=0.3, limit_degc=limit_degc
        ),
        modem=Modem(limit_degc=60.0, implementation_margin_db=1.0, standard="DVB-S2"),
        service=Service(down_mbps=4.0, up_mbps=4.0, stream_mbps=1.5, availability_percent=99.5),
        day=Day(
            start_unix_s=begin,
            end_unix_s=begin + hours * 3600.0,
            air_degc=None if air is None else air[0],
            humidity_percent=None if air is None else air[1],
        ),
    )
