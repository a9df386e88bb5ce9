"""The day's picture: what is drawn where, what is written, and what is left out because it is not known."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from agent.link_plan import SunPass
from agent.records import KINDS, AlertEvent
from agent.replay.labels import Label
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.figures.day import day_picture, label_track
from dashboard.figures.explore import lines_figure
from dashboard.figures.panels import panels_of, rain_spans, with_gaps
from dashboard.page_data.day import (
    AIR,
    BATTERY,
    CARRIER_TO_NOISE,
    CHANNELS,
    ESNO,
    POINTS,
    QUALITY,
    RAIN,
    DayData,
    banded,
    episodes,
)
from dashboard.pages.day_parts import lanes
from dashboard.pages.markup import to_html
from dashboard.queries import Channel, History, NoteRow, Series
from dashboard.site_time import clock_ticks
from dashboard.theme import DAY
from tests.dashboard.scenes import NOW_UNIX_S, REPEAK, SHADE, TERMINAL
from tests.plan.sample_job import job

SPAN = (NOW_UNIX_S - 7200.0, NOW_UNIX_S)
EMPTY = Series(unix_s=np.array([]), middle=np.array([]), low=np.array([]), high=np.array([]))


def series_of(*values: float, step_s: float = 60.0) -> Series:
    """Readings up to now."""
    unix_s = NOW_UNIX_S - step_s * np.arange(len(values))[::-1]
    level = np.array(values)
    return Series(unix_s=unix_s, middle=level, low=level, high=level)


def data_of(
    measured: dict[Channel, Series] | None = None,
    minutes: Mapping[str, Sequence[float]] | None = None,
    **more: object,
) -> DayData:
    """A window of two hours up to now with these readings and these figures of the last minutes."""
    figures = {key: np.array(values) for key, values in (minutes or {}).items()}
    count = len(next(iter(figures.values()), ()))
    parts = {
        "terminal": TERMINAL,
        "window": SPAN,
        "job": job(),
        "sun_passes": (),
        "series": {**dict.fromkeys(CHANNELS, EMPTY), **(measured or {})},
        "history": History(unix_s=NOW_UNIX_S - 60.0 * np.arange(count)[::-1], figures=figures),
        "notes": (),
        "events": (),
        "repeak_db": 0.7,
    }
    return DayData(**{**parts, **more})  # type: ignore[arg-type]


def panel(data: DayData, title: str, units: DisplayUnits = METRIC) -> str:
    """The HTML of the panel of this title."""
    found = re.findall(r"<figure.*?</figure>", day_picture(data, units))
    return next(one for one in found if f"<figcaption>{title}" in one)


def names(drawn: str) -> list[str]:
    """What is written on the lines, from the top."""
    return re.findall(r'class="named \w+"[^>]*>([^<]+)<', drawn)


def values(drawn: str) -> list[float]:
    """The numbers of the scale, from the foot."""
    return [float(text.replace("\u2212", "-")) for text in re.findall(r'class="value"[^>]*>([^<]+)<', drawn)]


def test_every_channel_of_the_day_is_a_field_of_a_reading() -> None:
    for channel in CHANNELS:
        assert channel.field in KINDS[channel.kind].__dataclass_fields__


def test_signal_shows_from_a_deep_fade_to_above_the_reference_unless_the_data_go_further() -> None:
    """Four decibels below the reference lie at the foot, one above it at the top."""
    steady = panel(data_of({ESNO: series_of(12.0, 12.1)}, {"reference_db": [12.0, 12.0]}), "Signal")
    assert values(steady) == [8.0, 10.0, 12.0]
    assert re.findall(r'class="line reference" d="M\d+ ([\d.]+)', steady) == ["20.0"]
    faded = panel(data_of({ESNO: series_of(12.0, 3.2)}, {"reference_db": [12.0, 12.0]}), "Signal")
    assert values(faded)[0] == 5.0
    assert re.findall(r'class="line measured" d="M\d+ [\d.]+L\d+ ([\d.]+)', faded) == ["100.0"]


def test_lines_carry_their_names_and_what_is_planned_lies_above_what_was_measured() -> None:
    minutes = {"reference_db": [12.0, 12.0], "plan_esno_db": [12.6, 12.6]}
    drawn = panel(data_of({ESNO: series_of(11.0, 10.5)}, minutes), "Signal")
    assert names(drawn) == ["planned 12.6", "reference 12.0", "re-peak from 11.3", "Es/N0 10.5"]
    order = re.findall(r'class="line (\w+)"', drawn)
    assert order == ["measured", "plan", "limit", "reference"]


def test_names_stand_apart_and_inside() -> None:
    """Four lines at one level: a name is thirteen hundredths of the panel high."""
    minutes = {"reference_db": [12.0, 12.0], "plan_esno_db": [12.0, 12.0]}
    drawn = panel(data_of({ESNO: series_of(12.0, 12.0)}, minutes, repeak_db=0.0), "Signal")
    tops = [float(top) for top in re.findall(r'class="named \w+" style="top:([\d.]+)%', drawn)]
    assert len(tops) == 4 and min(np.diff(tops)) >= 12.9 and 0.0 <= tops[0] and tops[-1] <= 87.0


def test_a_dip_between_two_points_stays_visible_as_a_band() -> None:
    dipped = replace(series_of(11.0, 10.8), low=np.array([10.9, 3.0]), high=np.array([11.1, 11.2]))
    drawn = panel(data_of({ESNO: dipped}), "Signal")
    assert re.findall(r'class="band measured" d="[^"]* ([\d.]+)L', drawn) == ["100.0"]
    assert 'class="band' not in panel(data_of({ESNO: series_of(11.0, 10.8)}), "Signal")


def test_a_gap_is_a_gap_in_line_and_band() -> None:
    unix_s = NOW_UNIX_S + np.array([-600.0, -590.0, -580.0, -20.0, -10.0, 0.0])
    level = np.full(6, 11.0)
    heard = Series(unix_s=unix_s, middle=level, low=level - 1.0, high=level + 1.0)
    assert np.isnan(with_gaps(heard).middle).tolist() == [False, False, False, True, False, False, False]
    drawn = panel(data_of({ESNO: heard}), "Signal")
    band, line = re.findall(r'class="(?:band|line) measured" d="([^"]+)"', drawn)
    assert (band.count("M"), band.count("Z"), line.count("M")) == (2, 2, 2)


def test_a_rate_ends_where_its_test_is_old() -> None:
    minutes = {"up_mbps": [3.0, 3.1, np.nan, np.nan], "stream_mbps": [1.5, 1.5, 1.5, 1.5]}
    rate = panels_of(data_of(minutes=minutes), METRIC)[1]
    assert [(one.name, one.last[0]) for one in rate.courses] == [
        ("up", NOW_UNIX_S - 120.0),
        ("stream needs", NOW_UNIX_S),
    ]


def test_what_says_one_number_or_nothing_is_a_sentence() -> None:
    data = data_of({BATTERY: series_of(100.0, 100.0, 100.0), ESNO: series_of(11.0, 12.0)})
    picture = day_picture(data, METRIC)
    assert "<li>Battery: 100 % throughout.</li>" in picture
    assert "<li>Sunshine: nothing is known of this span.</li>" in picture
    assert picture.count("<figure") == 1
    limit = day_picture(data_of(minutes={"transmitter_limit_degc": [55.0]}), METRIC)
    assert "<li>Temperature: nothing is known of this span.</li>" in limit
    falling = data_of({BATTERY: series_of(100.0, 60.0)})
    assert values(panel(falling, "Battery")) == [0.0, 50.0, 100.0]


def test_forecast_of_the_temperature_opens_from_now_to_the_limit() -> None:
    """The data end now; the limit comes in 10 min at the earliest, in 30 as planned for."""
    minutes = {
        "transmitter_degc": [50.0], "transmitter_limit_degc": [55.0],
        "transmitter_to_limit_early_s": [600.0], "transmitter_to_limit_s": [1800.0],
    }  # fmt: skip
    later = data_of({AIR: series_of(20.0, 30.0)}, minutes, window=(NOW_UNIX_S - 3600.0, NOW_UNIX_S + 3600.0))
    fan = panels_of(later, METRIC)[2].fan
    assert fan == ((NOW_UNIX_S, 50.0), (NOW_UNIX_S + 600.0, 55.0), (NOW_UNIX_S + 1800.0, 55.0))
    assert 'class="fan" points="500,' in panel(later, "Temperature")
    assert panels_of(later, DisplayUnits(imperial=True))[2].fan[0][1] == pytest.approx(122.0)
    hot = data_of(minutes={**minutes, "transmitter_degc": [56.0]})
    assert panels_of(hot, METRIC)[2].fan == ()


@pytest.mark.parametrize(("start_s", "shaded"), [(-600.0, 1), (-20_000.0, 0)])
def test_sun_passes_of_the_window_are_shaded_and_named(start_s: float, shaded: int) -> None:
    start_unix_s = NOW_UNIX_S + start_s
    sun_pass = SunPass(
        start_unix_s=start_unix_s, peak_unix_s=start_unix_s + 300, end_unix_s=start_unix_s + 600, depth_db=5.0
    )
    drawn = panel(data_of({ESNO: series_of(11.0, 12.0)}, sun_passes=(sun_pass,)), "Signal")
    assert (drawn.count('class="shade"'), drawn.count(">sun pass<")) == (shaded, shaded)


def test_rain_runs_from_the_first_to_the_last_wet_reading() -> None:
    unix_s = np.arange(8.0) * 60.0
    rain = np.array([0.0, 1.0, 2.0, 0.0, 0.05, 0.4, 0.0, 3.0])
    series = Series(unix_s=unix_s, middle=rain, low=rain, high=rain)
    assert rain_spans(series) == [(60.0, 120.0), (300.0, 300.0), (420.0, 420.0)]
    early = panel(data_of({ESNO: series_of(11.0, 12.0), RAIN: series}), "Signal")
    assert 'class="shade"' not in early


def over(event: AlertEvent, ago_s: float) -> AlertEvent:
    """The end of the alert."""
    return replace(event, unix_s=NOW_UNIX_S - ago_s, state="cleared")


def test_alerts_are_bars_from_raised_to_over_through_every_panel() -> None:
    """Re-peak from 12 to 6 min before the end of two hours: 900 to 950 thousandths of the width."""
    data = data_of(
        {ESNO: series_of(11.0, 12.0), AIR: series_of(20.0, 30.0)}, events=(SHADE, REPEAK, over(REPEAK, 360.0))
    )
    for title in ("Signal", "Temperature"):
        assert '<rect class="alert-act" x="900" width="50" height="100"/>' in panel(data, title)
    told = to_html(lanes(data))
    assert re.findall(r"<strong>([^<]+)</strong><span", told) == ["Shade the unit", "Re-peak the dish"]
    assert "Act · 13:24 to 13:30" in told and "Advice · since 12:52" in told
    assert 'class="level-act" style="left:90.0%;width:5.0%"' in told
    assert REPEAK.evidence[0] in told and "unexplained_db" in told


def test_episodes_end_where_they_are_over() -> None:
    again = replace(REPEAK, unix_s=NOW_UNIX_S - 100.0)
    found = episodes((REPEAK, over(REPEAK, 360.0), again))["repeak"]
    assert [(one.start_unix_s, one.end_unix_s) for one in found] == [
        (REPEAK.unix_s, NOW_UNIX_S - 360.0),
        (again.unix_s, None),
    ]


def test_notes_and_labels_stand_at_their_times() -> None:
    note = NoteRow(
        seq=1, unix_s=NOW_UNIX_S - 1800.0, told_unix_s=NOW_UNIX_S, kind="rain", where=None, text=None, by=None
    )
    assert '<i style="left:75.0%">' in day_picture(data_of(notes=(note,)), METRIC)
    label = Label(start_unix_s=NOW_UNIX_S - 3600.0, end_unix_s=NOW_UNIX_S - 1800.0, cause="rain")
    assert 'style="left:50.0%;width:25.0%"' in label_track((label,), SPAN)
    assert label_track((label,), (0.0, 60.0)) == ""


def test_readings_of_a_step_become_lowest_median_and_highest() -> None:
    rng = np.random.default_rng(3)
    middle = rng.normal(11.0, 0.2, 7200)
    middle[4321] = 2.0
    unix_s = NOW_UNIX_S + np.arange(7200.0)
    thin = banded(Series(unix_s=unix_s, middle=middle, low=middle, high=middle), 7200.0 / POINTS)
    assert len(thin.unix_s) <= POINTS + 1
    assert (thin.low.min(), thin.high.max()) == (2.0, middle.max())
    dip = int(thin.low.argmin())
    assert abs(thin.unix_s[dip] - unix_s[4321]) < 24.0 and thin.middle[dip] > 10.0
    assert (np.diff(thin.unix_s) > 0.0).all()
    assert not len(banded(EMPTY, 24.0).unix_s)


@pytest.mark.parametrize(
    ("channel", "title", "key"),
    [(CARRIER_TO_NOISE, "Signal (dB)", "reference_db"), (QUALITY, "Signal (%)", "reference_quality_percent")],
)
def test_the_signal_is_drawn_as_it_was_measured(channel: Channel, title: str, key: str) -> None:
    """The plan speaks of Es/N0 alone, and the threshold of decibels."""
    found = names(panel(data_of({channel: series_of(9.0, 9.5)}, {key: [9.0], "plan_esno_db": [12.0]}), title))
    assert "Es/N0" not in " ".join(found) and not any(name.startswith("planned") for name in found)
    assert any(name.startswith("re-peak") for name in found) == (channel == CARRIER_TO_NOISE)


@pytest.mark.parametrize(
    ("span_s", "first", "last"),
    [(60.0, "13:36:00", "13:37:00"), (7200.0, "14:00", "15:30"), (36_000.0, "14:00", "22:00")],
)
def test_the_clock_has_round_times_of_the_site(span_s: float, first: str, last: str) -> None:
    """Madrid is UTC+2 in July."""
    found = clock_ticks(NOW_UNIX_S, NOW_UNIX_S + span_s, ZoneInfo("Europe/Madrid"), 6)
    assert (found[0][1], found[-1][1]) == (first, last)
    assert len(found) <= 7


def test_days_have_dates_also_where_summer_time_ends() -> None:
    """In Madrid on 2026-10-25 at 01:00 UTC (Directive 2000/84/EC)."""
    start_unix_s = NOW_UNIX_S + 97 * 86_400.0
    found = clock_ticks(start_unix_s, start_unix_s + 4 * 86_400.0, ZoneInfo("Europe/Madrid"), 6)
    assert [text for _unix_s, text in found] == ["24 Oct", "25 Oct", "26 Oct", "27 Oct"]
    assert {round((unix_s % 86_400.0) / 3600.0) for unix_s, _text in found} == {22, 23}


def test_the_figure_to_explore_has_the_same_lines() -> None:
    minutes = {"reference_db": [12.0, 12.0]}
    figure = lines_figure(data_of({ESNO: series_of(11.0, 10.5)}, minutes), DAY, METRIC)
    assert [trace.name for trace in figure.data] == ["Es/N0", "re-peak from", "reference"]
    # Madrid is UTC+2 in July, so the axis reads two hours more than Unix time.
    assert figure.data[0].x[-1] / 1000.0 - 7200.0 == NOW_UNIX_S
    assert figure.layout.dragmode == "zoom"
