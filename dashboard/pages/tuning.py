"""The tuning page: other numbers of a rule on recorded days, what they would change, and a new rules file."""

import os
from pathlib import Path

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from agent.errors import UsageError
from agent.watch.rules import BY_NAME, RULES, in_words
from dashboard import tuning_words, words
from dashboard.access.request_guard import current_role
from dashboard.page_data.tuning import (
    Question,
    accept,
    asked_days,
    asked_rules,
    bundled_days,
    checked_changes,
    own_days,
    own_rules,
    present_value,
    tuning_data,
)
from dashboard.pages import tuning_parts
from dashboard.settings import current_settings
from dashboard.theme import THEMES

PATH = "/tuning"
FIRST_NUMBER = "repeak.raise_db"
PRESSED = ("false", "true")
# A finger that slides is followed once it rests.
REST_S = 0.2
Days = dict[str, list[str] | str | None]


def layout() -> Component:
    """The page with no day chosen."""
    if current_role() != "crew":
        return html.Div([html.H1(words.PAGES[PATH]), html.P(words.READ_ONLY)], className="tuning")
    said = html.P(id="tune-said", role="status")
    return html.Div(
        [
            dcc.Store(id="tune-days"),
            dcc.Store(id="tune-rules", data=""),
            dcc.Store(id="tune-changes", data={}),
            dcc.Store(id="tune-key", data=FIRST_NUMBER),
            html.H1(words.PAGES[PATH]),
            html.P(tuning_words.TUNE_HINT, className="hint"),
            _days_section(),
            said,
            html.Div(
                [_number_section(), html.Div(id="tune-result"), _accept_section()],
                id="tune-desk",
                hidden=True,
            ),
        ],
        className="tuning",
    )


def _days_section() -> Component:
    root = current_settings().rules_folder
    own, other_rules = own_days(root), own_rules(root, current_settings().rules)
    no_own = html.P(tuning_words.TUNE_NO_OWN_DAYS, className="hint")
    rules = {"": tuning_words.TUNE_IN_FORCE, **other_rules}
    return html.Section(
        [
            html.H2(tuning_words.TUNE_DAYS),
            html.H3(tuning_words.TUNE_OWN_DAYS),
            tuning_parts.toggles("tune-day", own, tuning_words.TUNE_OWN_DAYS) if own else no_own,
            html.H3(tuning_words.TUNE_BUNDLED_DAYS),
            tuning_parts.toggles("tune-day", bundled_days(), tuning_words.TUNE_BUNDLED_DAYS),
            html.Div(
                [
                    html.H3(tuning_words.TUNE_RULES),
                    tuning_parts.toggles("tune-from", rules, tuning_words.TUNE_RULES),
                ],
                hidden=not other_rules,
            ),
            html.Button(tuning_words.TUNE_LOOK, id="tune-look", n_clicks=0),
        ],
        className="sheet",
    )


def _field(name: str, label: str, value: str = "") -> Component:
    box = dcc.Input(id=name, type="text", value=value, maxLength=4096, autoComplete="off")
    return html.Div([html.Label(label, htmlFor=name), box], className="remark")


def _number_section() -> Component:
    rules = {rule: in_words(rule) for rule in RULES}
    slide = dcc.Input(id="tune-slide", type="range", step="any", debounce=REST_S)
    number = dcc.Input(id="tune-number", type="number", step="any", debounce=True)
    return html.Section(
        [
            html.H2(tuning_words.TUNE_NUMBER),
            tuning_parts.toggles("tune-rule", rules, tuning_words.TUNE_NUMBER),
            html.H3(tuning_words.TUNE_KEY),
            html.Div(id="tune-keys"),
            html.P(id="tune-reason", className="hint"),
            html.Div([html.Label(tuning_words.TUNE_SLIDE, htmlFor="tune-slide"), slide], className="remark"),
            html.Div(
                [html.Label(tuning_words.TUNE_VALUE, htmlFor="tune-number"), number], className="remark"
            ),
            html.H3(tuning_words.TUNE_CHANGES),
            html.Div(id="tune-list"),
            html.Button(tuning_words.TUNE_TAKE_BACK, id="tune-back", n_clicks=0),
        ],
        className="sheet",
    )


