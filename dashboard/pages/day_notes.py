"""Notes of the day page: those of the span, and new or moved ones for an earlier time."""

import time
from zoneinfo import ZoneInfo

from dash import dcc, html
from dash.development.base_component import Component
from flask import Flask, Response, jsonify, request

from agent.records import UNDO
from dashboard import messages, queries, words
from dashboard.page_data.terminal import Moment, moment
from dashboard.pages.aria import key_group, with_attributes
from dashboard.pages.crew_answers import send
from dashboard.queries import NoteRow
from dashboard.settings import current_settings
from dashboard.site_time import from_field, second_text

TELL = "/day/tell"


def section() -> Component:
    """The form for an earlier time."""
    keys = [
        html.Button(text, id={"type": "late-note", "kind": kind})
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
        id="late-note",
        className="tell",
    )
    return html.Section([form, html.P(id="day-told", role="status")], className="sheet tell")


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
    key = html.Button(words.MOVE_NOTE, id={"type": "note-move", "seq": note.seq}, className="tell")
    return [html.Span(text), with_attributes(key, {"aria-label": f"{words.MOVE_NOTE}: {text}"})]


def tell() -> Response:
    """A note for an earlier time, or one that is moved to the time in the form."""
    asked = request.get_json()
    key = asked["key"]
    now = moment(current_settings(), asked["terminal"], time.time())
    if key["type"] == "late-note":
        text = (asked.get("text") or "").strip() or None
        return jsonify(said=_send(now, asked.get("time"), key["kind"], text, None))
    with queries.open_store(current_settings().store) as connection:
        note = queries.note(connection, now.terminal or "", key["seq"])
    if note is None:
        return jsonify(said=words.NO_NOTES)
    return jsonify(said=_send(now, asked.get("time"), note.kind, note.text, note.seq))


def _send(now: Moment, field_time: str | None, about: str, text: str | None, replaces: int | None) -> str:
    at_unix_s = from_field(field_time, now.zone)
    if at_unix_s is None or at_unix_s > now.unix_s:
        return words.LATE_WRONG_TIME
    payload = messages.late_note_payload(now.unix_s, at_unix_s, about, text, replaces)
    return send(now, "note", payload, f"{second_text(at_unix_s, now.zone)} {words.NOTE_NAMES[about]}")[0]


def register(server: Flask) -> None:
    """Take what is told."""
    server.add_url_rule(TELL, "day-tell", tell, methods=["POST"])
