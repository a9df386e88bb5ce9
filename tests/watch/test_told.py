"""What each rule tells, as codes and figures, of a view that is known in full: every branch of its words.

The statements are the trade's own (common practice): rain and sun passes are waited for, shade before less
power, the signal first where it explains the rate.
"""

from dataclasses import replace
from math import inf, isnan, nan
from typing import Any

import pytest

from agent.heat.thermal import Forecast
from agent.link_plan import SunPass, SunPassEffect
from agent.plan.antenna import pointing_loss_db
from agent.watch.causes.verdict import Verdict
from agent.watch.feature_stage import View
from agent.watch.features import Features
from agent.watch.heat_watch import HeatView, UnitView
from agent.watch.link_state import LinkView
from agent.watch.rate import RateFacts
from agent.watch.rules import RULES
from agent.watch.rules.shade import shade_falls_short, shade_news, shade_works
from agent.watch.rules.told import aged, finite, how_sure, known, rate_figures, signal_figures
from agent.watch.signal_watch import SignalView
from agent.watch.words import text
from agent.wording import Said
from tests.plan.sample_job import job
from tests.watch.sample_day import at, filled, plan

NOW = at(100.0)
QUIET_LINK: dict[str, Any] = {
    "knock": False, "gust": False, "rain_seen": False, "power_changed": False, "lost_s": 0.0,
    "silent_s": 5.0, "usual_s": 10.0, "accepted": False, "adopted": False,
}  # fmt: skip
QUIET_SIGNAL: dict[str, Any] = {
    "level_db": 14.0, "deficit_db": 0.0, "unexplained_db": 0.0, "next_pass": None, "sun_pass_now": False,
    "rain_hides": False, "verdict": None,
}  # fmt: skip
COOL: dict[str, Any] = {
    "where": "transmitter", "limit_degc": 55.0, "temperature_degc": 40.0, "slope_k_per_min": 0.0,
    "to_limit": None, "exposure_s": 600.0, "blind": False, "shaded": False, "shade_age_s": inf,
    "age_s": 10.0, "usual_s": 60.0, "over_since_unix_s": nan, "sunlit": True,
}  # fmt: skip


def likely(**shares: float) -> Verdict:
    """A verdict with these shares and nothing else behind it."""
    return filled(Verdict, likely=shares)


def unit(**told: Any) -> UnitView:
    return filled(UnitView, **(COOL | told))


def view(clock_stepped_s: float = nan, heat: UnitView | None = None, **told: Any) -> View:
    """A quiet view but for what is told: features by name, and the rest as link_, signal_ and rate_."""
    parts: dict[str, dict[str, Any]] = {"link": {}, "signal": {}, "rate": {}, "features": {}}
    for name, value in told.items():
        head, _, tail = name.partition("__")
        parts[head if tail else "features"][tail or name] = value
    return View(
        unix_s=NOW,
        features=filled(Features, **({"dips": 0.0} | parts["features"])),
        link=filled(LinkView, **(QUIET_LINK | parts["link"])),
        signal=filled(SignalView, **(QUIET_SIGNAL | parts["signal"])),
        heat=HeatView((heat or unit(), unit(where="modem", shaded=True, exposure_s=0.0)), None, nan),
        rate=filled(RateFacts, **parts["rate"]),
        silent="reach",
        clock_stepped_s=clock_stepped_s,
        plan=plan(),
        job=job(),
    )


def codes(said: tuple[Said, ...]) -> list[str]:
    return [one.code for one in said]


def to_limit(planned_s: float) -> Forecast:
    return Forecast(likely_s=planned_s + 60.0, planned_s=planned_s, early_s=planned_s - 60.0, peak_degc=60.0)


def covered(shade_age_s: float, **told: Any) -> UnitView:
    """Under a shade of that age, on its way to the limit."""
    return unit(to_limit=to_limit(900.0), shaded=True, shade_age_s=shade_age_s, **told)


