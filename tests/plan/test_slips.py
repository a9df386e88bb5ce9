"""Settings that are allowed but look like a slip are named, each in words that say what to check."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.job import Job
from agent.plan import propagation
from agent.plan.aiming import feed_turn
from agent.plan.budget import budget, directions
from agent.plan.links import View
from agent.plan.slips import budget_slips, height_slips, hidden_satellite_slips, job_slips, place_slips
from agent.plan.zone_place import zone_place
from agent.planning.compute import compute_plan
from tests.plan.sample_job import job as sample_job
from tests.plan.sample_job import site

VIEW = View(elevation_deg=44.0, slant_range_km=37_600.0, feed_rotation_deg=-18.0, radiating_k=275.0)


def at(latitude_deg: float, longitude_deg: float, time_zone: str) -> Job:
    """The sample job at another place."""
    return replace(sample_job(), site=replace(site(latitude_deg, longitude_deg), time_zone=time_zone))


def changed(**sections: dict[str, object]) -> Job:
    """The sample job with some keys changed."""
    base = sample_job()
    return replace(base, **{name: replace(getattr(base, name), **keys) for name, keys in sections.items()})  # type: ignore[arg-type]


def test_reference_main_places_of_zones() -> None:
    # zone.tab of the IANA time zone database: Madrid +4024-00341, Sao Paulo -2332-04637,
    # Shanghai +3114+12128.
    assert zone_place("Europe/Madrid") == pytest.approx((40.4, -3.683), abs=0.001)
    assert zone_place("America/Sao_Paulo") == pytest.approx((-23.533, -46.617), abs=0.001)
    assert zone_place("Asia/Shanghai") == pytest.approx((31.233, 121.467), abs=0.001)
    assert zone_place("UTC") is None


@pytest.mark.parametrize(
    ("job", "words"),
    [
        # A coast at 22.92 S written without its sign.
        (at(22.92, -43.2, "America/Sao_Paulo"), "with the sign of site.latitude_deg turned"),
        (at(37.25, 6.95, "America/New_York"), "km from the main place of its time zone"),
        (at(40.4, 73.7, "America/New_York"), "with the sign of site.longitude_deg turned"),
        (at(-6.95, 37.25, "Europe/Madrid"), "with latitude and longitude of the site swapped"),
        # 70 deg of longitude away.
        (at(37.25, -6.95, "Asia/Karachi"), "km from the main place of its time zone, Asia/Karachi"),
        (at(65.0, -6.95, "Asia/Yekaterinburg"), "82° of longitude from the clock of its time zone"),
        # An alias has no place of its own, but a clock.
        (
            at(37.25, -6.95, "Asia/Calcutta"),
            "from the clock of its time zone, Asia/Calcutta",
        ),
    ],
)
def test_place_and_zone_that_disagree(job: Job, words: str) -> None:
    (found,) = place_slips(job, zone_place(job.site.time_zone))
    assert words in found


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "time_zone"),
    [
        (37.25, -6.95, "Europe/Madrid"),
        (39.47, 75.99, "Asia/Shanghai"),  # Kashgar, two thousand miles west of its clock
        (-22.92, -43.2, "America/Sao_Paulo"),
        (42.9, -8.9, "Europe/Madrid"),
        (-31.95, 115.9, "Australia/Perth"),
        (65.6, -168.1, "America/Nome"),
        (52.1, -174.2, "America/Adak"),
        (-50.3, -72.3, "America/Argentina/Rio_Gallegos"),
        (1.3, 172.9, "Pacific/Tarawa"),
        (37.25, -6.95, "UTC"),
        (0.3, 32.6, "Africa/Kampala"),
        (25.8, -80.2, "America/New_York"),
    ],
)
def test_places_that_keep_their_zone_are_not_doubted(
    latitude_deg: float, longitude_deg: float, time_zone: str
) -> None:
    job = at(latitude_deg, longitude_deg, time_zone)
    assert place_slips(job, zone_place(time_zone)) == []


def test_height_against_a_coarse_map() -> None:
    # Denver stands 1,609 m (5,280 ft) above the sea, Amsterdam at its level.
    denver_m = propagation.ground_height_m(39.74, -104.99)
    assert denver_m == pytest.approx(1609.0, abs=500.0)
    assert height_slips(changed(site={"height_m": 1609.0}), denver_m) == []
    (found,) = height_slips(changed(site={"height_m": 5280.0}), denver_m)
    assert "if that is in feet, write 1609" in found
    (found,) = height_slips(changed(site={"height_m": 4000.0}), propagation.ground_height_m(52.37, 4.9))
    assert "the ground there is about" in found and "above the sea on a coarse map" in found


@pytest.mark.parametrize(
    ("job", "words"),
    [
        (changed(transmitter={"power_w": 39.0}), "39 dBm, write 7.94"),
        (changed(service={"stream_mbps": 5.0}), "more than the booked uplink of 4 Mbit/s"),
        (changed(uplink={"frequency_ghz": 11.0}), "are they swapped?"),
        (
            changed(downlink={"frequency_ghz": 14.05}, uplink={"frequency_ghz": 11.45}),
            "an uplink at 11.45 GHz and a downlink at 14.05 GHz",
        ),
        (changed(downlink={"frequency_ghz": 1.45}), "range of the intermediate frequency"),
        (changed(uplink={"frequency_ghz": 1.25}), "uplink.frequency_ghz is in the range"),
        (changed(downlink={"frequency_ghz": 3.9}), "are no pair of one band"),
        (
            changed(antenna={"efficiency": None, "receive_gain_dbi": 45.0, "transmit_gain_dbi": 41.0}),
            "antenna.receive_gain_dbi = 45 is more than a dish of 0.98 m has at 11.45 GHz",
        ),
        (changed(antenna={"efficiency": 0.95}), "antenna.efficiency = 0.95 is more than dishes have"),
        (
            changed(day={"end_unix_s": sample_job().day.start_unix_s + 74 * 3600}),
            "The job lasts 74 hours: are day.start and day.end right?",
        ),
    ],
)
def test_suspicious_settings_are_named(job: Job, words: str) -> None:
    (found,) = job_slips(job)
    assert words.lower() in found.lower()


@pytest.mark.parametrize(
    ("down_ghz", "up_ghz"),
    [(11.45, 14.05), (3.95, 6.2), (7.5, 8.1), (19.7, 29.5), (12.5, 17.8), (1.54, 1.65), (39.0, 47.5)],
)
def test_usual_bands_are_no_slip(down_ghz: float, up_ghz: float) -> None:
    assert job_slips(changed(downlink={"frequency_ghz": down_ghz}, uplink={"frequency_ghz": up_ghz})) == []


def margins(job: Job) -> list[str]:
    """What is doubted of both directions' results."""
    return [
        one
        for direction in directions(job, VIEW)
        for one in budget_slips(direction.link, budget(job, direction), job.transmitter.output_back_off_db)
    ]


