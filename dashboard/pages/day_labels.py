"""Labels of the day page: what really happened, kept in this browser, as labels.csv for replay and tuning."""

import base64
from zoneinfo import ZoneInfo

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from agent.errors import UsageError
from agent.replay.labels import LABEL_CAUSES, Label, labels_from_csv, labels_to_csv
from dashboard import words
from dashboard.page_data.day import DayData, day_data, day_zone
from dashboard.page_data.labels import LabelRow, labels_of, proposed, rows_of_labels
from dashboard.pages.aria import key_group, with_attributes
from dashboard.pages.day_notes import field
from dashboard.settings import current_settings
from dashboard.site_time import field_text, from_field

FILE = "labels.csv"


def section() -> Component:
    """The labels, the form for one more, and the file."""
    keys = [
        html.Button(words.LABEL_CAUSES[cause], id={"type": "label-add", "cause": cause}, n_clicks=0)
        for cause in LABEL_CAUSES
    ]
    return html.Section(
        [
            dcc.Store(id="day-labels", storage_type="local", data=[]),
            dcc.Download(id="label-file"),
            html.H2(words.LABELS),
            html.P(words.LABEL_HINT, className="hint"),
            html.Div(id="label-list"),
            field("label-start", words.LABEL_START),
            field("label-end", words.LABEL_END),
            html.P(words.LABEL_AS),
            key_group(keys, words.LABEL_AS),
            html.Div(_file_keys(), className="keys small"),
            html.P(id="label-said", role="status"),
        ],
        className="sheet labels",
    )


def _file_keys() -> list[Component]:
    upload = dcc.Upload(html.Button(words.LABEL_READ), id="label-read", accept=".csv", max_size=1_000_000)
    return [
        html.Button(words.LABEL_PROPOSE, id="label-propose", n_clicks=0),
        html.Button(words.LABEL_SAVE, id="label-save", n_clicks=0),
        upload,
    ]


def label_list(rows: list[LabelRow], search: str) -> Component:
    """The labels, each with a button that takes it out."""
    if not rows:
        return html.P(words.NO_LABELS)
    zone = day_zone(current_settings(), search)
    lines = [html.Li(_line(label, number, zone)) for number, label in enumerate(labels_of(rows))]
    return html.Ul(lines, className="notes moving")


def _line(label: Label, number: int, zone: ZoneInfo) -> list[Component]:
    start, end = field_text(label.start_unix_s, zone), field_text(label.end_unix_s, zone)
    text = f"{start} – {end[11:] if end[:10] == start[:10] else end}: {words.LABEL_CAUSES[label.cause]}"
    key = html.Button(words.LABEL_REMOVE, id={"type": "label-remove", "number": number}, n_clicks=0)
    return [html.Span(text), with_attributes(key, {"aria-label": f"{words.LABEL_REMOVE}: {text}"})]


def fill(window: list[float] | None, search: str) -> tuple[object, object]:
    """The form follows the span that is shown: drag one open in the figure, then say what it was."""
    if window is None:
        return no_update, no_update
    zone = day_zone(current_settings(), search)
    return field_text(window[0], zone), field_text(window[1], zone)


def add(_clicks: list[int], start: str, end: str, rows: list[LabelRow], search: str) -> tuple[object, str]:
    """One more label, of the cause that was tapped."""
    if not ctx.triggered[0]["value"]:
        return no_update, ""
    zone = day_zone(current_settings(), search)
    span = from_field(start, zone), from_field(end, zone)
    if span[0] is None or span[1] is None or span[1] < span[0]:
        return no_update, words.LABEL_WRONG
    row = LabelRow(start_unix_s=span[0], end_unix_s=span[1], cause=ctx.triggered_id["cause"])
    return rows_of_labels(labels_of([*rows, row])), ""


def remove(_clicks: list[int], rows: list[LabelRow]) -> object:
    """One label less."""
    if not ctx.triggered or not ctx.triggered[0]["value"]:
        return no_update
    kept = [one for number, one in enumerate(labels_of(rows)) if number != ctx.triggered_id["number"]]
    return rows_of_labels(kept)


def propose(_clicks: int, window: list[float] | None, search: str) -> object:
    """The alerts of the span as labels, to begin with."""
    span = None if window is None else (window[0], window[1])
    data = day_data(current_settings(), search, span)
    return no_update if data is None else rows_of_labels(proposed(data.events, _known_until(data)))


def _known_until(data: DayData) -> float:
    """An alert that still stands is labelled up to the last minute that the span knows."""
    return float(data.history.unix_s[-1]) if len(data.history.unix_s) else data.window[1]


def save(_clicks: int, rows: list[LabelRow]) -> dict[str, object]:
    """The file for the session's folder."""
    return {"content": labels_to_csv(labels_of(rows)), "filename": FILE, "type": "text/csv"}


def read(contents: str | None, name: str | None) -> tuple[object, str]:
    """Labels from a file."""
    if contents is None:
        return no_update, ""
    try:
        text = base64.b64decode(contents.partition(",")[2]).decode("utf-8-sig")
        return rows_of_labels(labels_from_csv(text, name or FILE)), ""
    except (UsageError, UnicodeDecodeError) as error:
        return no_update, str(error)


def register(app: Dash) -> None:
    """Connect the form."""
    rows, search = State("day-labels", "data"), State("url", "search")
    kept = Output("day-labels", "data", allow_duplicate=True)
    said = Output("label-said", "children", allow_duplicate=True)
    start, end = State("label-start", "value"), State("label-end", "value")
    app.callback(Output("label-list", "children"), Input("day-labels", "data"), search)(label_list)
    app.callback(
        Output("label-start", "value"), Output("label-end", "value"), Input("day-window", "data"), search
    )(fill)
    added = Input({"type": "label-add", "cause": ALL}, "n_clicks")
    app.callback(kept, said, added, start, end, rows, search, prevent_initial_call=True)(add)
    removed = Input({"type": "label-remove", "number": ALL}, "n_clicks")
    app.callback(kept, removed, rows, prevent_initial_call=True)(remove)
    window = State("day-window", "data")
    app.callback(kept, Input("label-propose", "n_clicks"), window, search, prevent_initial_call=True)(propose)
    app.callback(
        Output("label-file", "data"), Input("label-save", "n_clicks"), rows, prevent_initial_call=True
    )(save)
    file_name = State("label-read", "filename")
    app.callback(kept, said, Input("label-read", "contents"), file_name, prevent_initial_call=True)(read)