def _accept_section() -> Component:
    return html.Section(
        [
            html.H2(tuning_words.TUNE_ACCEPT),
            html.P(tuning_words.TUNE_ACCEPT_HINT, className="hint"),
            _field("tune-name", tuning_words.TUNE_NAME, tuning_words.TUNE_FILE),
            html.Button(tuning_words.TUNE_WRITE, id="tune-write", n_clicks=0),
            html.P(id="tune-written", role="status"),
        ],
        className="sheet",
    )


def tick(clicks: list[int]) -> list[str]:
    """Each tap on a day takes it in or leaves it out."""
    return [PRESSED[count % 2] for count in clicks]


def choose_rules(_clicks: list[int], files: list[dict[str, str]]) -> tuple[str, list[str]]:
    """The rules file that was tapped, and which key is pressed."""
    chosen = str((ctx.triggered_id or {"name": ""})["name"])
    return chosen, [PRESSED[one["name"] == chosen] for one in files]


def choose_days(_clicks: int, days: list[dict[str, str]], clicks: list[int], rules: str) -> list[object]:
    """The days are chosen: the desk opens, or it is said what is wrong."""
    names = [day["name"] for day, count in zip(days, clicks, strict=True) if count % 2]
    if current_role() != "crew":
        return [no_update, words.READ_ONLY, True]
    try:
        return [_days(names, rules), "", False]
    except UsageError as error:
        return [no_update, _said(error), no_update]


def _said(error: UsageError) -> str:
    """The reason; where on this computer the job lies is nobody's business on a phone."""
    folder = str(current_settings().rules_folder)
    return str(error).replace(f"{folder}{os.sep}", "").replace(folder, tuning_words.TUNE_FOLDER)


def _days(names: list[str], rules: str) -> Days:
    settings = current_settings()
    rules_file = asked_rules(rules, settings.rules_folder, settings.rules)
    present_value(rules_file, next(iter(BY_NAME)))
    folders = [str(one) for one in asked_days(names, settings.rules_folder)]
    return {"folders": folders, "rules": None if rules_file is None else str(rules_file)}


def choose_key(_rules: list[int], _keys: list[int]) -> object:
    """A rule was tapped, whose first number is shown, or one of its numbers."""
    if not ctx.triggered or not ctx.triggered[0]["value"] or ctx.triggered_id is None:
        return no_update
    name = str(ctx.triggered_id["name"])
    return name if name in BY_NAME else _numbers(name)[0]


def _numbers(rule: str) -> list[str]:
    return [name for name in BY_NAME if name.split(".")[0] == rule]


def show_key(chosen: str, rules: list[dict[str, str]]) -> tuple[Component, list[str]]:
    """The numbers of the chosen rule, and which rule and which number it is."""
    rule = chosen.split(".")[0]
    names = {name: tuning_words.parameter_text(name) for name in _numbers(rule)}
    pressed = [PRESSED[one["name"] == rule] for one in rules]
    return tuning_parts.toggles("tune-key", names, tuning_words.TUNE_KEY, chosen), pressed


def turn(
    name: str, slide: str | None, number: float | None, _back: int, days: Days, changes: dict[str, float]
) -> list[object]:
    """A number was chosen, moved or taken back: the changes, both fields and the words beside them."""
    if not days or not name:
        return [no_update] * 9
    rules = _rules_of(days)
    changed = _turned(name, {"tune-slide": slide, "tune-number": number}, changes, rules)
    value, one = changed.get(name, present_value(rules, name)), BY_NAME[name]
    words_beside = [tuning_parts.parameter_text(name), tuning_parts.change_list(changed)]
    return [changed, one.low, one.high, value, one.low, one.high, value, *words_beside]


def _turned(
    name: str, moved: dict[str, str | float | None], changes: dict[str, float], rules: Path | None
) -> dict[str, float]:
    trigger = ctx.triggered_id
    if trigger == "tune-back":
        return {}
    value = moved.get(str(trigger))
    if value is None:
        return checked_changes(changes, rules)
    return checked_changes({**changes, name: float(f"{float(value):.3g}")}, rules)


