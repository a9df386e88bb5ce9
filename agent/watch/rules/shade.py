"""Decides when a unit wants shade: too long in the sun, on its way to the limit, or over it."""

from collections.abc import Mapping
from math import inf, isfinite, isnan

from agent.heat.outlook import FINE_SUN_HOURS, LONG_SUN_HOURS
from agent.watch.feature_stage import View
from agent.watch.heat_watch import UnitView
from agent.watch.rules.rule import (
    FLAG,
    Clause,
    Parameter,
    Rule,
    Scored,
    at_least,
    at_most,
    no_confidence,
    timing,
)
from agent.watch.rules.told import known
from agent.wording import Said

# Half a degree in the ten minutes of a slope: more than a thermometer's step.
SHADE_FALLING_DEGC_PER_MIN = -0.05
SHADE_JUDGED_S = 300.0  # a slope over ten minutes has turned by then (judgement)
SHADE_NEWS_S = 3600.0  # after an hour the shade is the normal state
HEAT_LOSS_TOLD_DB = 0.5  # half of what `shade.loss_db` asks for
FRESH_SPACINGS = 2.0  # one reading may be lost
LEAST_SPACING_S = 60.0  # temperatures are taken in minutes


def shade_news(unit: UnitView) -> Said | None:
    """What a shade that was put up within the hour does; None where it is none or the old state."""
    if not unit.shaded or unit.shade_age_s > SHADE_NEWS_S:
        return None
    if unit.shade_age_s < SHADE_JUDGED_S:
        return Said("shade-judged-in", {"judged_in_s": SHADE_JUDGED_S - unit.shade_age_s})
    return shade_works(unit)


def shade_works(unit: UnitView) -> Said | None:
    """That the temperature falls under the shade; None while that cannot be judged, or is not so."""
    if not _judged(unit) or unit.slope_k_per_min > SHADE_FALLING_DEGC_PER_MIN:
        return None
    return Said("shade-works", {"fall_degc_per_min": -unit.slope_k_per_min})


def shade_falls_short(unit: UnitView) -> Said | None:
    """That a shaded unit still warms toward its limit; None where the limit is not in sight."""
    rising = _judged(unit) and unit.slope_k_per_min >= -SHADE_FALLING_DEGC_PER_MIN
    return Said("shade-falls-short") if rising and isfinite(unit.planned_s) else None


def _judged(unit: UnitView) -> bool:
    judged = unit.shaded and SHADE_JUDGED_S <= unit.shade_age_s <= SHADE_NEWS_S
    return judged and isfinite(unit.slope_k_per_min) and _fresh(unit)


def _fresh(unit: UnitView) -> bool:
    """Whether the last temperature is new enough for a slope to be true still."""
    return unit.age_s <= FRESH_SPACINGS * max(unit.usual_s, LEAST_SPACING_S)


def _headline(view: View) -> Said:
    unit = view.heat.worst
    if unit.margin_degc <= 0.0:
        return Said("over-limit", {"where": unit.where})
    if unit.to_limit is None and not unit.shaded:
        return Said("long-in-sun", {"where": unit.where})
    return Said("gets-too-hot", {"where": unit.where})


def _action(view: View) -> Said:
    """What cools this unit now: shade while the sun can reach it, else air, and less load or power."""
    unit = view.heat.worst
    over = unit.margin_degc <= 0.0
    if unit.shaded and unit.shade_age_s < SHADE_JUDGED_S:
        return Said("shade-wait", {"judged_in_s": SHADE_JUDGED_S - unit.shade_age_s})
    if shade_works(unit) and not over:
        return Said("cooling-leave-it", {"where": unit.where})
    if unit.shaded or not unit.sunlit:
        code = "more-air" if unit.where == "modem" or not unit.sunlit else "more-than-shade"
        return Said(f"{code}-{unit.where}-over" if over else f"{code}-{unit.where}")
    return Said("shade-over" if over else "shade-now", {"where": unit.where})