def test_a_transponder_taken_for_the_carrier() -> None:
    # 50 dBW for a carrier of 6 MHz; in a transponder of 36 MHz it would get 10 log 6 = 8 dB less.
    (found,) = margins(changed(uplink={"highest_modcod": "8PSK 9/10"}))
    assert "is downlink.eirp_dbw that of the whole transponder; if it is, a carrier of 6.0 MHz" in found
    assert "gets some 8 dB less" in found
    assert margins(changed(downlink={"eirp_dbw": 42.0}, uplink={"highest_modcod": "8PSK 9/10"})) == []
    assert "check transmitter.power_w" in " ".join(margins(changed(uplink={"satellite_gt_dbk": 25.0})))


def test_interference_that_breaks_the_link_by_itself() -> None:
    job = changed(downlink={"eirp_dbw": 42.0}, uplink={"interference_cn_db": 9.0})
    assert any(
        "uplink.interference_cn_db = 9 alone keeps the booked rate from being carried" in one
        for one in margins(job)
    )


def test_a_modcod_that_wants_more_back_off() -> None:
    # 16APSK over a saturating amplifier wants 2 to 3 dB (common practice); 1 dB is what the job has.
    (found,) = margins(changed(downlink={"eirp_dbw": 42.0}))
    assert "The uplink would use 16APSK 4/5 with 1 dB of back-off; 16APSK wants about 2.5 dB" in found
    assert "uplink.highest_modcod" in found
    linear = changed(downlink={"eirp_dbw": 42.0}, transmitter={"output_back_off_db": 3.0, "power_w": 12.0})
    assert margins(linear) == []
    (found,) = job_slips(changed(uplink={"power_control_db": 6.0}))
    assert "uplink.power_control_db = 6 is more than the back-off of 1 dB leaves" in found


def test_stream_over_the_booked_uplink_never_works() -> None:
    plan = compute_plan(changed(downlink={"eirp_dbw": 42.0}, service={"up_mbps": 2.0}))
    assert plan.verdict.answer == "does not work"
    assert plan.verdict.reason.startswith("The stream of 2.5 Mbit/s is more than the booked uplink of 2")


def test_hidden_satellite_names_the_slip_that_hides_it() -> None:
    # From 37 N 100 W a satellite at 105 E is on the other side of the earth; at 105 W it stands high.
    hidden = changed(site={"longitude_deg": -100.0}, satellite={"longitude_deg": 105.0})
    assert any("satellite.longitude_deg turned" in one for one in hidden_satellite_slips(hidden))


@pytest.mark.parametrize(
    ("down", "up", "words"),
    [
        ("circular", "circular", "no turn of the feed; check left or right hand"),
        ("vertical", "horizontal", "(downlink vertical, uplink horizontal)"),
        ("circular", "horizontal", "(uplink horizontal)"),
    ],
)
def test_feed_turn_names_zero_and_direction(down: str, up: str, words: str) -> None:
    job = changed(downlink={"polarisation": down}, uplink={"polarisation": up})
    sentence = feed_turn(compute_plan(job).pointing, job)
    assert words in sentence
    if up == "horizontal":
        # The satellite at 8 E stands south-east of 6.95 W: its axis leans to the left.
        assert (
            "counter-clockwise" in sentence and "zero is where" in sentence and "behind the dish" in sentence
        )


@given(st.floats(-89.0, 89.0), st.floats(-180.0, 180.0))
def test_property_any_place_is_judged(latitude_deg: float, longitude_deg: float) -> None:
    job = at(latitude_deg, longitude_deg, "Europe/Madrid")
    assert len(place_slips(job, zone_place("Europe/Madrid"))) <= 1
    assert len(height_slips(job, 0.0)) <= 1
