"""Any reading that the records allow, for property tests."""

from collections.abc import Sequence
from types import NoneType, UnionType
from typing import Union, get_args, get_origin, get_type_hints

from annotated_types import Interval, MaxLen
from hypothesis import strategies as st

from agent.inputs.payloads import EARLIEST_UNIX_S, LATEST_UNIX_S, ONE_OF, TIMES
from agent.records import KINDS, SENT_KINDS, UNDO, AnyReading, JsonValue

finite = st.floats(allow_nan=False, allow_infinity=False)
text = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
json_values: st.SearchStrategy[JsonValue] = st.recursive(
    st.none() | st.booleans() | st.integers() | finite | text,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(text, inner, max_size=3),
    max_leaves=8,
)


@st.composite
def readings(draw: st.DrawFn, kinds: Sequence[str] = SENT_KINDS) -> AnyReading:
    """A reading of any of these kinds, with values from the whole range of each field."""
    kind = draw(st.sampled_from(kinds))
    hints = get_type_hints(KINDS[kind], include_extras=True)
    own = {name: hint for name, hint in hints.items() if name not in ("unix_s", "sent_unix_s", "extra")}
    needed = draw(st.sampled_from(ONE_OF.get(kind, ("",))))
    values = {name: draw(_values(hint, always=name == needed)) for name, hint in own.items()}
    if values.get("kind") == UNDO:
        values["id"] = draw(text)
    unknown = text.filter(lambda key: key not in own and key not in TIMES)
    times = st.floats(EARLIEST_UNIX_S, LATEST_UNIX_S, exclude_max=True)
    return KINDS[kind](
        unix_s=draw(times),
        sent_unix_s=draw(st.none() | times),
        extra=draw(st.dictionaries(unknown, json_values, max_size=2)),
        **values,  # type: ignore[arg-type]
    )


def _values(hint: object, always: bool) -> st.SearchStrategy[object]:
    parts = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
    (plain,) = (part for part in parts if part is not NoneType)
    values = _plain_values(plain)
    return values if always or NoneType not in parts else st.none() | values


def _plain_values(hint: object) -> st.SearchStrategy[object]:
    rule = next(iter(getattr(hint, "__metadata__", ())), None)
    if isinstance(rule, MaxLen):
        return st.text(st.characters(exclude_categories=["Cs"]), max_size=min(rule.max_length, 40))
    if not isinstance(rule, Interval):
        return st.from_type(hint)  # type: ignore[arg-type]
    low = rule.gt if rule.ge is None else rule.ge
    if get_args(hint)[0] is int:
        return st.integers(low, rule.le)  # type: ignore[arg-type]
    return st.floats(low, rule.le, exclude_min=rule.ge is None)  # type: ignore[arg-type]
