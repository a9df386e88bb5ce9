"""The invented days that come with peakshade, each with its story and seed."""

from collections.abc import Mapping
from dataclasses import dataclass

from tests.simulate.jobs import PLACES, job_of
from tests.simulate.scenario import (
    Blockage,
    ClockJump,
    Congestion,
    Crew,
    Duplicates,
    LanTrouble,
    LateBurst,
    Mispoint,
    MissingInput,
    Outage,
    Rain,
    Reboot,
    Scenario,
    Sensors,
    StuckSensor,
)
from tests.simulate.sky import SkyKind
from tests.simulate.terminal import Hardware

HOUR_S = 3600.0
MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class Bundled:
    """A scenario with the seed that it is simulated with."""

    scenario: Scenario
    seed: int


def _salt_pan() -> Scenario:
    return Scenario(
        name="salt-pan-summer",
        title="Regatta on the salt pan: hot, clear, one gust",
        story=(
            "A hot, clear July day on a salt pan by the sea. The van came late and nobody put up the shade;"
            " an hour after set-up the transmitter nears its limit, and Nell shades it. After noon the sea"
            " breeze sets in with a gust that costs 1.8 dB; Tomo peaks the dish again a quarter of an hour"
            " later, between two races."
        ),
        job=job_of(PLACES["salt-pan"], "Ku", "2026-07-18T10:00:00", 5.0, air=(37.0, 35.0)),
        sky=SkyKind(
            air_low_degc=22.0, air_high_degc=37.0, cloud_fraction=0.0, wind_m_s=4.0, humidity_percent=40.0
        ),
        hardware=Hardware(down_offset_db=-0.2, sun_rise_k=20.0, loss_rise_k=14.0, heating_tau_s=2100.0),
        sensors=Sensors(test_step_s=900.0),
        crew=Crew(shade_margin_k=2.0, shade_delay_s=420.0),
        episodes=(Mispoint(how="gust", at_s=2.75 * HOUR_S, loss_db=1.8, mended_after_s=15.0 * MINUTE_S),),
    )


def _quiet_dune() -> Scenario:
    return Scenario(
        name="quiet-dune",
        title="Trail run past the long dune: nothing wrong all day",
        story=(
            "A mild winter day in the desert, southern hemisphere. The crew shades the transmitter during"
            " set-up, the dish stays where it was peaked, and nothing else happens."
        ),
        job=job_of(PLACES["dune"], "Ku", "2026-07-05T07:30:00", 9.0, air=(24.0, 20.0)),
        sky=SkyKind(
            air_low_degc=9.0, air_high_degc=24.0, cloud_fraction=0.1, wind_m_s=3.0, humidity_percent=25.0
        ),
        hardware=Hardware(down_offset_db=0.2, up_offset_db=-0.1, drift_db=0.15),
        crew=Crew(shade_at_s=900.0, names=("Ilse", "Petrus")),
    )


def _estuary() -> Scenario:
    return Scenario(
        name="estuary-rain",
        title="Boat christening on the estuary: showers, and a tripod in soft ground",
        story=(
            "Two showers cross the slipway. Under the second one the tripod starts to sink into the wet"
            " ground, so that the signal does not come all the way back; when it is dry the crew peaks again."
        ),
        job=job_of(PLACES["estuary"], "Ku", "2026-05-09T08:00:00", 9.0, air=(15.0, 80.0)),
        sky=SkyKind(
            air_low_degc=8.0, air_high_degc=15.0, cloud_fraction=0.7, wind_m_s=6.0, humidity_percent=75.0
        ),
        hardware=Hardware(down_offset_db=-0.4, up_offset_db=0.2, drift_db=0.1),
        sensors=Sensors(noise_db=0.12, scintillation_db=0.1),
        crew=Crew(shade_at_s=1200.0, names=("Wren", "Colm")),
        episodes=(
            Rain(at_s=2.2 * HOUR_S, lasts_s=2700.0, peak_db=3.0, rate_mm_h=16.0, noted_after_s=300.0),
            Rain(at_s=5.0 * HOUR_S, lasts_s=3900.0, peak_db=4.5, rate_mm_h=25.0),
            Mispoint(
                how="slide",
                at_s=5.6 * HOUR_S,
                loss_db=2.2,
                over_s=4500.0,
                toward_deg=-80.0,
                mended_after_s=5400.0,
            ),
        ),
    )


