"""The crew page's parts, each from what the queries found. Pure: no store, no clock."""

from collections.abc import Mapping
from typing import get_args
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component

from agent.job import Job
from agent.records import ActiveAlert, Cause, NoteKind, Severity, Situation
from agent.watch.rules import RULES, in_words
from agent.watch.words import joined, reworded
from agent.wording import Reader, span
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.figures.trends import Line, Trend
from dashboard.pages.aria import HIDDEN, with_attributes
from dashboard.queries import NoteRow
from dashboard.site_time import clock_text, same_date, second_text, utc_text

SNOOZE_S = 1800.0
# A slip of the thumb is seen at once; later the note itself has the key.
UNDO_OFFERED_S = 60.0
# What a day is watched by; without one of them something goes unwatched.
WATCHED = ("signal", "throughput", "temperature", "weather", "power")
# When the rate was last tested, where that is too long ago to stand for now; and the figures that it gave.
TESTED = "rate_tested_unix_s"
RATES = ("down_mbps", "up_mbps")
PEAKING: tuple[NoteKind, ...] = ("peak-start", "peak-done")
LEAVE_THE_DISH: tuple[Cause, ...] = ("rain", "sun-pass")


def level_mark(level: str) -> Component:
    """A sign whose shape tells the level, so that colour is not needed."""
    return with_attributes(html.Span(className=f"mark mark-{level}"), HIDDEN)


def masthead(terminal: str, job: Job | None, unix_s: float, zone: ZoneInfo) -> Component:
    """Which terminal, where, and what time the agent has; without a job the site's own time is not known."""
    form = words.UTC_ONLY if job is None else words.LOCAL_AND_UTC
    times = form.format(clock=clock_text(unix_s, zone), utc=utc_text(unix_s))
    site = words.SITE_UNKNOWN if job is None else job.site.name
    clock = with_attributes(
        html.Span(times, className="times"), {"data-form": form, "data-zone": zone.key or "UTC"}
    )
    return html.Div([html.Strong(terminal), html.Span(site), clock], className="masthead")


def leading(situation: Situation) -> ActiveAlert | None:
    """The alert that the verdict speaks of; the engine puts it first."""
    return situation.alerts[0] if situation.level in get_args(Severity) and situation.alerts else None


def verdict(
    situation: Situation, seen_by: Mapping[str, str], zone: ZoneInfo, units: DisplayUnits = METRIC
) -> Component:
    """What is the matter, why, what to do, how long there is, and the keys that answer it."""
    level = situation.level
    cause = words.CAUSES[situation.cause]
    alert, reader = leading(situation), units.reader(zone)
    since = [] if alert is None else [html.Span(_since(alert, zone), className="since")]
    figures = _key_figures(situation.figures, zone, units)
    head, *besides = reworded(situation.said, "verdict", situation.verdict, reader)
    return html.Section(
        [
            html.P([level_mark(level), words.LEVELS[level], *since], className="level"),
            html.H1(head),
            *([html.P(joined(besides), className="besides")] if besides else []),
            *([_pair(words.BECAUSE, cause)] if cause else []),
            _action(joined(reworded(situation.said, "action", situation.action, reader))),
            *_time_left(situation.unix_s, situation.deadline_unix_s),
            *figures,
            *([] if alert is None else [_answers(alert, seen_by, zone), _evidence(alert, reader)]),
        ],
        className=f"verdict level-{level}",
    )


def _key_figures(figures: Mapping[str, float], zone: ZoneInfo, units: DisplayUnits) -> list[Component]:
    """The level beside what it should be, and the stream beside what the uplink carries."""
    said = [
        form.format(
            now=units.number(figures[key], decimals, ""), of=units.number(figures[of], decimals, unit)
        )
        for key, of, decimals, unit, form in words.KEY_FIGURES
        if key in figures and of in figures
    ]
    read_unix_s = figures.get("level_by_hand_unix_s")
    if read_unix_s is not None:
        said.append(words.READ_BY_HAND.format(clock=clock_text(read_unix_s, zone)))
    return [html.P([html.Span(one) for one in said], className="key-figures")] if said else []


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
    left = html.Strong(span(abs(left_s), round_down=True))
    if left_s < 0.0:
        return [html.P([f"{words.OVERDUE} ", left], className="left")]
    return [html.P([left, f" {words.LEFT}"], className="left")]


def day_over() -> Component:
    """In place of what comes next: a played day has no more."""
    return html.P(html.Strong(words.DAY_OVER), className="next")


def next_thing(situation: Situation, zone: ZoneInfo) -> Component:
    """The next thing to happen, and when by the clock of the site."""
    name = html.Span(f"{words.NEXT}: ", className="name")
    event = html.Strong(situation.next_event or words.NOTHING_AHEAD)
    if situation.next_event_unix_s is None:
        return html.P([name, event], className="next")
    when = words.AT.format(clock=clock_text(situation.next_event_unix_s, zone))
    return html.P([name, event, f", {when}"], className="next")


