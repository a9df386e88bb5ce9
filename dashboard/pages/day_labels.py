"""Labels of the day page: what really happened, kept in this browser, as labels.csv for replay and tuning.

The browser sends its labels with what was tapped, and gets back what they are then.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, abort, jsonify, request
from pydantic import TypeAdapter, ValidationError

from agent.errors import UsageError
from agent.records import Cause
from agent.replay.labels import LABEL_CAUSES, Label, labels_from_csv, labels_to_csv
from dashboard import words
from dashboard.access.request_guard import current_role
from dashboard.figures.day import label_track
from dashboard.page_data.day import day_data, day_zone
from dashboard.page_data.labels import in_order, proposed
from dashboard.page_data.windows import asked_of
from dashboard.pages.aria import key_group, with_attributes
from dashboard.pages.day_notes import field
from dashboard.pages.markup import Markup, to_html
from dashboard.settings import current_settings
from dashboard.site_time import field_text, from_field

ASK = "/day/labels"
FILE = "labels.csv"
Labels = tuple[Label, ...]
_LABELS = TypeAdapter(Labels)
_FILE_FIELD = Markup('<input type="file" id="label-read" accept=".csv">')


def section() -> Component:
    """The labels, the form for one more, and the file."""
    keys = [
        html.Button(words.LABEL_CAUSES[cause], id={"type": "label-add", "cause": cause})
        for cause in LABEL_CAUSES
    ]
    file_keys = [
        html.Button(words.LABEL_PROPOSE, id={"type": "label-propose"}),
        html.Button(words.LABEL_SAVE, id={"type": "label-save"}),
    ]
    return html.Section(
        [
            html.H2(words.LABELS),
            html.P(words.LABEL_HINT, className="hint"),
            html.Div(id="label-list"),
            field("label-start", words.LABEL_START),
            field("label-end", words.LABEL_END),
            html.P(words.LABEL_AS),
            key_group(keys, words.LABEL_AS),
            html.Div(file_keys, className="keys small"),
            html.Div([html.Label(words.LABEL_READ, htmlFor="label-read"), _FILE_FIELD], className="remark"),
            html.P(id="label-said", role="status"),
        ],
        id="labels",
        className="sheet labels",
    )


def answer() -> Response:
    """What the labels are after what was tapped, as the browser keeps them and as it shows them."""
    asked = request.get_json()
    try:
        labels = _LABELS.validate_python(asked["labels"])
    except ValidationError:
        abort(400)
    key = asked.get("key") or {}
    if current_role() != "crew" and key:
        return jsonify(said=words.READ_ONLY)
    zone = day_zone(current_settings(), asked["terminal"])
    try:
        labels = in_order(_CHANGES[key["type"]](labels, key, asked, zone) if key else labels)
    except UsageError as error:
        return jsonify(said=str(error))
    return jsonify(
        said="",
        labels=[asdict(label) for label in labels],
        list=to_html(label_list(labels, zone)),
        track=label_track(labels, asked["window"]),
        file=labels_to_csv(labels),
    )


def label_list(labels: Labels, zone: ZoneInfo) -> Component:
    """The labels, each with a button that takes it out."""
    if not labels:
        return html.P(words.NO_LABELS)
    lines = [html.Li(_line(label, number, zone)) for number, label in enumerate(labels)]
    return html.Ul(lines, className="notes moving")


def _line(label: Label, number: int, zone: ZoneInfo) -> list[Component]:
    start, end = field_text(label.start_unix_s, zone), field_text(label.end_unix_s, zone)
    text = f"{start} – {end[11:] if end[:10] == start[:10] else end}: {words.LABEL_CAUSES[label.cause]}"
    key = html.Button(words.LABEL_REMOVE, id={"type": "label-remove", "number": number})
    return [html.Span(text), with_attributes(key, {"aria-label": f"{words.LABEL_REMOVE}: {text}"})]


def _add(labels: Labels, key: Mapping[str, Any], asked: Mapping[str, Any], zone: ZoneInfo) -> Labels:
    """One more, of the cause that was tapped."""
    start_unix_s, end_unix_s = from_field(asked["start"], zone), from_field(asked["end"], zone)
    if start_unix_s is None or end_unix_s is None or end_unix_s < start_unix_s:
        raise UsageError(words.LABEL_WRONG)
    cause: Cause = key["cause"]
    return *labels, Label(start_unix_s=start_unix_s, end_unix_s=end_unix_s, cause=cause)


def _remove(labels: Labels, key: Mapping[str, Any], _asked: Mapping[str, Any], _zone: ZoneInfo) -> Labels:
    return tuple(label for number, label in enumerate(labels) if number != key["number"])


def _propose(_labels: Labels, _key: Mapping[str, Any], asked: Mapping[str, Any], _zone: ZoneInfo) -> Labels:
    """The alerts of the span, to begin with; one that still stands ends where the span's knowledge does."""
    start_unix_s, end_unix_s = asked["window"]
    span = asked_of({"from": str(start_unix_s), "to": str(end_unix_s)})
    data = day_data(current_settings(), asked["terminal"], span)
    return () if data is None else proposed(data.events, data.known_until_unix_s)


def _read(_labels: Labels, _key: Mapping[str, Any], asked: Mapping[str, Any], _zone: ZoneInfo) -> Labels:
    return labels_from_csv(str(asked["text"]).removeprefix("\ufeff"), FILE)


_CHANGES: Mapping[str, Callable[[Labels, Mapping[str, Any], Mapping[str, Any], ZoneInfo], Labels]] = {
    "label-add": _add,
    "label-remove": _remove,
    "label-propose": _propose,
    "label-read": _read,
}


def register(server: Flask) -> None:
    """Answer for the labels."""
    server.add_url_rule(ASK, "day-labels", answer, methods=["POST"])
