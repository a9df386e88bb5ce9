"""The day page's words: its span, its alerts with their evidence, its notes. Pure."""

from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component

from agent.records import AlertEvent
from agent.watch.words import joined, reworded
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.figures.day import Row
from dashboard.page_data.windows import Window
from dashboard.pages.aria import HIDDEN, with_attributes
from dashboard.pages.crew_parts import level_mark
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


def line_keys(rows: tuple[Row, ...], units: DisplayUnits = METRIC) -> Component:
    """Which line is which, panel by panel."""
    marks = html.Li([html.Strong(words.MARKS_TITLE), words.MARK_KEYS])
    return html.Ul([*(_panel_keys(row, units) for row in rows), marks], className="line-keys")


def _panel_keys(row: Row, units: DisplayUnits) -> Component:
    measured = [_key(one.name, one.style) for one in row.measured]
    lines = [_key(line.name, line.style) for line in row.lines]
    return html.Li([html.Strong(row.heading(units)), *measured, *lines])


def _key(name: str, style: str) -> Component:
    stroke = with_attributes(html.Span(className=f"key key-{style}"), HIDDEN)
    return html.Span([stroke, name], className=f"of-{style}")


def event_list(events: tuple[AlertEvent, ...], zone: ZoneInfo, units: DisplayUnits = METRIC) -> Component:
    """Every change of an alert, each opening to its evidence and its numbers."""
    if not events:
        return html.P(words.NO_EVENTS)
    return html.Ul(
        [html.Li(event_details(event, zone, False, units)) for event in events], className="events"
    )


def event_details(
    event: AlertEvent, zone: ZoneInfo, is_open: bool, units: DisplayUnits = METRIC
) -> Component:
    """One change of an alert, with what showed it and the numbers behind it."""
    change = f"{words.LEVELS[event.severity]}, {words.change_text(event.rule, event.state)}"
    head = html.Summary([second_text(event.unix_s, zone), level_mark(event.severity), change])
    reader = units.reader(zone)
    evidence = reworded(event.said, "evidence", event.evidence, reader)
    body = [
        html.P(joined(reworded(event.said, "action", event.action, reader)), className="action"),
        html.P(words.EVIDENCE, className="name"),
        html.Ul(list(map(html.Li, evidence)), className="evidence"),
        html.P(words.FIGURES_BEHIND, className="name"),
        html.Dl(
            [
                html.Div([html.Dt(name), html.Dd(reader.significant(value, FIGURES_SHOWN))])
                for name, value in sorted(event.figures.items())
            ],
            className="ages",
        ),
    ]
    return html.Details([head, *body], open=is_open)