def alert_list(
    situation: Situation, seen_by: Mapping[str, str], zone: ZoneInfo, units: DisplayUnits = METRIC
) -> Component:
    """Every standing alert besides the one of the verdict, with what shows it and the keys to answer it."""
    others = [alert for alert in situation.alerts if alert is not leading(situation)]
    if not others:
        return html.P(words.NO_ALERTS if leading(situation) is None else words.NO_OTHER_ALERTS)
    return html.Ul([_alert(alert, seen_by, zone, units) for alert in others], className="alerts")


def _alert(alert: ActiveAlert, seen_by: Mapping[str, str], zone: ZoneInfo, units: DisplayUnits) -> Component:
    event, reader = alert.event, units.reader(zone)
    return html.Li(
        [
            html.P([level_mark(event.severity), words.LEVELS[event.severity]], className="level"),
            html.H3(in_words(event.rule)),
            html.P(_since(alert, zone), className="since"),
            html.P(joined(reworded(event.said, "action", event.action, reader)), className="action"),
            _answers(alert, seen_by, zone),
            _evidence(alert, reader),
        ],
        className=f"alert level-{event.severity}",
    )


def _since(alert: ActiveAlert, zone: ZoneInfo) -> str:
    return words.SINCE.format(clock=clock_text(alert.since_unix_s, zone))


def _answers(alert: ActiveAlert, seen_by: Mapping[str, str], zone: ZoneInfo) -> Component:
    """Seen, and the notes that say that what was asked for is done."""
    rule = alert.event.rule
    deeds = [deed for deed in (RULES[rule].deeds if rule in RULES else ()) if _fits(deed, alert.event.cause)]
    keys = [html.Button(words.NOTE_NAMES[deed], id={"type": "note", "kind": deed}) for deed in deeds]
    if not alert.acknowledged:
        keys.insert(0, html.Button(words.SEEN_BUTTON, id={"type": "seen", "rule": rule}))
    return html.Div(
        [*_seen(alert, seen_by, zone), html.Div(keys, className="keys tell")], className="answers"
    )


def _fits(deed: NoteKind, cause: Cause) -> bool:
    """No key to peak beside the words to leave the dish."""
    return not (deed in PEAKING and cause in LEAVE_THE_DISH)


def _seen(alert: ActiveAlert, seen_by: Mapping[str, str], zone: ZoneInfo) -> list[Component]:
    if not alert.acknowledged:
        return []
    by = seen_by.get(alert.event.rule, words.SOMEBODY)
    said = words.SEEN.format(clock=clock_text(alert.event.unix_s, zone), by=words.SENDERS.get(by, by))
    until_unix_s = alert.snoozed_until_unix_s
    quiet = [] if until_unix_s is None else [words.QUIET_UNTIL.format(clock=clock_text(until_unix_s, zone))]
    return [html.P(" · ".join([said, *quiet]), className="seen")]


def _evidence(alert: ActiveAlert, reader: Reader) -> Component:
    event = alert.event
    sentences = list(map(html.Li, reworded(event.said, "evidence", event.evidence, reader)))
    quiet = [
        html.P(words.QUIET_SUMMARY, className="name tell"),
        html.Div(_quiet_buttons(alert.event.rule), className="keys tell"),
    ]
    return html.Details(
        [
            html.Summary(words.EVIDENCE),
            html.Ul(sentences, className="evidence"),
            *([] if alert.snoozed_until_unix_s is not None else quiet),
        ]
    )


def _quiet_buttons(rule: str) -> list[Component]:
    return [
        html.Button(
            [text, html.Small(words.QUIET_BUTTON.format(span=span(SNOOZE_S, round_down=True)))],
            id={"type": "quiet", "rule": rule, "reason": reason},
        )
        for reason, text in words.QUIET_REASONS.items()
    ]


def input_ages(last_seen_unix_s: Mapping[str, float], unix_s: float, zone: ZoneInfo) -> Component:
    """How long ago each input was heard, the longest silence first; what was not heard on this day."""
    if not last_seen_unix_s:
        return html.P(words.NO_INPUTS)
    lines = [
        html.Div(
            [
                html.Dt(words.INPUTS.get(name, name)),
                html.Dd(words.AGO.format(span=span(unix_s - seen, round_down=True))),
            ]
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
    key = html.Button(words.UNDO, id=_undo_key(note.id, "list"), className="tell")
    return [html.Span(text), with_attributes(key, {"aria-label": f"{words.UNDO}: {text}"})]


def undo_offer(notes: tuple[NoteRow, ...], unix_s: float) -> Component | None:
    """For a minute, beside the keys: take back what was just told."""
    latest = next((note for note in notes if note.id is not None and not note.taken_back), None)
    if latest is None or latest.id is None or unix_s - latest.told_unix_s >= UNDO_OFFERED_S:
        return None
    text = words.UNDO_FRESH.format(note=words.NOTE_NAMES[latest.kind])
    return html.Button(text, id=_undo_key(latest.id, "offer"), className="wide")


def _undo_key(note_id: str, place: str) -> dict[str, str]:
    return {"type": "undo", "note": note_id, "place": place}
