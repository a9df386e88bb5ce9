"""An invented job that the tests of the plan share."""

from datetime import datetime

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


def unix_s(moment: str) -> float:
    """Unix seconds of an ISO 8601 time with its offset."""
    return datetime.fromisoformat(moment).timestamp()


def site(latitude_deg: float, longitude_deg: float, height_m: float = 0.0) -> Site:
    """A site at this place."""
    return Site(
        name="test site",
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        height_m=height_m,
        time_zone="UTC",
    )


def job(
    start: str = "2026-07-18T09:00:00+02:00", end: str = "2026-07-18T19:00:00+02:00", **sections: object
) -> Job:
    """The job, with other hours or whole other sections."""
    parts = {
        "site": Site(
            name="Salt pan, north gate",
            latitude_deg=37.25,
            longitude_deg=-6.95,
            height_m=12.0,
            time_zone="Europe/Madrid",
        ),
        "satellite": Satellite(name="GEO-A", longitude_deg=8.0),
        "downlink": Downlink(
            frequency_ghz=11.45, polarisation="vertical", eirp_dbw=50.0, symbol_rate_msps=5.0, roll_off=0.2
        ),
        "uplink": Uplink(
            frequency_ghz=14.05,
            polarisation="horizontal",
            satellite_gt_dbk=4.0,
            symbol_rate_msps=1.5,
            roll_off=0.2,
        ),
        "antenna": Antenna(diameter_m=0.98, efficiency=0.62, pointing_loss_db=0.3),
        "receiver": Receiver(noise_temperature_k=75.0, feed_loss_db=0.2),
        "transmitter": Transmitter(power_w=8.0, output_back_off_db=1.0, feed_loss_db=0.3, limit_degc=55.0),
        "modem": Modem(limit_degc=50.0, implementation_margin_db=1.0, standard="DVB-S2"),
        "service": Service(down_mbps=4.0, up_mbps=4.0, stream_mbps=2.5, availability_percent=99.5),
        "day": Day(start_unix_s=unix_s(start), end_unix_s=unix_s(end)),
    }
    return Job(terminal="van-1", **{**parts, **sections})  # type: ignore[arg-type]
