"""The crew page's parts, each from what the queries found. Pure: no store, no clock."""

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component

from agent.job import Job
from agent.records import ActiveAlert, JsonValue, Situation
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.figures.trends import Line, Trend
from dashboard.pages.aria import HIDDEN, with_attributes
from dashboard.queries import NoteRow
from dashboard.site_time import clock_text, same_date, second_text, span_text, utc_text

# How many bars a level's mark has; the marks differ in shape so that colour is not needed.
LEVEL_BARS: Mapping[str, int] = {"unknown": 0, "fine": 0, "advise": 1, "act": 2, "urgent": 3}
SNOOZE_S = 1800.0
# A slip of the thumb is seen at once; later the note itself has the key.
UNDO_OFFERED_S = 60.0
# What a day is watched by; without one of them something goes unwatched.
WATCHED = ("signal", "throughput", "temperature", "weather", "power")
# When the rate was last tested, where that is too long ago to stand for now; and the figures that it gave.
TESTED = "rate_tested_unix_s"
RATES = ("down_mbps", "up_mbps")
# The rule whose alert ends when the crew accepts the level, and the note that does so.
BELOW_PLAN, ACCEPT = "below-plan", "accept-level"


def level_mark(level: str) -> Component:
    """A ring when fine, a broken ring when unknown, one to three bars by severity."""
    bars = [html.Span(className="bar") for _ in range(LEVEL_BARS[level])]
    return with_attributes(html.Span(bars, className=f"mark mark-{level}"), HIDDEN)


def masthead(terminal: str, job: Job | None, unix_s: float, zone: ZoneInfo) -> Component:
    """Which terminal, where, and what time the agent has; without a job the site's own time is not known."""
    form = words.UTC_ONLY if job is None else words.LOCAL_AND_UTC
    times = form.format(clock=clock_text(unix_s, zone), utc=utc_text(unix_s))
    site = words.SITE_UNKNOWN if job is None else job.site.name
    return html.Div(
        [html.Strong(terminal), html.Span(site), html.Span(times, className="times")], className="masthead"
    )


def verdict(situation: Situation, units: DisplayUnits = METRIC) -> Component:
    """What is the matter, why, what to do and how long there is."""
    level = situation.level
    cause = words.CAUSES[situation.cause]
    return html.Section(
        [
            html.P([level_mark(level), words.LEVELS[level]], className="level"),
            html.H1(units.sentence(situation.verdict)),
            *([_pair(words.BECAUSE, cause)] if cause else []),
            _action(units.sentence(situation.action)),
            *_time_left(situation.unix_s, situation.deadline_unix_s),
        ],
        className=f"verdict level-{level}",
    )


def _pair(name: str, text: str, kind: str = "why") -> Component:
    return html.P([html.Span(f"{name}: ", className="name"), text], className=kind)


def _action(action: str) -> Component:
    if not action:
        return html.P(words.NOTHING_TO_DO, className="action")
    return _pair(words.DO_THIS, action, "action")


def _time_left(unix_s: float, deadline_unix_s: float | None) -> list[Component]:
    if deadline_unix_s is None:
        return []
    left_s = deadline_unix_s - unix_s
    span = html.Strong(span_text(abs(left_s)))
    if left_s < 0.0:
        return [html.P([f"{words.OVERDUE} ", span], className="left")]
    return [html.P([span, f" {words.LEFT}"], className="left")]


def next_thing(situation: Situation, zone: ZoneInfo) -> Component:
    """The next thing to happen, and when by the clock of the site."""
    name = html.Span(f"{words.NEXT}: ", className="name")
    event = html.Strong(situation.next_event or words.NOTHING_AHEAD)
    if situation.next_event_unix_s is None:
        return html.P([name, event], className="next")
    when = words.AT.format(clock=clock_text(situation.next_event_unix_s, zone))
    return html.P([name, event, f", {when}"], className="next")


def alert_list(alerts: tuple[ActiveAlert, ...], zone: ZoneInfo, units: DisplayUnits = METRIC) -> Component:
    """Every standing alert with what shows it and the buttons to answer it."""
    if not alerts:
        return html.P(words.NO_ALERTS)
    return html.Ul([_alert(alert, zone, units) for alert in alerts], className="alerts")


def _alert(alert: ActiveAlert, zone: ZoneInfo, units: DisplayUnits) -> Component:
    event = alert.event
    since = words.SINCE.format(clock=clock_text(alert.since_unix_s, zone))
    return html.Li(
        [
            html.P([level_mark(event.severity), words.LEVELS[event.severity]], className="level"),
            html.H3(words.rule_text(event.rule)),
            html.P(since, className="since"),
            html.P(units.sentence(event.action), className="action"),
            html.P(words.EVIDENCE, className="name"),
            html.Ul([html.Li(units.sentence(sentence)) for sentence in event.evidence], className="evidence"),
            html.Div(_answers(alert, zone), className="answers"),
        ],
        className=f"alert level-{event.severity}",
    )