def _rules_of(days: Days) -> Path | None:
    """What the browser brings back is checked like what was typed."""
    settings = current_settings()
    return asked_rules(str(days["rules"] or ""), settings.rules_folder, settings.rules)


def _question(days: Days, name: str, changes: dict[str, float]) -> Question:
    rules = _rules_of(days)
    root = current_settings().rules_folder
    folders = asked_days([str(one) for one in days["folders"] or ()], root)
    return Question(folders=folders, rules=rules, changes=checked_changes(changes, rules), parameter=name)


def compare(changes: dict[str, float], name: str, theme: str, days: Days | None) -> object:
    """What the changes do on the chosen days."""
    if not days or not name or current_role() != "crew":
        return no_update
    try:
        return tuning_parts.comparison(tuning_data(_question(days, name, changes)), THEMES[theme])
    except UsageError as error:
        return html.P(_said(error), role="alert")


def write(_clicks: int, file_name: str, name: str, days: Days | None, changes: dict[str, float]) -> str:
    """The changed rules are accepted as a new file."""
    if current_role() != "crew" or not days:
        return words.READ_ONLY
    try:
        path = accept(
            _question(days, name, changes), current_settings().rules_folder, (file_name or "").strip()
        )
    except UsageError as error:
        return _said(error)
    return tuning_words.TUNE_WRITTEN.format(name=path.name)


def register(app: Dash) -> None:
    """Connect the page's callbacks."""
    days, changes = State("tune-days", "data"), State("tune-changes", "data")
    app.callback(
        [Output("tune-days", "data"), Output("tune-said", "children"), Output("tune-desk", "hidden")],
        Input("tune-look", "n_clicks"),
        State({"type": "tune-day", "name": ALL}, "id"),
        State({"type": "tune-day", "name": ALL}, "n_clicks"),
        State("tune-rules", "data"),
        prevent_initial_call=True,
    )(choose_days)
    rules_keys = {"type": "tune-from", "name": ALL}
    app.callback(
        [Output("tune-rules", "data"), Output(rules_keys, "aria-pressed")],
        Input(rules_keys, "n_clicks"),
        State(rules_keys, "id"),
        prevent_initial_call=True,
    )(choose_rules)
    day_keys, rule_keys = ({"type": kind, "name": ALL} for kind in ("tune-day", "tune-rule"))
    app.callback(Output(day_keys, "aria-pressed"), Input(day_keys, "n_clicks"))(tick)
    app.callback(
        Output("tune-key", "data"),
        Input(rule_keys, "n_clicks"),
        Input({"type": "tune-key", "name": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )(choose_key)
    app.callback(
        Output("tune-keys", "children"),
        Output(rule_keys, "aria-pressed"),
        Input("tune-key", "data"),
        State(rule_keys, "id"),
    )(show_key)
    app.callback(
        [
            Output("tune-changes", "data"),
            *(Output("tune-slide", name) for name in ("min", "max", "value")),
            *(Output("tune-number", name) for name in ("min", "max", "value")),
            Output("tune-reason", "children"),
            Output("tune-list", "children"),
        ],
        Input("tune-key", "data"),
        Input("tune-slide", "value"),
        Input("tune-number", "value"),
        Input("tune-back", "n_clicks"),
        Input("tune-days", "data"),
        changes,
        prevent_initial_call=True,
    )(turn)
    app.callback(
        Output("tune-result", "children"),
        Input("tune-changes", "data"),
        Input("tune-key", "data"),
        Input("theme", "data"),
        Input("tune-days", "data"),
        running=[(Output("tune-said", "children"), tuning_words.TUNE_WORKING, "")],
        prevent_initial_call=True,
    )(compare)
    app.callback(
        Output("tune-written", "children"),
        Input("tune-write", "n_clicks"),
        State("tune-name", "value"),
        State("tune-key", "data"),
        days,
        changes,
        prevent_initial_call=True,
    )(write)