SUN, RAIN = {"signal__sun_pass_now": True}, {"signal__rain_hides": True}
DOWN = {"link__lost_s": 60.0}


@pytest.mark.parametrize(
    ("told", "cause", "action", "reasons"),
    [
        (DOWN, "none", "down-look", ["down-nothing-known"]),
        (DOWN | SUN | {"link__rain_seen": True}, "sun-pass", "down-sun-pass", ["sun-behind", "rain-seen"]),
        (
            DOWN | {"link__power_changed": True, "link__knock": True},
            "power",
            "down-power",
            ["supply-changed", "knock"],
        ),
        (
            DOWN | {"link__knock": True, "link__rain_seen": True},
            "mispoint",
            "down-dish",
            ["knock", "rain-seen"],
        ),
        (DOWN | {"link__rain_seen": True, "link__gust": True}, "rain", "down-rain", ["rain-seen", "gust"]),
        (DOWN | {"link__gust": True}, "mispoint", "down-dish", ["gust"]),
    ],
)  # fmt: skip
def test_why_the_link_is_down(told: dict[str, Any], cause: str, action: str, reasons: list[str]) -> None:
    rule, seen = RULES["link-down"], view(**told)
    assert (rule.cause(seen), rule.action(seen).code, rule.headline(seen).code) == (
        cause,
        action,
        "link-down",
    )
    assert codes(rule.evidence(seen)) == ["lock-lost-since", *reasons]
    assert all(one.side == "for" for one in rule.evidence(seen)[1:] if one.code != "down-nothing-known")


def test_a_link_that_comes_up_is_waited_for() -> None:
    rule, seen = RULES["link-down"], view()
    assert (rule.headline(seen).code, rule.action(seen).code) == ("coming-up", "wait-coming-up")
    assert rule.evidence(seen)[0].code == "lock-back"
    assert rule.figures(view(signal__deficit_db=2.0, **DOWN)) == {"lost_s": 60.0, "reference_db": 16.0}
    assert rule.figures(view(signal__level_db=nan)) == {"lost_s": 0.0}


@pytest.mark.parametrize(
    ("told", "cause", "action"),
    [
        (SUN | RAIN, "sun-pass", "down-sun-pass"),
        (RAIN, "rain", "stream-waits-for-rain"),
        ({"signal__deficit_db": 2.0}, "none", "signal-first"),
        ({"signal__deficit_db": 1.9}, "none", "find-dead-hop"),
    ],
)
def test_what_to_do_about_a_stream_that_is_down(told: dict[str, Any], cause: str, action: str) -> None:
    rule, seen = RULES["stream-down"], view(**told)
    assert (rule.cause(seen), rule.action(seen).code) == (cause, action)


@pytest.mark.parametrize(
    ("heat", "headline", "action"),
    [
        (unit(exposure_s=4000.0), "long-in-sun", "shade-now"),
        (unit(to_limit=to_limit(900.0)), "gets-too-hot", "shade-now"),
        (unit(temperature_degc=55.0), "over-limit", "shade-over"),
        (unit(temperature_degc=54.9), "long-in-sun", "shade-now"),
        (unit(to_limit=to_limit(900.0), shaded=True, shade_age_s=299.0), "gets-too-hot", "shade-wait"),
        (covered(300.0), "gets-too-hot", "more-than-shade-transmitter"),
        (covered(300.0, slope_k_per_min=-0.06), "gets-too-hot", "cooling-leave-it"),
        (covered(3601.0, slope_k_per_min=-0.06), "gets-too-hot", "more-than-shade-transmitter"),
        (
            covered(300.0, slope_k_per_min=-0.06, temperature_degc=56.0),
            "over-limit",
            "more-than-shade-transmitter-over",
        ),
        (unit(to_limit=to_limit(900.0), sunlit=False), "gets-too-hot", "more-air-transmitter"),
        (unit(where="modem", to_limit=to_limit(900.0), shaded=True), "gets-too-hot", "more-air-modem"),
    ],
)  # fmt: skip
def test_what_cools_a_unit(heat: UnitView, headline: str, action: str) -> None:
    rule, seen = RULES["shade"], view(heat=heat)
    assert (rule.headline(seen).code, rule.action(seen).code) == (headline, action)


