"""How evidence turns the judgement of one loss: all statements are the trade's own (common practice)."""

from dataclasses import replace
from math import inf, nan

from agent.watch.causes import weigh
from agent.watch.rule_set import default_rules
from agent.watch.signal_facts import SignalFacts
from agent.watch.uplink import UplinkLoss

ENOUGH = float(default_rules().values["repeak.confidence"][0])

# 2 dB that took an hour to come, seen every 5 s by a modem without an uplink figure, under an unknown sky.
SLIDE = SignalFacts(
    loss_db=2.0,
    noise_db=0.05,
    resolution_db=0.1,
    coarse=False,
    interval_s=5.0,
    onset_s=inf,
    slow_start=False,
    age_s=2400.0,
    jump_age_s=2400.0,
    rise_db=2.0,
    jump_db=2.0,
    flat_s=130.0,
    slide_s=3600.0,
    turns=0,
    worsened=0,
    gust_at_onset=False,
    knock_at_onset=False,
    rain_measured=False,
    rain_noted=0.0,
    gauge_dry=False,
    gauge_due=False,
    rain_over=False,
    rained=False,
    roughness=2.0,
    went_before=0,
    rain_reach_db=20.0,
    cloud_reach_db=0.3,
    sun_loss_db=0.0,
    dips=0,
    locked=True,
    downlink_loss_db=2.0,
    downlink_noise_db=0.05,
    uplink_loss_db=nan,
    uplink_noise_db=nan,
    controlled=0.2,
    uplink_expected=UplinkLoss(3.0, 0.9, 2.5),
)
# 3 dB that took six minutes to come and have stood for ten.
SHOWER_LIKE = replace(
    SLIDE, loss_db=3.0, onset_s=360.0, slow_start=True, age_s=960.0, flat_s=610.0, slide_s=960.0
)


def mispoint(facts: SignalFacts) -> float:
    return weigh(facts)[0]["mispoint"]


def test_what_grows_slowly_under_an_unknown_sky_may_be_a_front() -> None:
    assert mispoint(SLIDE) < ENOUGH
    assert mispoint(replace(SLIDE, gauge_dry=True)) > ENOUGH


def test_a_gauge_that_stayed_dry_all_the_time_clears_the_rain() -> None:
    assert mispoint(SHOWER_LIKE) < ENOUGH
    assert mispoint(replace(SHOWER_LIKE, gauge_dry=True)) > ENOUGH
    assert mispoint(replace(SHOWER_LIKE, gauge_dry=True, age_s=600.0)) < ENOUGH


def test_what_no_rain_can_take_is_no_rain_however_it_came() -> None:
    assert mispoint(replace(SHOWER_LIKE, rain_reach_db=2.0)) > ENOUGH
    assert weigh(replace(SHOWER_LIKE, rain_reach_db=2.0))[0]["rain"] < 0.1


def test_rain_that_was_noted_during_this_loss_is_not_forgotten() -> None:
    steady = replace(SLIDE, onset_s=10.0, slow_start=True, flat_s=310.0)
    assert mispoint(steady) > ENOUGH > mispoint(replace(steady, rained=True))


def test_clouds_at_ka_band_grow_for_hours_too() -> None:
    dry = replace(SLIDE, loss_db=0.9, jump_db=0.9, gauge_dry=True)
    assert mispoint(dry) > ENOUGH > mispoint(replace(dry, cloud_reach_db=1.0))


def test_a_very_deep_loss_is_rather_the_skys() -> None:
    deep = replace(SLIDE, loss_db=9.0, onset_s=nan, flat_s=700.0)
    assert mispoint(deep) < mispoint(replace(deep, loss_db=5.0))


def test_what_came_and_went_is_forgotten_once_the_level_has_long_stood_still() -> None:
    """A gust within a shower shows when the shower has passed."""
    after = replace(SLIDE, onset_s=nan, gauge_dry=True, turns=2, slide_s=0.0, flat_s=310.0)
    assert mispoint(after) < ENOUGH < mispoint(replace(after, flat_s=1260.0))


def test_steadiness_does_not_clear_a_cloud() -> None:
    stood = replace(SLIDE, loss_db=1.5, jump_db=1.5, slide_s=0.0, flat_s=1260.0, cloud_reach_db=1.0)
    assert mispoint(stood) < ENOUGH
    assert mispoint(replace(stood, onset_s=10.0)) > ENOUGH


def test_an_uplink_that_contradicts_the_dish_leaves_slow_growth_to_the_sky() -> None:
    """It lost what rain takes, half of what a turned dish would."""
    grown = replace(SLIDE, uplink_loss_db=3.0, uplink_noise_db=0.05)
    assert mispoint(grown) > ENOUGH > mispoint(replace(grown, uplink_loss_db=1.5))


def test_a_shower_may_have_begun_what_a_turned_dish_has_kept_up() -> None:
    begun = replace(
        SLIDE, onset_s=60.0, slow_start=True, slide_s=0.0, uplink_loss_db=3.0, uplink_noise_db=0.05
    )
    assert mispoint(begun) < ENOUGH < mispoint(replace(begun, flat_s=1260.0))


def test_a_coarse_display_between_two_of_its_steps_jumps_by_itself() -> None:
    """No rain takes so much here; a fine display that comes and goes shows that something does."""
    jumping = replace(SLIDE, rain_reach_db=1.0, flat_s=310.0, turns=2)
    coarse = replace(jumping, coarse=True, resolution_db=3.0)
    assert coarse.on_an_edge and not jumping.on_an_edge
    assert mispoint(coarse) > mispoint(jumping)
    assert mispoint(replace(coarse, rain_reach_db=20.0)) < mispoint(coarse)


def test_an_uplink_that_the_network_levels_says_nothing_of_the_sky() -> None:
    reported = replace(SLIDE, uplink_loss_db=0.1, uplink_noise_db=0.05, controlled=0.2)
    assert not reported.sky_unknown
    assert replace(reported, controlled=0.95).sky_unknown


def test_a_gauge_that_is_soon_to_be_read_is_waited_for() -> None:
    """An edge of three minutes may be the front of a shower; a knock that the crew saw is none."""
    edge = replace(SLIDE, onset_s=20.0, age_s=190.0, jump_age_s=190.0, flat_s=180.0, slide_s=190.0)
    assert mispoint(edge) > ENOUGH
    assert mispoint(replace(edge, gauge_due=True)) < ENOUGH
    assert mispoint(replace(edge, gauge_due=True, knock_at_onset=True)) > ENOUGH
