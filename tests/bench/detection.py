"""How well the watch finds what is wrong: `python -m tests.bench.detection [FIRST [COUNT]]`.

Random invented days (`tests.simulate.scenarios`) with seeds that were not looked at while thresholds
were chosen, scored against their labels beside two baselines: a fixed threshold, and never saying anything.
With `--list`, every miss, false alarm and wrong cause as a line of its own.
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import inf
from statistics import median

from agent.plan.span import job_days
from agent.planning.compute import compute_plan
from agent.records import AlertEvent, Note
from agent.replay.baselines import fixed_threshold_events
from agent.replay.labels import Label
from agent.replay.scoring import TARGETS, Interval, Score, pooled, score
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from tests.simulate.day import SimulatedDay, simulate_day
from tests.simulate.scenario import Mispoint
from tests.simulate.scenarios import random_scenario

FIRST_SEED = 270_000
DAYS = 480
STEP_DB = (1.2, 1.8)  # "a step of 1.5 dB"
ENOUGH_LEAD_S = 600.0
DAYS_PER_WEEK = 7.0


@dataclass(slots=True)
class Tally:
    """Everything counted over the days."""

    scores: list[Score] = field(default_factory=list)
    fixed: list[Score] = field(default_factory=list)
    step_delays_s: list[float] = field(default_factory=list)
    leads_s: list[float] = field(default_factory=list)
    hot_days: int = 0
    causes: int = 0
    causes_right: int = 0
    repeaks_in_rain_or_sun: int = 0
    unconditional: int = 0  # of them, without a word to look for rain first
    turned: int = 0  # dishes
    turned_told: int = 0  # of them, by either rule
    looks_in_vain: int = 0
    remarks: list[str] = field(default_factory=list)


def watched(day: SimulatedDay) -> list[AlertEvent]:
    """The engine's events over the day."""
    job = day.scenario.job
    engine = AlertEngine(job, compute_plan(job, job_days(job)), default_rules())
    events = [event for reading in day.readings for event in engine.update(reading)]
    return events + engine.advance(job.day.end_unix_s)


def raised(events: Sequence[AlertEvent], rule: str) -> list[AlertEvent]:
    return [event for event in events if event.rule == rule and event.state == "raised"]


def meets(label: Label, event: AlertEvent) -> bool:
    """Whether the alert belongs to the label by the scoring's own tolerances."""
    target = next(target for target in TARGETS.values() if target.cause == label.cause)
    return label.start_unix_s - target.early_s <= event.unix_s <= label.end_unix_s + target.late_s


def clock(unix_s: float) -> str:
    return datetime.fromtimestamp(unix_s, UTC).strftime("%H:%M")


def count_causes(tally: Tally, day: SimulatedDay, events: Sequence[AlertEvent]) -> None:
    """The cause of the first alert that names one within each labelled episode."""
    own = {target.cause: rule for rule, target in TARGETS.items()}
    for label in day.labels:
        near = [e for e in events if e.state == "raised" and e.cause != "none" and meets(label, e)]
        # An alert that belongs to another episode of the same hours is no judgement on this one.
        others = [other for other in day.labels if other is not label]
        near = [e for e in near if e.cause == label.cause or not any(
            e.cause == other.cause and meets(other, e) for other in others)]  # fmt: skip
        if not near:
            tally.remarks.append(
                f"{day.scenario.name} missed {own[label.cause]} {clock(label.start_unix_s)} {label.comment}"
            )
            continue
        tally.causes += 1
        tally.causes_right += near[0].cause == label.cause
        if near[0].cause != label.cause:
            said = f"was called {near[0].cause}: {near[0].evidence}"
            when = clock(near[0].unix_s)
            tally.remarks.append(f"{day.scenario.name} {when} {label.cause} ({label.comment}) {said}")


def count_looks(tally: Tally, day: SimulatedDay, events: Sequence[AlertEvent]) -> None:
    """Turned dishes that either rule told of, and looks at a dish that was not turned."""
    turned = [label for label in day.labels if label.cause == "mispoint"]
    looks = raised(events, "look-at-dish")
    asked = raised(events, "repeak") + looks
    tally.turned += len(turned)
    tally.turned_told += sum(any(meets(label, event) for event in asked) for label in turned)
    tally.looks_in_vain += sum(not any(meets(label, event) for label in turned) for event in looks)


def count_steps(tally: Tally, day: SimulatedDay, events: Sequence[AlertEvent]) -> None:
    """Delay from a step of about 1.5 dB to the re-peak alert, where one came before the crew mended."""
    for episode in day.scenario.episodes:
        if (
            not isinstance(episode, Mispoint)
            or episode.how == "slide"
            or not STEP_DB[0] <= episode.loss_db <= STEP_DB[1]
        ):
            continue
        at_unix_s = day.scenario.job.day.start_unix_s + episode.at_s
        mended_unix_s = at_unix_s + (episode.mended_after_s or inf)
        during = [event.unix_s for event in raised(events, "repeak")]
        later = [unix_s - at_unix_s for unix_s in during if at_unix_s <= unix_s <= mended_unix_s]
        if later:
            tally.step_delays_s.append(later[0])