def test_what_speaks_for_shade() -> None:
    rule = RULES["shade"]
    hot = unit(to_limit=to_limit(900.0), temperature_degc=50.0, slope_k_per_min=0.4)
    seen = view(heat=hot, heat_loss_db=0.5)
    assert codes(rule.evidence(seen)) == ["temperature", "exposure", "slope", "limit-in", "heat-loss"]
    assert rule.evidence(seen)[0].figures == {"temperature_degc": 50.0, "limit_degc": 55.0}
    assert rule.evidence(seen)[3].figures == {"planned_s": 900.0, "early_s": 840.0}
    assert rule.deadline_unix_s(seen) == NOW + 900.0
    assert rule.figures(seen) == {
        "exposure_s": 600.0, "limit_degc": 55.0, "temperature_degc": 50.0, "slope_k_per_min": 0.4,
        "to_limit_s": 900.0, "to_limit_early_s": 840.0, "heat_loss_db": 0.5,
    }  # fmt: skip
    over = view(heat=unit(temperature_degc=56.0, over_since_unix_s=NOW - 120.0, to_limit=to_limit(60.0)))
    assert codes(rule.evidence(over)) == ["temperature", "over-limit-since", "exposure", "slope"]
    assert rule.evidence(over)[1].figures == {"since_unix_s": NOW - 120.0, "over_s": 120.0}
    cool = view(heat=unit(), heat_loss_db=0.4)
    assert rule.deadline_unix_s(cool) is None
    assert codes(rule.evidence(cool)) == ["temperature", "exposure", "slope"]
    assert "heat_loss_db" not in rule.figures(cool) and "to_limit_s" not in rule.figures(cool)
    assert "to_limit_s" not in rule.figures(view(heat=unit(to_limit=to_limit(inf))))
    at_limit = view(heat=unit(to_limit=to_limit(0.0)))
    assert rule.deadline_unix_s(at_limit) is None and "limit-in" not in codes(rule.evidence(at_limit))


@pytest.mark.parametrize(
    ("age_s", "usual_s", "old"),
    [(120.0, 10.0, False), (121.0, 10.0, True), (400.0, 200.0, False), (401.0, 200.0, True)],
)
def test_an_old_temperature_says_its_age_and_has_no_slope(age_s: float, usual_s: float, old: bool) -> None:
    evidence = RULES["shade"].evidence(view(heat=unit(age_s=age_s, usual_s=usual_s)))
    assert ("age_s" in evidence[0].figures) is old
    assert ("slope" in codes(evidence)) is not old


def test_whether_a_shade_works_is_judged_after_five_minutes_and_within_the_hour() -> None:
    assert shade_news(unit(shade_age_s=200.0)) is None
    early = shade_news(unit(shaded=True, shade_age_s=200.0))
    assert early is not None and early.figures == {"judged_in_s": 100.0}
    falling = {"shaded": True, "slope_k_per_min": -0.05}
    works = shade_news(unit(shade_age_s=300.0, **falling))
    assert works is not None and works.figures == {"fall_degc_per_min": 0.05}
    assert shade_works(unit(shade_age_s=3600.0, **falling)) is not None
    assert shade_works(unit(shade_age_s=3601.0, **falling)) is None
    assert shade_news(unit(shade_age_s=3601.0, **falling)) is None
    assert shade_works(unit(shade_age_s=300.0, shaded=True, slope_k_per_min=-0.049)) is None
    assert shade_works(unit(shade_age_s=300.0, age_s=500.0, **falling)) is None
    assert shade_works(unit(shade_age_s=300.0, slope_k_per_min=-0.05)) is None
    rising = {"shaded": True, "slope_k_per_min": 0.05, "shade_age_s": 300.0}
    assert shade_falls_short(unit(to_limit=to_limit(5000.0), **rising)) == Said("shade-falls-short")
    assert shade_falls_short(unit(**rising)) is None
    assert shade_falls_short(unit(to_limit=to_limit(5000.0), **(rising | {"slope_k_per_min": 0.04}))) is None
    ending = RULES["shade"].ending(view(heat=unit(shade_age_s=300.0, **falling)), 60.0)
    assert codes(ending) == ["over", "shade-works"]


