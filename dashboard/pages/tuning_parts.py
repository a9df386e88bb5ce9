"""The tuning page's words, tables and figures, from what the two rule sets say. Pure."""

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from dash import dcc, html
from dash.development.base_component import Component
from plotly.graph_objects import Figure

from agent.replay.compare import Alert, Difference, says_the_same
from agent.replay.tuning.choice import Figures
from agent.watch.rules import BY_NAME, in_words
from dashboard import tuning_words, words
from dashboard.figures.tuning import curve_figure, curve_points, day_figure
from dashboard.page_data.tuning import DayCompared, TuningData
from dashboard.pages.aria import HIDDEN, key_group, with_attributes
from dashboard.pages.plan_parts import pairs, table
from dashboard.site_time import second_text
from dashboard.theme import Theme


def toggles(group: str, names: Mapping[str, str], label: str, pressed: str = "") -> Component:
    """Buttons to choose from; the chosen one is filled and says so to a screen reader."""
    keys = [
        with_attributes(
            html.Button(text, id={"type": group, "name": name}, n_clicks=0),
            {"aria-pressed": "true" if name == pressed else "false"},
        )
        for name, text in names.items()
    ]
    return html.Div(key_group(keys, label), className="toggles")


def parameter_text(name: str) -> str:
    """What the number is, its default, and why."""
    one = BY_NAME[name]
    return tuning_words.TUNE_REASON.format(
        value=f"{one.value:g}{_unit(name)}", low=f"{one.low:g}", high=f"{one.high:g}", reason=one.reason
    )


def _unit(name: str) -> str:
    unit = BY_NAME[name].unit.replace("degC", "°C")
    return "" if unit == "1" else f" {unit}"


def number_text(name: str) -> str:
    """The number's rule, and what it does there."""
    rule = in_words(name.partition(".")[0])
    return tuning_words.TUNE_NAMED.format(rule=rule, name=tuning_words.parameter_text(name))


def change_list(changes: Mapping[str, float]) -> Component:
    """What is changed against the rules in force, number by number."""
    if not changes:
        return html.P(tuning_words.TUNE_NO_CHANGE)
    lines = [html.Li(f"{number_text(name)}: {value:g}{_unit(name)}") for name, value in changes.items()]
    return html.Ul(lines, className="evidence")


def comparison(data: TuningData, theme: Theme) -> Component:
    """Both rule sets over all days, the curve, then each day."""
    rule = data.question.parameter.split(".")[0]
    return html.Div(
        [
            html.Section(
                [
                    html.H2(tuning_words.TUNE_TOGETHER),
                    pairs(
                        (tuning_words.TUNE_PRESENT, figures_text(data.present)),
                        (tuning_words.TUNE_TRIED, figures_text(data.tried)),
                    ),
                ],
                className="sheet",
            ),
            *(_day(day, rule, theme) for day in data.days),
            html.Section([html.H2(tuning_words.TUNE_CURVE), *_curve(data, theme)], className="sheet"),
        ]
    )


def figures_text(one: Figures) -> str:
    """Episodes found, false alarms and delay in one phrase."""
    delay = tuning_words.TUNE_NO_DELAY if one.mean_delay_s is None else f"{one.mean_delay_s / 60.0:.1f} min"
    return tuning_words.TUNE_FIGURES.format(
        found=one.found, episodes=one.episodes, false_alarms=one.false_alarms, hours=one.hours, delay=delay
    )


def _curve(data: TuningData, theme: Theme) -> list[Component]:
    hint = html.P(
        tuning_words.TUNE_CURVE_HINT.format(name=number_text(data.question.parameter)), className="hint"
    )
    rows = [
        [text, f"{found.found} / {found.episodes}", f"{found.false_alarms_per_hour or 0.0:.2f}"]
        for text, found in curve_points(data.sweep)
    ]
    if data.present.recall is None:
        return [html.P(tuning_words.TUNE_NO_EPISODES), table(tuning_words.TUNE_CURVE_HEADS, rows)]
    return [
        hint,
        _graph(curve_figure(data, theme)),
        html.Details([html.Summary(words.SHOW), table(tuning_words.TUNE_CURVE_HEADS, rows)]),
    ]


def _day(day: DayCompared, rule: str, theme: Theme) -> Component:
    told = [one for one in day.differences if not says_the_same(one)]
    same = tuning_words.TUNE_SAME.format(count=len(day.differences) - len(told))
    zone = day.head.zone
    rows = [
        [in_words(one.rule), _alert(one.first, zone), _alert(one.second, zone), _how(one)] for one in told
    ]
    changed = [table(tuning_words.TUNE_HEADS, rows)] if rows else []
    return html.Section(
        [
            html.H2(day.head.title),
            html.P(tuning_words.TUNE_BARS.format(rule=in_words(rule)), className="hint"),
            _graph(day_figure(day, rule, theme)),
            *changed,
            html.P(same),
        ],
        className="sheet",
    )


def _alert(alert: Alert | None, zone: ZoneInfo) -> str:
    if alert is None:
        return words.NO_NUMBER
    end = tuning_words.TUNE_TO_THE_END if alert.end_unix_s is None else second_text(alert.end_unix_s, zone)
    return tuning_words.TUNE_ALERT.format(
        start=second_text(alert.start_unix_s, zone), end=end, level=words.LEVELS[alert.severity]
    )


def _how(one: Difference) -> str:
    if one.first is None or one.second is None or one.kind == "same":
        return tuning_words.TUNE_KINDS[one.kind]
    shift_s = abs(one.second.start_unix_s - one.first.start_unix_s)
    return tuning_words.TUNE_KINDS[one.kind].format(shift=f"{shift_s:.0f} s")


def _graph(figure: Figure) -> Component:
    graph = dcc.Graph(figure=figure, config={"staticPlot": True, "responsive": True})
    return with_attributes(html.Div(graph), HIDDEN)
