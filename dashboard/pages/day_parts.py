"""The day page's words: its span, and its alerts as lanes that open to what showed them. Pure."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component

from agent.records import AlertEvent
from agent.watch.rules import in_words
from agent.watch.words import joined, reworded
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.figures.day import track
from dashboard.page_data.day import DayData, Episode, episodes
from dashboard.page_data.windows import Window
from dashboard.pages.crew_parts import level_mark
from dashboard.pages.markup import Markup
from dashboard.site_time import clock_text, date_text, second_text, utc_text

FIGURES_SHOWN = 4


def window_text(window: Window, zone: ZoneInfo) -> str:
    """The span that is shown, at the site and in UTC."""
    return words.DAY_WINDOW.format(
        start=f"{date_text(window[0], zone)} {clock_text(window[0], zone)}",
        end=f"{date_text(window[1], zone)} {clock_text(window[1], zone)}",
        utc_start=utc_text(window[0]),
        utc_end=utc_text(window[1]),
    )


def lanes(data: DayData, units: DisplayUnits = METRIC) -> Component:
    """One lane a rule: its name, its bars on the time axis, and behind a tap what was said and why."""
    found = episodes(data.events)
    if not found:
        return html.P(words.NO_EVENTS, id="day-alerts")
    lines = [_lane(rule, of_rule, data, units) for rule, of_rule in found.items()]
    return html.Div([html.H2(words.EVENTS), *lines], id="day-alerts", className="lanes")


def _lane(rule: str, of_rule: Sequence[Episode], data: DayData, units: DisplayUnits) -> Component:
    gravest = max((one.severity for one in of_rule), key=list(words.LEVELS).index)
    spans = ", ".join(_span_text(one, data) for one in of_rule[-1:])
    more = [words.LANE_TIMES.format(count=len(of_rule))] if len(of_rule) > 1 else []
    said = html.Span(" · ".join([words.LEVELS[gravest], *more, spans]), className="when")
    head = html.Summary(
        [level_mark(gravest), html.Strong(in_words(rule)), said, Markup(track(of_rule, data))]
    )
    told = [_episode(one, data.zone, units) for one in reversed(of_rule)]
    return html.Details([head, *told], id=f"lane-{rule}", className="lane")


def _span_text(one: Episode, data: DayData) -> str:
    start = clock_text(one.start_unix_s, data.zone)
    if one.end_unix_s is None:
        return words.SINCE.format(clock=start)
    return words.FROM_TO.format(start=start, end=clock_text(one.end_unix_s, data.zone))


def _episode(one: Episode, zone: ZoneInfo, units: DisplayUnits) -> Component:
    """What was said of one alert: each time it was raised with its reasons, and when it was seen and over."""
    return html.Ul([html.Li(_event(event, zone, units)) for event in one.events], className="events")


def _event(event: AlertEvent, zone: ZoneInfo, units: DisplayUnits) -> list[Component]:
    when = f"{date_text(event.unix_s, zone)} {second_text(event.unix_s, zone)}"
    head = html.P([f"{when} ", html.Strong(f"{words.LEVELS[event.severity]}, {words.STATES[event.state]}")])
    if event.state != "raised":
        return [head]
    reader = units.reader(zone)
    evidence = reworded(event.said, "evidence", event.evidence, reader)
    figures = [
        html.Div([html.Dt(name), html.Dd(reader.significant(value, FIGURES_SHOWN))])
        for name, value in sorted(event.figures.items())
    ]
    numbers = [html.P(words.FIGURES_BEHIND, className="name"), html.Dl(figures, className="ages")]
    behind = [html.Div(numbers, className="numbers")]
    return [
        head,
        html.P(joined(reworded(event.said, "action", event.action, reader)), className="action"),
        html.Ul(list(map(html.Li, evidence)), className="evidence"),
        *(behind if figures else []),
    ]