LOSS = {"signal__deficit_db": 1.6, "signal__unexplained_db": 1.6}


def test_how_far_the_dish_points_off() -> None:
    rule, seen = RULES["repeak"], view(signal__verdict=likely(mispoint=0.9), **LOSS)
    error_deg = rule.figures(seen)["pointing_error_deg"]
    assert float(pointing_loss_db(error_deg, 1.8)) == pytest.approx(1.6, abs=1e-6)
    assert rule.confidence(seen) == pytest.approx(0.898, abs=0.001) and rule.confidence(view()) is None
    assert (rule.cause(seen), rule.deadline_unix_s(seen)) == ("mispoint", None)
    assert rule.evidence(view(signal__unexplained_db=1.6))[0].figures["error_deg"] == error_deg
    deep = view(signal__unexplained_db=30.0)
    assert rule.evidence(deep)[0].figures == {"loss_db": 30.0}
    assert codes(rule.evidence(view(signal__level_db=nan, link__silent_s=90.0))) == ["not-heard"]


@pytest.mark.parametrize(
    ("told", "ending"),
    [
        ({}, "over"),
        (LOSS, "not-sure"),
        (LOSS | RAIN, "put-off-rain"),
        (LOSS | SUN, "put-off-sun-pass"),
        (RAIN, "over"),
        (SUN, "over"),
        ({"signal__deficit_db": nan} | RAIN, "put-off-rain"),
    ],
)
def test_how_a_re_peak_ends(told: dict[str, Any], ending: str) -> None:
    found = RULES["repeak"].ending(view(**told), 300.0)
    assert found[0] == Said(ending, {"lasted_s": 300.0})
    deficit_db = told.get("signal__deficit_db", 0.0)
    assert [dict(one.figures) for one in found[1:]] == (
        [] if isnan(deficit_db) else [{"deficit_db": deficit_db}]
    )


def test_nothing_is_sure_while_the_dish_is_moved_or_without_lock() -> None:
    sure = {"signal__verdict": likely(mispoint=0.9, rain=0.9)}
    for rule in (RULES["repeak"], RULES["look-at-dish"], RULES["wait-rain"]):
        assert rule.confidence(view(**sure)) is not None
        assert rule.confidence(view(peaking=1.0, **sure)) is None
        assert rule.confidence(view(unlocked=1.0, **sure)) is None


def test_what_a_look_at_the_dish_may_find() -> None:
    rule = RULES["look-at-dish"]
    assert rule.evidence(view()) == ()
    shares = {"mispoint": 0.5, "rain": 0.3, "cloud": 0.06, "drift": 0.03}
    weighed = Verdict(courses=(0.0, 1.0, *(0.0,) * 7), covered=0.0, factors=(), likely=shares)
    named = rule.evidence(view(signal__verdict=weighed, **LOSS))
    assert named[0] == Said("below", {"deficit_db": 1.6})
    assert codes(named)[1:5] == ["may-be-mispoint", "may-be-rain", "may-be-cloud", "note-decides"]
    few = Verdict(weighed.courses, 0.0, (), {"mispoint": 0.92, "rain": 0.04})
    assert codes(rule.evidence(view(signal__verdict=few)))[1:3] == ["may-be-mispoint", "note-decides"]
    for share, ending in ((0.5, "dish-after-all"), (0.49, "not-sure")):
        assert rule.ending(view(signal__verdict=likely(mispoint=share), **LOSS), 9.0)[0].code == ending
    assert rule.ending(view(signal__verdict=likely(mispoint=0.9)), 9.0)[0].code == "over"
    assert rule.cause(view()) == "mispoint" and rule.confidence(
        view(signal__verdict=likely(mispoint=0.4))
    ) == pytest.approx(0.400, abs=0.001)