def _sun_pass() -> Scenario:
    return Scenario(
        name="plateau-sun-pass",
        title="Rally stage on the red plateau: sun pass on a hot day",
        story=(
            "Late March in the south. The sun passes behind the satellite while the transmitter is hot; the"
            " signal falls and comes back by itself within a quarter of an hour, and the right thing is to"
            " wait. The shade comes in time. Late in the day somebody stumbles over the tripod."
        ),
        job=job_of(PLACES["plateau"], "Ku", "2026-03-31T08:00:00", 9.0, air=(38.0, 25.0)),
        sky=SkyKind(
            air_low_degc=23.0, air_high_degc=38.0, cloud_fraction=0.05, wind_m_s=3.0, humidity_percent=30.0
        ),
        hardware=Hardware(up_offset_db=0.3, sun_rise_k=15.0),
        crew=Crew(shade_margin_k=4.0, shade_delay_s=900.0, names=("Bea", "Jonty")),
        episodes=(
            Mispoint(how="knock", at_s=7.0 * HOUR_S, loss_db=2.6, toward_deg=170.0, mended_after_s=1080.0),
        ),
    )


def _quay() -> Scenario:
    return Scenario(
        name="quay-blockages",
        title="Market on the quay: trucks, people and a birch in the beam",
        story=(
            "A low satellite behind a busy quay. A delivery truck parks in the beam, a queue forms before the"
            " dish, and a birch swings into it. In the afternoon the radio hop to the stage is bad; the"
            " carrier is fine all the while."
        ),
        job=job_of(PLACES["fjord"], "Ku", "2026-06-13T09:00:00", 8.0, air=(17.0, 65.0)),
        sky=SkyKind(
            air_low_degc=10.0, air_high_degc=17.0, cloud_fraction=0.3, wind_m_s=5.0, humidity_percent=65.0
        ),
        hardware=Hardware(down_offset_db=0.1, drift_db=0.1),
        sensors=Sensors(scintillation_db=0.15, scintillation_tau_s=12.0, test_step_s=600.0),
        crew=Crew(shade_at_s=600.0, names=("Sunniva", "Odd")),
        episodes=(
            Blockage(what="truck", at_s=1.8 * HOUR_S, lasts_s=420.0, depth_db=14.0),
            Blockage(what="people", at_s=3.0 * HOUR_S, lasts_s=150.0, depth_db=7.0),
            Blockage(what="tree", at_s=3.9 * HOUR_S, lasts_s=240.0, depth_db=6.0),
            LanTrouble(at_s=5.2 * HOUR_S, lasts_s=3600.0, loss_percent=9.0, rate_share=0.35),
        ),
    )


def _pampa() -> Scenario:
    return Scenario(
        name="pampa-gusts",
        title="Cattle fair at the crossroads: three gusts and a truck",
        story=(
            "A windy summer day. Gusts move the dish three times; the smallest is not worth a re-peak and the"
            " crew leaves it. Just after the second a truck stops in the beam and hides what the gust did."
        ),
        job=job_of(PLACES["pampa"], "Ku", "2026-01-24T08:00:00", 9.0, air=(30.0, 45.0)),
        sky=SkyKind(
            air_low_degc=16.0, air_high_degc=30.0, cloud_fraction=0.25, wind_m_s=8.0, humidity_percent=45.0
        ),
        hardware=Hardware(down_offset_db=-0.3, drift_db=0.2),
        sensors=Sensors(noise_db=0.15),
        crew=Crew(shade_at_s=1800.0, names=("Delia", "Ramiro")),
        episodes=(
            Mispoint(how="gust", at_s=1.9 * HOUR_S, loss_db=0.4, mended_after_s=None),
            Mispoint(how="gust", at_s=4.0 * HOUR_S, loss_db=2.0, toward_deg=-120.0, mended_after_s=1500.0),
            Blockage(what="truck", at_s=4.0 * HOUR_S + 200.0, lasts_s=300.0, depth_db=11.0),
            Mispoint(how="gust", at_s=6.6 * HOUR_S, loss_db=1.5, toward_deg=10.0, mended_after_s=1200.0),
        ),
    )


