"""How to aim the dish, in sentences."""

from agent.job import Job
from agent.link_plan import Pointing


def aiming(pointing: Pointing, job: Job) -> list[str]:
    """Azimuth, elevation, feed and delay, and what a base out of level costs."""
    doubt = pointing.declination_uncertainty_deg
    compass = f"{pointing.azimuth_magnetic_deg:.1f}° by compass"
    if doubt is not None:
        compass += f" (declination {pointing.declination_deg:+.1f}, one sigma {doubt:.1f}°)"
    delay = f"{pointing.one_way_delay_ms:.0f} ms one way, at least {pointing.round_trip_delay_ms:.0f} ms"
    sentences = [
        f"Azimuth {pointing.azimuth_true_deg:.1f}° from true north, {compass}.",
        f"Elevation {pointing.elevation_deg:.1f}°.",
        feed_turn(pointing, job),
        f"{pointing.slant_range_km:.0f} km away: {delay} from request to answer.",
    ]
    return sentences + [
        f"A base {tilt.tilt_deg:g}° out of level is up to {tilt.azimuth_deg:.1f}° off in azimuth and "
        f"{tilt.elevation_deg:.1f}° in elevation."
        for tilt in pointing.base_tilts
    ]


def linear_carriers(job: Job) -> list[str]:
    """Which of the carriers are polarised linearly, and how."""
    carriers = (("downlink", job.downlink.polarisation), ("uplink", job.uplink.polarisation))
    return [f"{name} {polarisation}" for name, polarisation in carriers if polarisation != "circular"]


def feed_turn(pointing: Pointing, job: Job) -> str:
    """How far to turn the feed, from which zero and which way; nothing to turn for circular carriers."""
    linear = linear_carriers(job)
    if not linear:
        return "Circular polarisation: no turn of the feed; check left or right hand with the operator."
    way = "clockwise" if pointing.feed_rotation_deg >= 0.0 else "counter-clockwise"
    return (
        f"Feed turned {abs(pointing.feed_rotation_deg):.1f}° {way} ({', '.join(linear)}): as seen from "
        "behind the dish, looking at the satellite; zero is where the axis of the feed's vertical port "
        "stands upright."
    )
