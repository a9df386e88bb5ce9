"""The figures as tables for a spreadsheet or a notebook: CSV and Parquet text and bytes."""

import io
from collections.abc import Mapping, Sequence

import pandas as pd

from agent.replay.spreadsheet import guarded
from agent.report.figures import figures
from agent.report.review import Review


def tables(reviews: Sequence[Review]) -> Mapping[str, pd.DataFrame]:
    """By file name: figures, alerts, actions, hours of sun, minutes. An empty cell was not measured."""
    return {
        "figures": _stacked([_figures(one) for one in reviews]),
        "alerts": _stacked([_alerts(one) for one in reviews]),
        "actions": _stacked([_actions(one) for one in reviews]),
        "sun_hours": _stacked([_sun_hours(one) for one in reviews]),
        "minutes": _stacked([_minutes(one) for one in reviews]),
    }


def csv_text(table: pd.DataFrame) -> str:
    """Times as RFC 3339 in UTC, a point as decimal sign, an empty cell for what was not measured.

    What people wrote stays text in a spreadsheet: an apostrophe stands before what would be a formula.
    """
    texts = table.select_dtypes(["object", "string"])
    table = table.assign(**{str(name): column.map(_as_text) for name, column in texts.items()})
    return table.to_csv(index=False, date_format="%Y-%m-%dT%H:%M:%SZ", lineterminator="\n")


def _as_text(cell: object) -> object:
    return guarded(cell.replace("\r", "\n")) if isinstance(cell, str) else cell


def parquet_bytes(table: pd.DataFrame) -> bytes:
    """The same table with its types; needs pyarrow."""
    out = io.BytesIO()
    table.to_parquet(out, index=False)
    return out.getvalue()


def _stacked(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    filled = [part for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else parts[0]


def _times(unix_s: Sequence[float]) -> "pd.Series[pd.Timestamp]":
    return pd.Series(pd.to_datetime(list(unix_s), unit="s", utc=True).round("s"))


def _figures(review: Review) -> pd.DataFrame:
    found = figures(review)
    return pd.DataFrame(
        {
            "day": review.name,
            "date": review.clock.iso_date(),
            "figure": [one.key for one in found],
            "value": [one.value for one in found],
            "meaning": [one.name for one in found],
        }
    )


def _alerts(review: Review) -> pd.DataFrame:
    found = review.episodes
    return pd.DataFrame(
        {
            "day": review.name,
            "rule": [one.rule for one in found],
            "severity": [one.severity for one in found],
            "cause": [one.cause for one in found],
            "raised": _times([one.start_unix_s for one in found]),
            "cleared": _times([_or_nan(one.end_unix_s) for one in found]),
            "acknowledged": _times([_or_nan(one.acknowledged_unix_s) for one in found]),
            "response_s": [one.response_s for one in found],
            "advice": [one.advice for one in found],
            "evidence": ["; ".join(one.evidence) for one in found],
        }
    )


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


def _actions(review: Review) -> pd.DataFrame:
    found = review.actions
    return pd.DataFrame(
        {
            "day": review.name,
            "start": _times([one.start_unix_s for one in found]),
            "end": _times([one.end_unix_s for one in found]),
            "kind": [one.kind for one in found],
            "where": [one.where for one in found],
            "by": [one.by for one in found],
            "text": [one.text for one in found],
            "before": [one.before for one in found],
            "after": [one.after for one in found],
            "change": [one.change for one in found],
            "unit": [one.unit for one in found],
        }
    )


def _sun_hours(review: Review) -> pd.DataFrame:
    found = review.balance.hours
    return pd.DataFrame(
        {
            "day": review.name,
            "hour": _times([one.start_unix_s for one in found]),
            "unshaded_min": [one.unshaded_min for one in found],
            "shaded_min": [one.shaded_min for one in found],
            "transmitter_peak_degc": [one.peak_degc for one in found],
        }
    )


def _minutes(review: Review) -> pd.DataFrame:
    """What the engine knew at every full minute, one column a figure."""
    table = pd.DataFrame(list(review.course.figures))
    table.insert(0, "day", review.name)
    table.insert(1, "time", _times(review.course.unix_s))
    return table