def _steppe() -> Scenario:
    return Scenario(
        name="steppe-power",
        title="Horse race on the steppe: generator out, modem restarted",
        story=(
            "The generator runs dry at noon and the battery carries the terminal for forty minutes. Later the"
            " modem is restarted by mistake, and the weather station falls silent. The carrier is never the"
            " trouble."
        ),
        job=job_of(PLACES["steppe"], "Ku", "2026-05-23T08:30:00", 8.0, air=(26.0, 40.0)),
        sky=SkyKind(
            air_low_degc=11.0, air_high_degc=26.0, cloud_fraction=0.2, wind_m_s=4.0, humidity_percent=40.0
        ),
        hardware=Hardware(down_offset_db=0.3, drift_db=0.1),
        sensors=Sensors(quality="cn", resolution_db=0.1),
        crew=Crew(shade_at_s=1500.0, names=("Aru", "Daniyar")),
        episodes=(
            Outage(at_s=3.5 * HOUR_S, lasts_s=2400.0),
            Reboot(at_s=5.0 * HOUR_S, lasts_s=110.0),
            MissingInput(kind="weather", at_s=5.5 * HOUR_S, lasts_s=1.5 * HOUR_S),
        ),
    )


def _dry_lake() -> Scenario:
    return Scenario(
        name="dry-lake-never-shaded",
        title="Rocket meeting on the dry lake: nobody shades the transmitter",
        story=(
            "Forty degrees and no shade. The uplink weakens as the transmitter heats while the downlink stays"
            " as it was; in the afternoon the transmitter shuts itself down and comes back warm, again and"
            " again."
        ),
        job=job_of(PLACES["dry-lake"], "Ku", "2026-08-08T08:00:00", 10.0, air=(41.0, 12.0)),
        sky=SkyKind(
            air_low_degc=26.0, air_high_degc=41.0, cloud_fraction=0.0, wind_m_s=3.0, humidity_percent=15.0
        ),
        hardware=Hardware(
            sun_rise_k=17.0, loss_rise_k=13.0, heating_tau_s=2000.0, derating_db_k=0.15, trip_k=14.0
        ),
        crew=Crew(names=("Marge", "Lew")),
    )


def _full_network() -> Scenario:
    return Scenario(
        name="full-network",
        title="Evening concert on the salt pan: the network beyond is full",
        story=(
            "The carrier is as planned all evening, but from seven on the network beyond the satellite is"
            " full: the round trip doubles and a third of the rate is left. Before that a bad cable between"
            " modem and encoder loses packets for an hour."
        ),
        job=job_of(PLACES["salt-pan"], "Ku", "2026-09-19T14:00:00", 8.0, air=(28.0, 55.0)),
        sky=SkyKind(
            air_low_degc=18.0, air_high_degc=28.0, cloud_fraction=0.3, wind_m_s=3.0, humidity_percent=55.0
        ),
        hardware=Hardware(up_offset_db=0.2, drift_db=0.1),
        sensors=Sensors(test_step_s=600.0),
        crew=Crew(shade_at_s=900.0),
        episodes=(
            LanTrouble(at_s=2.5 * HOUR_S, lasts_s=3600.0, loss_percent=6.0, rate_share=0.4),
            Congestion(at_s=5.0 * HOUR_S, lasts_s=5400.0, added_rtt_ms=550.0, rate_share=0.33),
        ),
    )


