"""The review's figures once more from the sessions' CSV files, by pandas and nothing of the report."""

from math import isnan
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agent.replay.sessions import BUNDLED
from agent.report.figures import figures
from tests.report.days import DOWN_NEEDED_DB, UP_NEEDED_DB, bundled_review, bundled_session, invented_sunshine

NAMES = sorted(path.parent.name for path in BUNDLED.glob("*/session.toml"))
# Sampling each second what changes at whole or broken seconds.
SECONDS_IN_PERCENT = 0.05


def table(name: str, stem: str) -> pd.DataFrame:
    """One file of a session with its times as Unix seconds `t`; empty where there is no such file."""
    folder: Path = BUNDLED / name
    path = next((path for path in folder.glob(f"{stem}.csv*")), None)
    if path is None:
        return pd.DataFrame({"t": pd.Series(dtype=float)})
    found = pd.read_csv(path)
    times = pd.to_datetime(found["time"], utc=True, format="ISO8601")
    return found.assign(t=(times - pd.Timestamp("1970-01-01", tz="UTC")) / pd.Timedelta(seconds=1))


def hours(name: str) -> tuple[float, float]:
    """The job's hours within the session."""
    session = bundled_session(name)
    day = session.job.day
    return max(day.start_unix_s, session.start_unix_s), min(day.end_unix_s, session.end_unix_s)


def within(name: str, found: pd.DataFrame) -> pd.DataFrame:
    """The rows of the job's hours."""
    start, end = hours(name)
    return found[(found["t"] >= start) & (found["t"] < end)]


def each_second(name: str, found: pd.DataFrame, answer: "pd.Series[bool]") -> "pd.Series[bool]":
    """The answer in every second of the job: the last one, for three usual intervals at most."""
    start, end = hours(name)
    grid = pd.DataFrame({"t": np.arange(start, end) + 0.5})
    known = pd.DataFrame({"t": found["t"], "good": answer.astype("boolean")}).dropna()
    gaps = known["t"].diff()
    if not (gaps > 0.0).any():
        return pd.Series(pd.NA, index=grid.index, dtype="boolean")
    hold_s = 3.0 * gaps[gaps > 0.0].median()
    return pd.merge_asof(grid, known, on="t", tolerance=hold_s)["good"].astype("boolean")


def signal_answer(found: pd.DataFrame) -> "pd.Series[bool]":
    """Whether each signal reading carries the booked rates."""
    nothing = pd.Series(np.nan, index=found.index)
    down, up = found.get("esno_db", nothing), found.get("uplink_esno_db", nothing)
    good = (down >= DOWN_NEEDED_DB) & (up.isna() | (up >= UP_NEEDED_DB))
    answer = good.astype("boolean").mask(down.isna())
    return answer.mask(found.get("locked", pd.Series(True, index=found.index)) == False, False)  # noqa: E712


def active(name: str) -> pd.DataFrame:
    """The tests that fill the link, with what the uplink carried beside the stream as `up`."""
    found = table(name, "throughput")
    if "method" not in found:
        return found
    tests = found[found["method"] != "passive"]
    return tests.assign(
        up=tests["up_mbps"] + tests.get("stream_mbps", pd.Series(0.0, tests.index)).fillna(0.0)
    )


def answer_of_tests(name: str, found: pd.DataFrame) -> "pd.Series[bool]":
    """Whether each test reached nine tenths of both booked rates."""
    if found.empty:
        return pd.Series(dtype="boolean")
    service = bundled_session(name).job.service
    good = (found["down_mbps"] >= 0.9 * service.down_mbps) & (found["up"] >= 0.9 * service.up_mbps)
    limit = found["flows"] * found["window_bytes"] * 8.0 / (found["rtt_ms"] * 1000.0)
    limited = found["down_mbps"] >= 0.8 * limit
    return good.astype("boolean").mask(~good & limited)


def value(name: str, key: str) -> float:
    """The report's figure of this key."""
    return next(figure.value for figure in figures(bundled_review(name)) if figure.key == key)


def same(found: float, expected: float, tolerance: float = 1e-9) -> None:
    """Both not known, or the same number."""
    assert (isnan(found) and isnan(expected)) or found == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("name", NAMES)
def test_availability(name: str) -> None:
    signals, tests = table(name, "signal"), active(name)
    by_signal = each_second(name, signals, signal_answer(signals))
    by_tests = each_second(name, tests, answer_of_tests(name, tests))
    # The logic of pandas' nullable truth values is Kleene's.
    answers = {"signal": by_signal, "tests": by_tests, "both": by_signal & by_tests}
    for key, answer in answers.items():
        known = answer.dropna()
        percent = 100.0 * float(known.astype(float).mean()) if len(known) else float("nan")
        same(value(name, f"{key}_percent"), percent, SECONDS_IN_PERCENT)
        same(value(name, f"{key}_known_percent"), 100.0 * len(known) / len(answer), SECONDS_IN_PERCENT)