def _answers(alert: ActiveAlert, zone: ZoneInfo) -> list[Component]:
    if alert.snoozed_until_unix_s is not None:
        return [html.P(words.QUIET_UNTIL.format(clock=clock_text(alert.snoozed_until_unix_s, zone)))]
    rule = alert.event.rule
    seen = html.Button(words.SEEN_BUTTON, id={"type": "seen", "rule": rule}, n_clicks=0, className="wide")
    key = html.Button(
        words.NOTE_NAMES[ACCEPT], id={"type": "note", "kind": ACCEPT}, n_clicks=0, className="wide"
    )
    return [
        html.P(words.SEEN, className="seen") if alert.acknowledged else seen,
        *([key] if rule == BELOW_PLAN else []),
        html.Details([html.Summary(words.QUIET_SUMMARY), html.Div(_quiet_buttons(rule), className="keys")]),
    ]


def _quiet_buttons(rule: str) -> list[Component]:
    return [
        html.Button(
            [text, html.Small(words.QUIET_BUTTON.format(span=span_text(SNOOZE_S)))],
            id={"type": "quiet", "rule": rule, "reason": reason},
            n_clicks=0,
        )
        for reason, text in words.QUIET_REASONS.items()
    ]


def alarms(alerts: tuple[ActiveAlert, ...]) -> list[dict[str, JsonValue]]:
    """The alerts that nobody has seen yet, for sound and notification in the browser."""
    return [
        {
            "id": f"{alert.event.rule}@{alert.since_unix_s:.0f}/{alert.event.severity}",
            "beeps": LEVEL_BARS[alert.event.severity],
            "title": f"{words.LEVELS[alert.event.severity]}: {words.rule_text(alert.event.rule)}",
            "action": alert.event.action,
        }
        for alert in alerts
        if not alert.acknowledged and alert.snoozed_until_unix_s is None
    ]


def input_ages(last_seen_unix_s: Mapping[str, float], unix_s: float, zone: ZoneInfo) -> Component:
    """How long ago each input was heard, the longest silence first; what was not heard on this day."""
    if not last_seen_unix_s:
        return html.P(words.NO_INPUTS)
    lines = [
        html.Div(
            [html.Dt(words.INPUTS.get(name, name)), html.Dd(words.AGO.format(span=span_text(unix_s - seen)))]
        )
        for name, seen in sorted(last_seen_unix_s.items(), key=lambda item: item[1])
    ]
    today = {name for name, seen in last_seen_unix_s.items() if same_date(seen, unix_s, zone)}
    missing = [words.INPUTS[kind] for kind in WATCHED if not any(name.startswith(kind) for name in today)]
    unheard = [html.P(words.NOT_HEARD.format(inputs=", ".join(missing)))] if missing else []
    return html.Div([html.Dl(lines, className="ages"), *unheard])


def trend_caption(
    trend: Trend, figures: Mapping[str, float], zone: ZoneInfo, units: DisplayUnits = METRIC
) -> Component:
    """The trend's lines by pattern and name, each with its value now; the caption is the figure's text."""
    lines = [
        html.Li(
            [
                with_attributes(html.Span(className=f"key key-{line.style}"), HIDDEN),
                html.Span(line.name),
                html.Strong(_value(trend, line, figures, zone, units)),
            ],
            className=f"of-{line.style}",
        )
        for line in reversed(trend.lines)
    ]
    return html.Ul(lines, className="caption")


def _value(
    trend: Trend, line: Line, figures: Mapping[str, float], zone: ZoneInfo, units: DisplayUnits
) -> str:
    value = figures.get(line.key)
    if value is None:
        tested_unix_s = figures.get(TESTED) if line.key in RATES else None
        return (
            words.NOT_KNOWN
            if tested_unix_s is None
            else words.LAST_TEST.format(clock=clock_text(tested_unix_s, zone))
        )
    return units.number(value * trend.scale, trend.decimals, trend.unit)


def note_list(notes: tuple[NoteRow, ...], zone: ZoneInfo) -> Component:
    """The last notes, so that the crew sees that the agent has them, each with a way to take it back."""
    if not notes:
        return html.P(words.NO_NOTES)
    return html.Ul([html.Li(_note(note, zone)) for note in notes], className="notes moving")


def _note(note: NoteRow, zone: ZoneInfo) -> list[Component]:
    tail = f": {note.text}" if note.text else ""
    text = f"{second_text(note.unix_s, zone)} {words.NOTE_NAMES[note.kind]}{tail}"
    if note.taken_back:
        return [html.Span([html.Del(text), f" {words.TAKEN_BACK}"])]
    if note.id is None:
        return [html.Span(text)]
    key = html.Button(words.UNDO, id=_undo_key(note.id, "list"), n_clicks=0, className="tell")
    return [html.Span(text), with_attributes(key, {"aria-label": f"{words.UNDO}: {text}"})]


def undo_offer(notes: tuple[NoteRow, ...], unix_s: float) -> Component | None:
    """For a minute, beside the keys: take back what was just told."""
    latest = next((note for note in notes if note.id is not None and not note.taken_back), None)
    if latest is None or latest.id is None or unix_s - latest.told_unix_s >= UNDO_OFFERED_S:
        return None
    text = words.UNDO_FRESH.format(note=words.NOTE_NAMES[latest.kind])
    return html.Button(text, id=_undo_key(latest.id, "offer"), n_clicks=0, className="wide")


def _undo_key(note_id: str, place: str) -> dict[str, str]:
    return {"type": "undo", "note": note_id, "place": place}