def _mangrove() -> Scenario:
    return Scenario(
        name="mangrove-ka-storms",
        title="Kite festival at the mangrove point: Ka band and tropical storms",
        story=(
            "Ka band near the equator with the satellite almost overhead. A shower in the morning and a"
            " thunderstorm after noon, the second so deep that the modem loses the carrier. Nothing is wrong"
            " with the dish."
        ),
        job=job_of(PLACES["mangrove"], "Ka", "2026-11-14T09:00:00", 8.0, limit_degc=60.0, air=(32.0, 75.0)),
        sky=SkyKind(
            air_low_degc=24.0, air_high_degc=32.0, cloud_fraction=0.5, wind_m_s=3.0, humidity_percent=78.0
        ),
        hardware=Hardware(down_offset_db=-0.5, up_offset_db=-0.3, drift_db=0.2, loss_rise_k=10.0),
        sensors=Sensors(signal_step_s=2.0, noise_db=0.12, scintillation_db=0.12),
        crew=Crew(shade_at_s=1200.0, names=("Aisha", "Ben")),
        episodes=(
            Rain(at_s=1.6 * HOUR_S, lasts_s=2400.0, peak_db=5.0, rate_mm_h=18.0),
            Rain(at_s=4.7 * HOUR_S, lasts_s=4200.0, peak_db=16.0, rate_mm_h=70.0, noted_after_s=420.0),
        ),
    )


def _lagoon() -> Scenario:
    return Scenario(
        name="lagoon-c-band",
        title="Canoe crossing at the lagoon: C band, a percent figure, a slow slide",
        story=(
            "A large dish on a trailer and an old modem that says a percentage twice a minute. Coral sand"
            " gives way under one foot; over two hours the dish slides away, and the crew levels and peaks."
        ),
        job=job_of(PLACES["lagoon"], "C", "2026-07-25T07:30:00", 9.0, limit_degc=60.0, air=(27.0, 70.0)),
        sky=SkyKind(
            air_low_degc=19.0, air_high_degc=27.0, cloud_fraction=0.4, wind_m_s=6.0, humidity_percent=70.0
        ),
        hardware=Hardware(down_offset_db=0.2, drift_db=0.3, drift_hour=10.0, sun_rise_k=12.0),
        sensors=Sensors(signal_step_s=30.0, other_step_s=60.0, quality="percent", uplink_reported=False),
        crew=Crew(shade_at_s=1800.0, names=("Mere", "Sefa")),
        episodes=(
            Mispoint(
                how="slide",
                at_s=3.0 * HOUR_S,
                loss_db=3.0,
                over_s=7200.0,
                toward_deg=-90.0,
                mended_after_s=8400.0,
            ),
        ),
    )


def _quiet_faulty() -> Scenario:
    return Scenario(
        name="quiet-poor-sensors",
        title="Sheep shearing by the estuary: a good day seen through poor sensors",
        story=(
            "Nothing is wrong with the link. The modem shows five steps once a minute, the crew's clock is an"
            " hour off for a while, one thermometer sticks, and a radio hop delivers late and twice."
        ),
        job=job_of(PLACES["estuary"], "Ku", "2026-10-24T09:00:00", 8.0, air=(12.0, 80.0)),
        sky=SkyKind(
            air_low_degc=6.0, air_high_degc=12.0, cloud_fraction=0.6, wind_m_s=4.0, humidity_percent=80.0
        ),
        hardware=Hardware(down_offset_db=0.2, drift_db=0.1),
        sensors=Sensors(
            signal_step_s=60.0,
            other_step_s=30.0,
            quality="five",
            uplink_reported=False,
            power_reported=False,
            rain_gauge=False,
        ),
        crew=Crew(shade_at_s=900.0, names=("Wren", "Colm")),
        episodes=(
            ClockJump(kind="temperature", at_s=2.0 * HOUR_S, lasts_s=1.5 * HOUR_S, by_s=-3600.0),
            StuckSensor(kind="transmitter", at_s=4.0 * HOUR_S, lasts_s=2400.0),
            LateBurst(kind="throughput", at_s=5.0 * HOUR_S, lasts_s=100.0),
            Duplicates(kind="signal", at_s=6.0 * HOUR_S, lasts_s=1800.0),
        ),
    )


def bundled_days() -> Mapping[str, Bundled]:
    """Every bundled day by its folder's name, the demonstration first."""
    scenarios = (
        _salt_pan(),
        _quiet_dune(),
        _estuary(),
        _sun_pass(),
        _quay(),
        _pampa(),
        _steppe(),
        _dry_lake(),
        _full_network(),
        _mangrove(),
        _lagoon(),
        _quiet_faulty(),
    )
    return {scenario.name: Bundled(scenario, 7001 + number) for number, scenario in enumerate(scenarios)}
