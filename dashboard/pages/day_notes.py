"""Notes of the day page: those of the span, and new or moved ones for an earlier time."""

import time
from zoneinfo import ZoneInfo

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from agent.records import UNDO
from dashboard import messages, queries, words
from dashboard.page_data.terminal import Moment, asked_terminal, moment
from dashboard.pages.aria import key_group, with_attributes
from dashboard.pages.crew_answers import send
from dashboard.queries import NoteRow
from dashboard.settings import current_settings
from dashboard.site_time import from_field, second_text


def section() -> Component:
    """The notes, and the form for an earlier time."""
    keys = [
        html.Button(text, id={"type": "late-note", "kind": kind}, n_clicks=0)
        for kind, text in words.NOTE_NAMES.items()
        if kind != UNDO
    ]
    form = html.Details(
        [
            html.Summary(words.LATE_NOTE),
            html.P(words.LATE_HINT, className="hint"),
            field("day-time", words.LATE_TIME),
            field("day-text", words.LATE_TEXT),
            key_group(keys, words.LATE_NOTE),
        ],
        className="tell",
    )
    said = html.P(id="day-told", role="status")
    return html.Section([html.H2(words.SPAN_NOTES), html.Div(id="day-notes"), form, said], className="sheet")


def field(name: str, label: str) -> Component:
    """A field for text with its label."""
    box = dcc.Input(id=name, type="text", maxLength=500, autoComplete="off")
    return html.Div([html.Label(label, htmlFor=name), box], className="remark")


def note_list(notes: tuple[NoteRow, ...], zone: ZoneInfo) -> Component:
    """The notes of the span; each can be moved to the time in the form."""
    if not notes:
        return html.P(words.NO_NOTES)
    return html.Ul([html.Li(_line(note, zone)) for note in notes], className="notes moving")


def _line(note: NoteRow, zone: ZoneInfo) -> list[Component]:
    tail = f": {note.text}" if note.text else ""
    told = words.TOLD_AT.format(clock=second_text(note.told_unix_s, zone))
    late = f" ({told})" if note.told_unix_s != note.unix_s else ""
    text = f"{second_text(note.unix_s, zone)} {words.NOTE_NAMES[note.kind]}{tail}{late}"
    key = html.Button(
        words.MOVE_NOTE, id={"type": "note-move", "seq": note.seq}, n_clicks=0, className="tell"
    )
    return [html.Span(text), with_attributes(key, {"aria-label": f"{words.MOVE_NOTE}: {text}"})]


def take_time(click: dict[str, list[dict[str, object]]] | None) -> object:
    """A tap in the figure is the time for a note."""
    place = (click or {"points": [{}]})["points"][0].get("x")
    return no_update if place is None else str(place)[:19]


def tell_late(_clicks: list[int], field_time: str | None, text: str | None, search: str) -> object:
    """A note for an earlier time was tapped."""
    if not ctx.triggered[0]["value"]:
        return no_update
    now = moment(current_settings(), asked_terminal(search), time.time())
    return _send(now, field_time, ctx.triggered_id["kind"], (text or "").strip() or None, None)


def move_note(_clicks: list[int], field_time: str | None, search: str) -> object:
    """A note is moved to the time in the form."""
    if not ctx.triggered or not ctx.triggered[0]["value"]:
        return no_update
    now = moment(current_settings(), asked_terminal(search), time.time())
    with queries.open_store(current_settings().store) as connection:
        note = queries.note(connection, now.terminal or "", ctx.triggered_id["seq"])
    return no_update if note is None else _send(now, field_time, note.kind, note.text, note.seq)


def _send(now: Moment, field_time: str | None, about: str, text: str | None, replaces: int | None) -> str:
    at_unix_s = from_field(field_time, now.zone)
    if at_unix_s is None or at_unix_s > now.unix_s:
        return words.LATE_WRONG_TIME
    payload = messages.late_note_payload(now.unix_s, at_unix_s, about, text, replaces)
    return send(now, "note", payload, f"{second_text(at_unix_s, now.zone)} {words.NOTE_NAMES[about]}")[0]


def register(app: Dash) -> None:
    """Connect the form."""
    field_time, search = State("day-time", "value"), State("url", "search")
    app.callback(Output("day-time", "value"), Input("day-figure", "clickData"), prevent_initial_call=True)(
        take_time
    )
    said = Output("day-told", "children", allow_duplicate=True)
    app.callback(
        said,
        Input({"type": "late-note", "kind": ALL}, "n_clicks"),
        field_time,
        State("day-text", "value"),
        search,
        prevent_initial_call=True,
    )(tell_late)
    app.callback(
        said,
        Input({"type": "note-move", "seq": ALL}, "n_clicks"),
        field_time,
        search,
        prevent_initial_call=True,
    )(move_note)