def count_heat(tally: Tally, day: SimulatedDay, events: Sequence[AlertEvent]) -> None:
    """How long before the limit, if nobody had shaded, the first shade alert came; needs a thermometer.

    Where the crew shaded unasked before a forecast was due, and none had been made, nothing can be judged.
    """
    if (
        not day.scenario.sensors.temperature
        or day.limit_unix_s is None
        or not any(label.cause == "overheat" for label in day.labels)
    ):
        return
    before = [day.limit_unix_s - event.unix_s for event in raised(events, "shade")]
    shaded = [note.unix_s for note in day.readings if isinstance(note, Note) and note.kind == "shade-on"]
    lead_s = float(default_rules().values["shade.lead_s"][0])
    if shaded and shaded[0] < day.limit_unix_s - lead_s and not any(lead >= lead_s for lead in before):
        return
    tally.hot_days += 1
    if before:
        tally.leads_s.append(max(before))


def remark_false(tally: Tally, day: SimulatedDay, events: Sequence[AlertEvent]) -> None:
    for rule, target in TARGETS.items():
        own = [label for label in day.labels if label.cause == target.cause]
        for event in raised(events, rule):
            if not any(meets(label, event) for label in own):
                sensors = day.scenario.sensors
                tally.remarks.append(
                    f"{day.scenario.name} {clock(event.unix_s)} false {rule} {event.severity}: "
                    f"{event.evidence} "
                    f"({sensors.quality} {sensors.resolution_db} dB every {sensors.signal_step_s:.0f} s)"
                )


def examine(tally: Tally, seed: int) -> None:
    """One day."""
    day = simulate_day(random_scenario(seed), seed)
    events = watched(day)
    hours = day.scenario.job.day
    span = Interval(hours.start_unix_s, hours.end_unix_s)
    tally.scores.append(score(events, day.labels, span))
    tally.fixed.append(score(fixed_threshold_events(day.readings, day.scenario.job), day.labels, span))
    count_causes(tally, day, events)
    count_looks(tally, day, events)
    count_steps(tally, day, events)
    count_heat(tally, day, events)
    remark_false(tally, day, events)
    forbidden = [label for label in day.labels if label.cause in ("rain", "sun-pass")]
    within = [
        event
        for event in raised(events, "repeak")
        if any(label.start_unix_s <= event.unix_s <= label.end_unix_s for label in forbidden)
    ]
    tally.repeaks_in_rain_or_sun += len(within)
    tally.unconditional += sum("leave the dish" not in event.action for event in within)


def share(value: float | None) -> str:
    return "-" if value is None else f"{value:.0%}"


def table(tally: Tally, days: int) -> Iterator[str]:
    """The figures, a line each."""
    ours, fixed = pooled(tally.scores), pooled(tally.fixed)
    yield "| rule | episodes | recall | median delay | false a day | fixed threshold: recall | false a day |"
    yield "|---|---|---|---|---|---|---|"
    for rule in TARGETS:
        one, other = ours[rule], fixed[rule]
        delay = "-" if one.median_delay_s is None else f"{one.median_delay_s / 60.0:.1f} min"
        said = (
            (share(other.recall), f"{other.false_alarms / days:.2f}")
            if other.alerts
            else ("says nothing", "0")
        )
        yield (
            f"| {rule} | {one.episodes} | {share(one.recall)} | {delay} | {one.false_alarms / days:.2f} "
            f"| {said[0]} | {said[1]} |"
        )
    yield ""
    yield f"turned dishes told by repeak or look-at-dish: {tally.turned_told} of {tally.turned}"
    yield f"look-at-dish without a turned dish: {tally.looks_in_vain / days:.2f} a day"
    steps = tally.step_delays_s
    delay = f"{median(steps) / 60.0:.1f} min" if steps else "-"
    yield f"steps of {STEP_DB[0]} to {STEP_DB[1]} dB: median delay {delay} of {len(steps)}"
    yield (
        f"re-peak asked for during rain or a sun pass: {tally.repeaks_in_rain_or_sun}, "
        f"of which without a word to look for rain first: {tally.unconditional}"
    )
    early = sum(lead >= ENOUGH_LEAD_S for lead in tally.leads_s)
    yield f"shade at least 10 min before the limit: {early} of {tally.hot_days} hot days with a thermometer"
    yield f"false shade a week: {ours['shade'].false_alarms / days * DAYS_PER_WEEK:.2f}"
    yield f"cause right: {tally.causes_right} of {tally.causes} episodes with an alert"


def main() -> None:
    words = [word for word in sys.argv[1:] if not word.startswith("--")]
    first = int(words[0]) if words else FIRST_SEED
    days = int(words[1]) if len(words) > 1 else DAYS
    tally = Tally()
    for seed in range(first, first + days):
        examine(tally, seed)
    print(f"{days} days, seeds {first} to {first + days - 1}")
    print("\n".join(table(tally, days)))
    if "--list" in sys.argv:
        print("\n".join(tally.remarks))


if __name__ == "__main__":
    main()