@pytest.mark.parametrize("name", NAMES)
def test_percentiles_of_the_signal(name: str) -> None:
    found = within(name, table(name, "signal"))
    for way, column in (("down", "esno_db"), ("up", "uplink_esno_db")):
        values = found.get(column, pd.Series(dtype=float)).dropna()
        for share in (1, 5, 25, 75, 95, 99):
            same(value(name, f"{way}_p{share}_db"), float(values.quantile(share / 100.0)))
        same(value(name, f"{way}_median_db"), float(values.median()))
        same(value(name, f"{way}_lowest_db"), float(values.min()))


@pytest.mark.parametrize("name", NAMES)
def test_rates_headroom_and_data_used(name: str) -> None:
    everything, tests = within(name, table(name, "throughput")), within(name, active(name))
    assert value(name, "tests") == len(tests)
    if tests.empty:
        assert isnan(value(name, "headroom_mbps"))
        assert isnan(value(name, "bytes_used"))
        return
    streams = everything["stream_mbps"]
    stream = float(streams[streams > 0.0].median())
    same(value(name, "bytes_used"), float(tests["bytes_used"].sum()))
    same(value(name, "up_weak_mbps"), float(tests["up"].quantile(0.1)))
    same(value(name, "headroom_mbps"), float(tests["up"].quantile(0.1)) - 1.2 * stream)
    same(value(name, "down_mbps"), float(tests["down_mbps"].median()))
    same(value(name, "tests_short"), int((tests["up"] < 1.2 * stream).sum()))
    same(value(name, "rtt_ms"), float(everything["rtt_ms"].median()))


@pytest.mark.parametrize("name", NAMES)
def test_temperatures(name: str) -> None:
    found, job = table(name, "temperature"), bundled_session(name).job
    limits = {"transmitter": job.transmitter.limit_degc, "modem": job.modem.limit_degc}
    start, end = hours(name)
    for where, limit in limits.items():
        course = found[found["where"] == where] if len(found) else found
        inside = within(name, course)
        highest = float(inside["temperature_degc"].max()) if len(inside) else float("nan")
        same(value(name, f"{where}_peak_degc"), highest)
        if not len(inside):
            continue
        over = each_second(name, course, course["temperature_degc"] > limit)
        near = each_second(name, course, course["temperature_degc"] >= limit - 5.0)
        for key, answer in (("over", over), ("near", near)):
            seconds = float(answer.fillna(False).sum())
            same(value(name, f"{where}_{key}_s"), seconds, SECONDS_IN_PERCENT / 100.0 * (end - start))


@pytest.mark.parametrize("name", NAMES)
def test_sunshine_by_the_hour(name: str) -> None:
    """Minute by minute: the invented clear sky, the station's cloud or irradiance, the notes on the shade."""
    start, end = hours(name)
    grid = pd.DataFrame({"t": np.arange(start + 30.0, end, 60.0)})
    sun = invented_sunshine(bundled_session(name))
    times = sun.start_unix_s + sun.step_s * np.arange(len(sun.direct_normal_w_m2))
    grid["direct"] = np.interp(grid["t"], times, sun.direct_normal_w_m2)
    grid["clear"] = np.interp(grid["t"], times, sun.global_horizontal_w_m2)
    weather = table(name, "weather")
    for column in ("cloud_percent", "irradiance_w_m2"):
        weather[column] = weather.get(column, pd.Series(np.nan, weather.index))
    sky = weather.dropna(subset=["cloud_percent", "irradiance_w_m2"], how="all")
    grid = pd.merge_asof(grid, sky[["t", "cloud_percent", "irradiance_w_m2"]], on="t", tolerance=1800.0)
    by_cloud = grid["direct"] * (1.0 - grid["cloud_percent"].fillna(0.0) / 100.0)
    by_irradiance = grid["direct"].where(grid["irradiance_w_m2"] >= 0.75 * grid["clear"], 0.0)
    sunny = by_cloud.where(grid["irradiance_w_m2"].isna(), by_irradiance) > 120.0
    notes = table(name, "notes")
    notes["where"] = notes.get("where", pd.Series(np.nan, notes.index))
    shade = notes[
        notes["kind"].isin(["shade-on", "shade-off"]) & notes["where"].isin(["transmitter", np.nan])
    ]
    shaded = pd.merge_asof(grid[["t"]], shade[["t", "kind"]], on="t")["kind"] == "shade-on"
    zone = bundled_session(name).job.site.time_zone
    hour = pd.to_datetime(grid["t"], unit="s", utc=True).dt.tz_convert(zone).dt.strftime("%d %H")
    unshaded_min, shaded_min = (sunny & ~shaded).groupby(hour).sum(), (sunny & shaded).groupby(hour).sum()
    found = bundled_review(name).balance.hours
    assert [one.unshaded_min for one in found] == unshaded_min.tolist()
    assert [one.shaded_min for one in found] == shaded_min.tolist()