@pytest.mark.parametrize(
    ("told", "confidence"),
    [
        ({}, None),
        ({"signal__verdict": likely(rain=0.6)}, 0.317),
        ({"signal__verdict": likely(rain=0.6)} | RAIN, 0.846),
        ({"signal__verdict": likely(rain=0.95)} | RAIN, 0.872),
        (RAIN, 0.846),
    ],
)
def test_how_sure_rain_is(told: dict[str, Any], confidence: float | None) -> None:
    assert RULES["wait-rain"].confidence(view(**told)) == pytest.approx(confidence, abs=0.001)


def test_rain_that_was_seen_is_said() -> None:
    rule = RULES["wait-rain"]
    assert rule.evidence(view(**(LOSS | RAIN))) == (Said("below-rain-seen", {"deficit_db": 1.6}),)
    assert codes(rule.evidence(view())) == ["below"]
    assert codes(rule.evidence(view(link__silent_s=21.0))) == ["below", "as-of"]
    assert codes(rule.evidence(view(signal__level_db=nan, **RAIN))) == ["not-heard"]
    assert rule.cause(view()) == "rain"
    assert codes(rule.ending(view(**LOSS), 9.0)) == ["not-sure", "below-now"]
    assert codes(rule.ending(view(), 9.0)) == ["over", "below-now"]


@pytest.mark.parametrize(
    ("dips", "confidence", "named"), [(0.0, 0.7, None), (1.0, 0.7, "dip"), (2.0, 0.9, "dips")]
)
def test_what_stands_in_the_beam(dips: float, confidence: float, named: str | None) -> None:
    rule = RULES["blockage"]
    told = view(dips=dips, signal__verdict=likely(blockage=0.7), **LOSS)
    assert rule.confidence(told) == confidence
    # Whoever stood there has gone: there is nothing left to be sure of.
    gone = view(dips=dips, signal__verdict=likely(blockage=0.7), signal__deficit_db=0.9)
    assert gone.features.dips > 1.5 or rule.confidence(gone) is None
    figures = rule.evidence(view(dips=dips, signal__unexplained_db=5.0))[0].figures
    assert figures == {"missing_db": 5.0} | ({named: dips} if named else {})
    assert rule.cause(view()) == "blockage"


def test_who_stood_in_the_beam_once_is_known_for_sure() -> None:
    rule, shares = RULES["blockage"], {"signal__verdict": likely(blockage=0.3)}
    assert rule.confidence(view(dips=1.0, dip_s=20.0, **shares)) == 0.9
    assert rule.confidence(view(dips=1.0, dip_s=0.0, **shares, **LOSS)) == 0.3
    assert rule.confidence(view(dips=2.0, signal__verdict=likely(blockage=0.95))) == 0.95
    assert rule.confidence(view(dips=2.0)) == 0.9
    headlines = [rule.headline(view(signal__deficit_db=loss_db)).code for loss_db in (1.0, 0.99)]
    assert headlines == ["blockage", "blockage-gone"]


