"""What the crew reads off the modem's own screen: keys and fields for it, and the reading in them. Pure."""

from collections.abc import Mapping

from dash import dcc, html
from dash.development.base_component import Component

from agent.records import JsonValue
from dashboard import hand_words, words
from dashboard.pages.aria import key_group, with_attributes

BARS = 5
# The level's field by the figure that the screen shows.
LEVELS: Mapping[str, str] = {"esno_db": words.ESNO, "cn_db": words.CARRIER_TO_NOISE}
RATE_FIELDS: Mapping[str, str] = {"down_mbps": words.DOWN, "up_mbps": words.UP}


class TypedError(ValueError):
    """What was typed is no reading; the text says what to type."""


def entry() -> Component:
    """Lock and bars by one tap, a level or the rates of a test by typing them."""
    lock = [_key(text, lock=told) for told, text in hand_words.LOCKS.items()]
    bars = [_key(f"{count}/{BARS}", bars=str(count)) for count in range(1, BARS + 1)]
    figures = [
        html.Option(text, value=name, selected=True if name == "esno_db" else None)
        for name, text in LEVELS.items()
    ]
    choice = with_attributes(html.Select(figures, name="figure"), {"aria-label": hand_words.LEVEL_FIGURE})
    rates = [_number(name, hand_words.RATE_OF_TEST.format(way=way)) for name, way in RATE_FIELDS.items()]
    return html.Details(
        [
            html.Summary(hand_words.BY_HAND),
            html.P(hand_words.BY_HAND_HINT, className="hint"),
            key_group(lock, hand_words.LOCK_LABEL),
            html.P(hand_words.BARS_LABEL, className="name"),
            key_group(bars, hand_words.BARS_LABEL),
            html.Div(
                [_number("level", hand_words.LEVEL_LABEL), choice, _key(hand_words.SEND, level="")],
                className="typed",
            ),
            html.Div([*rates, _key(hand_words.SEND, rates="")], className="typed"),
        ],
        className="by-hand",
    )


def _key(text: str, **what: str) -> Component:
    return html.Button(text, id={"type": "read", **what})


def _number(name: str, label: str) -> Component:
    box = dcc.Input(id=f"read-{name}", name=name, type="text", autoComplete="off", maxLength=8)
    with_attributes(box, {"data-inputmode": "decimal"})
    return html.Div([html.Label(label, htmlFor=f"read-{name}"), box])


def reading(key: Mapping[str, str], typed: Mapping[str, str]) -> tuple[str, dict[str, JsonValue], str]:
    """Kind, fields and a few words of the reading; TypedError where what was typed is none."""
    if "lock" in key:
        return "signal", {"locked": key["lock"] == "yes"}, hand_words.LOCKS[key["lock"]]
    if "bars" in key:
        percent = 100.0 * int(key["bars"]) / BARS
        what = hand_words.SENT_BARS.format(bars=key["bars"], of=BARS)
        return "signal", {"locked": True, "quality_percent": percent}, what
    if "rates" in key:
        return _rates(typed)
    name = typed.get("figure", "")
    if name not in LEVELS:
        raise TypedError(hand_words.TYPE_NUMBER)
    level = _typed_number(typed.get("level", ""))
    return (
        "signal",
        {"locked": True, name: level},
        hand_words.SENT_LEVEL.format(figure=LEVELS[name], level=level),
    )


def _rates(typed: Mapping[str, str]) -> tuple[str, dict[str, JsonValue], str]:
    rates = {name: _typed_number(typed[name]) for name in RATE_FIELDS if typed.get(name)}
    if not rates:
        raise TypedError(hand_words.TYPE_NUMBER)
    said = ", ".join(f"{RATE_FIELDS[name]} {rate:g}" for name, rate in rates.items())
    return "throughput", dict(rates), hand_words.SENT_RATES.format(rates=said)


def _typed_number(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise TypedError(hand_words.TYPE_NUMBER) from None
