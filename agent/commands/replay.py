"""`peakshade replay`: recorded sessions through the alert engine, with the score where there are labels."""

import argparse
import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from agent.commands.session_arguments import SessionsRead, add_stored, add_strict, asked_day, read_sessions
from agent.errors import UsageError
from agent.inputs.messages import rfc3339
from agent.records import AlertEvent, JsonValue, Situation
from agent.replay.baselines import fixed_threshold_events
from agent.replay.compare import compare
from agent.replay.compare_text import comparison_json, comparison_text
from agent.replay.replaying import replay_events, session_plan
from agent.replay.rules_file import RulesToCompare, rules_to_compare
from agent.replay.scoring import Interval, Score, pooled, score, score_json
from agent.replay.session_time import site_clock, site_moment
from agent.replay.sessions import Session
from agent.replay.shown_session import shown_events, shown_session
from agent.replay.situation_text import situation_json, situation_text
from agent.store.shown import shown_situation

SUMMARY = "run recorded sessions through the alert engine"
EXAMPLE = "peakshade replay salt-pan-summer quiet-dune"


@dataclass(frozen=True, slots=True)
class _Replayed:
    session: Session
    events: list[AlertEvent]
    score: Score | None
    knew: Situation | None
    before: list[AlertEvent] | None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The sessions, other rules, a moment to stop at, and how to print."""
    parser.add_argument(
        "session", nargs="*", metavar="SESSION", help="a session folder, or a bundled session's name"
    )
    add_stored(parser)
    parser.add_argument(
        "--rules", type=Path, action="append", default=[], metavar="FILE",
        help="a rules file, compared with the defaults; a second --rules FILE is compared with the first",
    )  # fmt: skip
    parser.add_argument(
        "--at", metavar="TIME", help="stop there and say what was known: 14:05 at the site, or RFC 3339"
    )
    parser.add_argument("--json", action="store_true", help="print events and score as JSON")
    add_strict(parser)


def run(args: argparse.Namespace) -> int:
    """Replay each session; 1 where an episode was missed or something of a session cannot be read."""
    rules = rules_to_compare(args.rules)
    stored = asked_day(args)
    if stored is None:
        read = read_sessions(args.session, args.strict)
    else:
        read = SessionsRead({args.day: stored.session}, {}, flawless=True)
    done = {name: _replayed(session, rules, args.at) for name, session in read.sessions.items()}
    if args.json:
        bodies: list[JsonValue] = [_json(one) for one in done.values()]
        json.dump(
            bodies[0] if len(read.folders) <= 1 else dict(zip(done, bodies, strict=True)),
            sys.stdout,
            indent=2,
        )
        sys.stdout.write("\n")
    else:
        sys.stdout.write("\n".join(_text(done, rules.names)) + "\n")
    return 0 if read.flawless and not any(map(_missed, done.values())) else 1


def _replayed(session: Session, rules: RulesToCompare, at: str | None) -> _Replayed:
    times = session.times
    until_unix_s = None if at is None else times.engine(_moment(at, shown_session(session, times)))
    plan = session_plan(session)
    events, situation = replay_events(session, plan, rules.used, until_unix_s)
    span = Interval(session.start_unix_s, session.end_unix_s)
    labelled = session.labels is not None and until_unix_s is None
    before = None if rules.before is None else replay_events(session, plan, rules.before, until_unix_s)[0]
    return _Replayed(
        session=shown_session(session, times),
        events=shown_events(events, times),
        score=score(events, session.labels or (), span) if labelled else None,
        knew=None if at is None else shown_situation(situation, times.offset_s(situation.unix_s)),
        before=None if before is None else shown_events(before, times),
    )


def _moment(text: str, session: Session) -> float:
    """A clock time at the site on the session's first day, or a full time."""
    moment_unix_s = site_moment(text, session.start_unix_s, session.job.site.time_zone)
    if moment_unix_s is None:
        raise UsageError(f"--at is {text!r}; expected 14:05 or 2026-07-18T14:05:00+02:00")
    return moment_unix_s


def _missed(one: _Replayed) -> bool:
    return one.score is not None and any(part.detected < part.episodes for part in one.score.values())


def _json(one: _Replayed) -> JsonValue:
    body: dict[str, JsonValue] = {"events": [_event_json(event) for event in one.events]}
    if one.score is not None:
        body["score"] = score_json(one.score)
    if one.knew is not None:
        body["situation"] = situation_json(one.knew)
    if one.before is not None:
        body["differences"] = comparison_json(compare(one.before, one.events))
    return body


def _event_json(event: AlertEvent) -> JsonValue:
    return {
        "time": rfc3339(event.unix_s),
        "rule": event.rule,
        "severity": event.severity,
        "state": event.state,
        "cause": event.cause,
        "action": event.action,
        "evidence": list(event.evidence),
        **({} if event.confidence is None else {"confidence": event.confidence}),
    }


def _text(done: dict[str, _Replayed], names: tuple[str, str]) -> Iterable[str]:
    for name, one in done.items():
        yield from _session_text(name, one, names)
    scores = [one.score for one in done.values() if one.score is not None]
    if len(scores) > 1:
        yield f"All {len(scores)} labelled sessions"
        yield from _score_text(pooled(scores))
    if scores:
        yield "A fixed threshold on the same days"
        yield from _score_text(pooled([_fixed(one) for one in done.values() if one.score is not None]))


def _fixed(one: _Replayed) -> Score:
    session = one.session
    events = fixed_threshold_events(session.readings, session.job)
    scores = score(events, session.labels or (), Interval(session.start_unix_s, session.end_unix_s))
    return {rule: scores[rule] for rule in ("repeak", "shade")}


def _session_text(name: str, one: _Replayed, names: tuple[str, str]) -> Iterable[str]:
    session = one.session
    zone = ZoneInfo(session.job.site.time_zone)
    start, end = (datetime.fromtimestamp(t, zone) for t in (session.start_unix_s, session.end_unix_s))
    yield f"{session.title} ({name}, {session.provenance})"
    yield f"{start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}, {session.job.site.time_zone}"
    clock = site_clock(session.start_unix_s, session.end_unix_s, zone)
    for event in one.events:
        words = (
            f"{clock.text(event.unix_s)}  {event.rule:<14}{event.severity:<8}{event.state:<13}{event.action}"
        )
        yield f"  {words.rstrip()}"
    if not one.events:
        yield "  no alert"
    if one.knew is not None:
        yield from situation_text(one.knew, clock)
    if one.score is not None:
        yield from _score_text(one.score)
    if one.before is not None:
        yield f"Beside {names[0]}"
        yield from comparison_text(compare(one.before, one.events), clock, names, session.labels)
    yield ""


def _score_text(scores: Score) -> Iterable[str]:
    """One line a rule that had an episode or an alert."""
    shown = {rule: part for rule, part in scores.items() if part.episodes or part.alerts}
    if not shown:
        yield "  score: no episode, no alert"
        return
    yield "  rule           episodes  detected  median delay  false alarms  an hour  time under alert"
    for rule, part in shown.items():
        delay = "-" if part.median_delay_s is None else f"{part.median_delay_s / 60.0:.1f} min"
        an_hour = "-" if part.false_alarms_per_hour is None else f"{part.false_alarms_per_hour:.2f}"
        share = "-" if part.alert_share is None else f"{100.0 * part.alert_share:.0f} %"
        yield (
            f"  {rule:<15}{part.episodes:>8}{part.detected:>10}{delay:>14}{part.false_alarms:>14}"
            f"{an_hour:>9}{share:>18}"
        )