def test_of_a_sun_pass() -> None:
    rule = RULES["wait-sun-pass"]
    with pytest.raises(ValueError, match="without a pass"):
        rule.evidence(view(signal__next_pass=None, signal__sun_loss_db=1.0))
    one = SunPass(start_unix_s=NOW + 60.0, peak_unix_s=NOW + 200.0, end_unix_s=NOW + 360.0, depth_db=5.0)
    soon, now = view(signal__next_pass=one), view(signal__next_pass=one, **SUN)
    assert (rule.headline(soon).code, rule.headline(now).code) == ("sun-pass-soon", "sun-pass-now")
    assert rule.evidence(soon) == (
        Said("sun-pass-starts", {"until_s": 60.0, "lasts_s": 300.0}),
        Said("sun-pass-depth", {"depth_db": 5.0}),
    )
    begun = SunPass(start_unix_s=NOW, peak_unix_s=NOW + 200.0, end_unix_s=NOW + 360.0, depth_db=5.0)
    assert codes(rule.evidence(view(signal__next_pass=begun)))[0] == "sun-pass-under-way"
    assert rule.deadline_unix_s(soon) == NOW + 360.0
    figures = rule.figures(view(signal__next_pass=one, signal__sun_loss_db=0.0))
    assert figures == {"depth_db": 5.0, "starts_in_s": 60.0, "sun_loss_db": 0.0}
    assert (rule.action(soon).code, rule.cause(soon)) == ("wait-sun-pass", "sun-pass")
    assert codes(rule.ending(view(**LOSS), 9.0)) == ["over", "below-now"]


def effect(modcod: str | None, short: bool, lost: bool) -> SunPassEffect:
    """The plan of a pass whose peak is NOW + 200 s, with what it takes."""
    return SunPassEffect(
        peak_unix_s=NOW + 200.0, depth_db=5.0, solar_flux_sfu=200.0, esno_db=9.0, rate_mbps=3.0,
        modcod=modcod,
        short_from_unix_s=NOW + 90.0 if short else None, short_to_unix_s=NOW + 300.0 if short else None,
        lost_from_unix_s=NOW + 150.0 if lost else None, lost_to_unix_s=NOW + 250.0 if lost else None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("told", "margin_db", "level_db", "outcome", "evidence"),
    [
        (effect("8PSK 3/4", False, False), 16.0, 14.0, "-carried", "sun-pass-leaves"),
        (effect("QPSK 1/2", True, False), 4.0, 14.0, "-less", "sun-pass-leaves"),
        (effect(None, True, True), 4.0, 14.0, "-lock-lost", "sun-pass-loses-lock"),
        # Two decibels are missing before the sun comes: what the plan leaves is not promised.
        (effect("8PSK 3/4", False, False), 16.0, 12.0, "", "sun-pass-leaves"),
        # Not carried without the sun either.
        (effect("QPSK 1/4", False, False), -1.0, 14.0, "", "sun-pass-leaves"),
    ],
)
def test_a_sun_pass_says_what_survives_it(
    told: SunPassEffect, margin_db: float, level_db: float, outcome: str, evidence: str
) -> None:
    rule = RULES["wait-sun-pass"]
    one = SunPass(start_unix_s=NOW + 60.0, peak_unix_s=NOW + 200.0, end_unix_s=NOW + 360.0, depth_db=5.0)
    seen = view(signal__next_pass=one, signal__level_db=level_db, signal__sun_loss_db=0.0)
    planned = replace(seen.plan.downlink, margin_db=margin_db)
    seen = seen._replace(plan=replace(seen.plan, downlink=planned, sun_pass_effects=(told,)))
    assert rule.headline(seen).code == "sun-pass-soon" + outcome
    assert rule.action(seen).code == "wait-sun-pass" + outcome
    assert rule.evidence(seen)[-1].code == evidence
    assert all(text(said) for said in (rule.headline(seen), rule.action(seen), *rule.evidence(seen)))


@pytest.mark.parametrize(
    ("below_db", "uplink_db", "elevation_deg", "said"),
    [
        (2.0, nan, 45.0, []),
        (2.0, 11.1, 45.0, ["uplink-as-planned"]),
        (2.0, 12.0 - 2.0 * (1.8 / 1.5) ** 2, 45.0, ["uplink-as-turned"]),
        (1.0, 12.0 - 1.44, 45.0, ["uplink-below-too"]),
        (2.0, 12.0 - 6.0, 45.0, ["uplink-below-too"]),
        (9.0, nan, 45.0, ["perhaps-crossed"]),
        (13.0, nan, 45.0, ["perhaps-side-lobe"]),
        (2.0, nan, 14.9, ["perhaps-obstacle"]),
        (2.0, nan, 15.0, []),
    ],
)
def test_what_a_level_below_the_plan_looks_like(
    below_db: float, uplink_db: float, elevation_deg: float, said: list[str]
) -> None:
    """The uplink loses (1.8 / 1.5)^2 times as much by a turned dish: 12 (error / beamwidth)^2."""
    seen = view(below_plan_db=below_db, signal__uplink_db=uplink_db)
    tilted = replace(seen.plan, pointing=replace(seen.plan.pointing, elevation_deg=elevation_deg))
    seen = seen._replace(plan=tilted)
    rule = RULES["below-plan"]
    assert codes(rule.evidence(seen)) == ["level-below-plan", *said]
    assert rule.figures(seen)["below_plan_db"] == below_db