def _evidence(view: View) -> tuple[Said, ...]:
    unit = view.heat.worst
    found: list[Said] = []
    if isfinite(unit.temperature_degc):
        figures = {"temperature_degc": unit.temperature_degc, "limit_degc": unit.limit_degc}
        old = {} if _fresh(unit) else {"age_s": unit.age_s}
        found.append(Said("temperature", {**figures, **old}))
    if isfinite(unit.over_since_unix_s):
        over_s = view.unix_s - unit.over_since_unix_s
        found.append(Said("over-limit-since", {"since_unix_s": unit.over_since_unix_s, "over_s": over_s}))
    found.append(Said("exposure", {"exposure_s": unit.exposure_s}))
    if isfinite(unit.slope_k_per_min) and _fresh(unit):
        found.append(Said("slope", {"slope_degc_per_min": unit.slope_k_per_min}))
    if unit.to_limit is not None and 0.0 < unit.planned_s < inf and isnan(unit.over_since_unix_s):
        found.append(Said("limit-in", {"planned_s": unit.planned_s, "early_s": unit.to_limit.early_s}))
    if view.features.heat_loss_db >= HEAT_LOSS_TOLD_DB:
        found.append(Said("heat-loss", {"loss_db": view.features.heat_loss_db}))
    found.extend(effect for effect in (shade_works(unit), shade_falls_short(unit)) if effect)
    return tuple(found)


def _figures(view: View) -> Mapping[str, float]:
    unit, loss_db = view.heat.worst, view.features.heat_loss_db
    figures = {
        "exposure_s": unit.exposure_s,
        "limit_degc": unit.limit_degc,
        "temperature_degc": unit.temperature_degc,
        "slope_k_per_min": unit.slope_k_per_min,
    }
    if unit.to_limit is not None and isfinite(unit.planned_s):
        figures |= {"to_limit_s": unit.planned_s, "to_limit_early_s": unit.to_limit.early_s}
    return figures | ({"heat_loss_db": loss_db} if loss_db >= HEAT_LOSS_TOLD_DB else {})


def _deadline_unix_s(view: View) -> float | None:
    planned_s = view.heat.worst.planned_s
    return view.unix_s + planned_s if 0.0 < planned_s < inf else None


def _ending(view: View, lasted_s: float) -> tuple[Said, ...]:
    effects = [effect for effect in map(shade_works, view.heat.units) if effect]
    return (Said("over", known(lasted_s=lasted_s)), *effects)


SHADE = Rule(
    name="shade",
    label="Shade the unit",
    parameters=(
        Parameter("shade.advise_after_s", FINE_SUN_HOURS * 3600.0, "s", 600.0, 36_000.0, "common practice: under one hour is no concern"),
        Parameter("shade.act_after_s", LONG_SUN_HOURS * 3600.0, "s", 600.0, 36_000.0, "common practice: over two hours wants shade"),
        Parameter("shade.exposure_margin_degc", 5.0, "°C", 0.0, 60.0, "a thermometer this far below its limit outvotes the rule of thumb"),
        Parameter("shade.lead_s", 1500.0, "s", 60.0, 7200.0, "fetching and fixing a cover takes about ten minutes; the forecast errs by as much"),
        Parameter("shade.loss_db", 1.0, "dB", 0.2, 10.0, "a transmitter that cuts its power for heat does so by this and more"),
        Parameter("shade.limit_margin_degc", 0.0, "°C", -20.0, 20.0, "0: the data sheet's limit itself"),
        Parameter("shade.clear_margin_degc", 3.0, "°C", 0.0, 30.0, "more than the noise and resolution of a common thermometer"),
        *timing("shade", 120.0, 300.0, 1800.0, "two minutes outlast a reflection or one wrong reading"),
    ),
    clauses=(
        Clause("advise", (
            at_least("exposure_s", "shade.advise_after_s"),
            at_most("limit_margin_degc", "shade.exposure_margin_degc"),
        )),
        Clause("advise", (at_least("blind_exposure_s", "shade.advise_after_s"),)),
        Clause("act", (
            at_least("exposure_s", "shade.act_after_s"),
            at_most("limit_margin_degc", "shade.exposure_margin_degc"),
        )),
        Clause("act", (at_least("blind_exposure_s", "shade.act_after_s"),)),
        Clause("act", (at_most("to_limit_s", "shade.lead_s"),)),
        Clause("urgent", (at_most("limit_margin_degc", "shade.limit_margin_degc"),)),
        Clause("urgent", (at_least("heat_loss_db", "shade.loss_db"),)),
    ),
    clearing=(
        (
            at_least("limit_margin_degc", "shade.clear_margin_degc"),
            at_least("to_limit_s", "shade.lead_s"),
            at_most("exposed_now", FLAG),
        ),
        (
            at_least("limit_margin_degc", "shade.exposure_margin_degc"),
            at_least("to_limit_s", "shade.lead_s"),
            at_most("blind_exposure_s", "shade.advise_after_s"),
        ),
    ),
    doubt=(),
    inhibitions={},
    cause=lambda view: "overheat",
    headline=_headline,
    action=_action,
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=_deadline_unix_s,
    ending=_ending,
    deeds=("shade-on",),
    scoring=Scored("overheat", early_s=7200.0, late_s=900.0),
)  # fmt: skip