def test_what_a_stream_may_be_lowered_to_and_why() -> None:
    rule = RULES["lower-stream"]
    seen = view(rate__carried_mbps=1.8, rate__stream_mbps=2.0)
    assert rule.action(seen) == Said("lower-stream", {"to_mbps": 1.8 / 1.2})
    assert rule.figures(seen)["stream_to_mbps"] == 1.8 / 1.2
    assert codes(rule.evidence(seen)) == ["carried", "stream-needs"]
    assert rule.action(view(rate__carried_mbps=0.0)).figures == {"to_mbps": 0.1}
    assert rule.action(view()).code == "repeat-test" and codes(rule.evidence(view())) == ["last-test"]
    blamed = {"rate__lan_confidence": 0.6, "rate__network_confidence": 0.3}
    assert rule.cause(view(**blamed)) == "lan"
    assert rule.cause(view(**(blamed | {"rate__network_confidence": 0.7}))) == "network"
    assert rule.cause(view(signal__verdict=likely(rain=0.8, mispoint=0.1), **blamed)) == "rain"
    assert rule.cause(view(rate__lan_confidence=0.59, rate__network_confidence=0.1)) == "none"


def test_what_is_silent_and_for_how_long() -> None:
    rule = RULES["no-data"]
    ages = {"signal_age_s": 300.0, "other_age_s": 900.0}
    seen = view(signal_silence=30.0, other_silence=15.0, **ages)
    assert [dict(one.figures) for one in rule.evidence(seen)] == [
        {"input": "reach", "silent_s": 300.0},
        {"count": 30.0},
    ]
    assert rule.figures(seen) == {"silent_s": 300.0}
    assert rule.figures(view(signal_silence=10.0, other_silence=15.0, **ages)) == {"silent_s": 900.0}
    assert rule.figures(view(signal_silence=15.0, other_silence=15.0, **ages)) == {"silent_s": 300.0}
    assert rule.action(seen).figures == {"input": "reach"}


def test_what_a_battery_and_a_clock_tell() -> None:
    rule, seen = RULES["on-battery"], view(runtime_s=600.0, battery_percent=30.0)
    assert rule.deadline_unix_s(seen) == NOW + 600.0 and rule.deadline_unix_s(view()) is None
    assert rule.figures(seen) == {"runtime_s": 600.0, "battery_percent": 30.0}
    assert codes(rule.evidence(seen)) == ["on-battery", "battery-charge"]
    assert rule.evidence(view(runtime_s=600.0)) == (Said("on-battery", {"left_s": 600.0}),)
    stepped = RULES["clock-stepped"]
    assert stepped.evidence(view(clock_stepped_s=3.0))[0] == Said("clock-set-forward", {"by_s": 3.0})
    assert stepped.evidence(view(clock_stepped_s=-3.0))[0] == Said("clock-set-back", {"by_s": 3.0})
    figures = stepped.figures(view(clock_stepped_s=3.0, clock_stepped_ago_s=60.0))
    assert figures == {"stepped_s": 3.0, "stepped_ago_s": 60.0}
    assert RULES["clock-wrong"].figures(view(clock_refused_ago_s=7.0)) == {"refused_ago_s": 7.0}


TESTED = {"rate_known": 1.0, "rate__down_mbps": 1.5, "rate__up_mbps": 0.8, "rate__ratio": 0.4}


def test_what_the_tests_of_the_rate_tell() -> None:
    for name in ("look-at-lan", "call-network", "throughput-low"):
        rule = RULES[name]
        told = codes(rule.evidence(view(**TESTED)))
        assert told[:3] == ["tests", "rate-share", "signal-fine"] and len(told) == 4
        assert rule.evidence(view(**TESTED))[0].figures == {"down_mbps": 1.5, "up_mbps": 0.8}
        assert codes(rule.ending(view(**TESTED), 9.0)) == ["over"]
        tested = {"rate__tested_unix_s": NOW - 3600.0}
        assert codes(rule.ending(view(rate_known=0.0, **tested), 9.0)) == ["tests-old"]
        assert codes(rule.ending(view(rate_known=1.0, **tested), 9.0)) == ["tests-old"]
        assert codes(rule.ending(view(rate_known=0.0), 9.0)) == ["not-sure"]
        assert codes(rule.ending(view(rate_known=1.0), 9.0)) == ["over"]
        assert codes(rule.evidence(view(rate_known=0.0, **tested)))[0] == "last-test"
        assert codes(rule.evidence(view(rate_known=0.0)))[:1] != ["last-test"]
    lost = codes(RULES["throughput-low"].evidence(view(signal__deficit_db=nan, **TESTED)))
    assert "signal-not-known" in lost
    seen = view(rate__lan_confidence=0.7, rate__network_confidence=0.2)
    assert (RULES["look-at-lan"].confidence(seen), RULES["call-network"].confidence(seen)) == (0.7, 0.2)
    assert RULES["look-at-lan"].evidence(seen)[-1].figures == {"confidence_share": 0.7}
    assert RULES["call-network"].evidence(seen)[-1].figures == {"confidence_share": 0.2}
    assert RULES["look-at-lan"].confidence(view()) is None
    causes = [RULES[name].cause(seen) for name in ("look-at-lan", "call-network", "throughput-low")]
    assert causes == ["lan", "network", "none"]


def test_the_figures_behind_an_alert_have_their_own_values() -> None:
    names = ("level_db", "deficit_db", "unexplained_db", "sun_loss_db", "rain_loss_db", "uplink_loss_db")
    signal = {f"signal__{name}": float(index) for index, name in enumerate(names)}
    found = signal_figures(view(signal__verdict=likely(rain=0.6), **signal))
    assert found == {name: float(index) for index, name in enumerate(names)} | {"confidence_rain": 0.6}
    read = {"down_mbps": "down_mbps", "up_mbps": "up_mbps", "throughput_ratio": "ratio", "rtt_ms": "rtt_ms",
            "loss_percent": "loss_percent", "headroom_mbps": "headroom_mbps"}  # fmt: skip
    rate = {f"rate__{name}": float(index) for index, name in enumerate(read.values())}
    assert rate_figures(view(**rate)) == {name: float(index) for index, name in enumerate(read)}


@pytest.mark.parametrize(
    ("confidence", "code"),
    [(1.0, "sure-almost"), (0.95, "sure-almost"), (0.949, "sure-very-likely"), (0.8, "sure-very-likely"),
     (0.799, "sure-likely"), (0.55, "sure-likely"), (0.549, "sure-possible"), (0.3, "sure-possible"),
     (0.299, "sure-hardly"), (0.0, "sure-hardly")],
)  # fmt: skip
def test_the_word_for_a_probability(confidence: float, code: str) -> None:
    assert how_sure(confidence) == code


def test_what_is_not_known_is_left_out() -> None:
    assert known(a_s=1.0, b_s=nan, c_s=inf, d="x") == {"a_s": 1.0, "d": "x"}
    assert (finite(2.0), finite(nan)) == (2.0, None)
    assert aged(view(link__silent_s=20.0)) == ()
    assert aged(view(link__silent_s=20.1))[0].figures == {"age_s": 20.1}
