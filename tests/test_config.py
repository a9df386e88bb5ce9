"""The config file: what is read, and that each wrong setting is named with its likely slip."""

import stat
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.config import OTHER_SECTIONS, PASSCODE_VARIABLE, Config, load_config
from agent.config_job import OTHER_SECTIONS as OTHER_NAMES
from agent.config_job import job_from_mapping, unix_s_from_rfc3339
from agent.errors import UsageError
from tests.job_text import JOB_TOML, with_line
from tests.reference import cases


def load(folder: Path, text: str, environ: dict[str, str] | None = None) -> Config:
    path = folder / "van-1.toml"
    path.write_text(text, encoding="utf-8")
    return load_config(path, environ or {})


def complaints(folder: Path, text: str, environ: dict[str, str] | None = None) -> list[str]:
    with pytest.raises(UsageError) as raised:
        load(folder, text, environ)
    return str(raised.value).splitlines()


def test_whole_file(tmp_path: Path) -> None:
    config = load(tmp_path, JOB_TOML)
    assert config.job.site.longitude_deg == -6.95
    assert config.job.downlink.interference_cn_db == 20.0
    # 2026-07-18T07:00:00Z by date(1): date -u -d 2026-07-18T07:00:00Z +%s
    assert config.job.day.start_unix_s == 1784358000.0
    assert config.job.day.end_unix_s - config.job.day.start_unix_s == 10 * 3600
    assert config.broker.embedded and config.broker.host == "127.0.0.1" and config.broker.port == 1883
    assert config.dashboard.host == "127.0.0.1"
    assert config.store.path == tmp_path / "peakshade.sqlite3"
    assert config.rules is None


def test_optional_settings_may_be_absent(tmp_path: Path) -> None:
    text = JOB_TOML.replace("interference_cn_db = 20.0\n", "").replace("interference_cn_db = 22.0\n", "")
    text = text.replace("efficiency = 0.62", "receive_gain_dbi = 39.4\ntransmit_gain_dbi = 41.2")
    job = load(tmp_path, text).job
    assert job.uplink.interference_cn_db is None
    assert (job.antenna.efficiency, job.antenna.transmit_gain_dbi) == (None, 41.2)


def test_native_toml_time_and_byte_order_mark(tmp_path: Path) -> None:
    text = "\ufeff" + with_line('"2026-07-18T09:00:00+02:00"', "2026-07-18T09:00:00+02:00")
    assert load(tmp_path, text).job.day.start_unix_s == 1784358000.0


def test_a_day_in_utc_is_taken_at_any_site(tmp_path: Path) -> None:
    text = with_line("2026-07-18T09:00:00+02:00", "2026-07-18T07:00:00Z")
    assert load(tmp_path, text).job.day.start_unix_s == 1784358000.0


SLIPS = [
    ("longitude_deg = -6.95", "longitude_deg = 190", "site.longitude_deg = 190", "write -170"),
    ("latitude_deg = 37.25", "latitude_deg = 101.7", "site.latitude_deg", "swapped"),
    ("latitude_deg = 37.25", "latitude_deg = true", "site.latitude_deg", "a number from -90 to 90"),
    ("latitude_deg = 37.25", "latitude_deg = nan", "site.latitude_deg", "a number from -90 to 90"),
    ("latitude_deg = 37.25", 'latitude_deg = "37.25"', "site.latitude_deg", "without quotes"),
    ("frequency_ghz = 11.45", "frequency_ghz = 11450", "downlink.frequency_ghz", "MHz: write 11.45"),
    ("frequency_ghz = 14.05", "frequency_ghz = 14.05e9", "uplink.frequency_ghz", "Hz: write 14.05"),
    ("frequency_ghz = 11.45", "frequency_mhz = 11450", "downlink.frequency_mhz", "frequency_ghz = 11.45"),
    ("efficiency = 0.62", "efficiency = 62", "antenna.efficiency", "percent: write 0.62"),
    ("roll_off = 0.20", "roll_off = 20", "downlink.roll_off", "percent: write 0.2"),
    ("power_w = 8.0", "power_dbm = 39", "transmitter.power_dbm", "power_w = 7.943"),
    ("power_w = 8.0", "power_w = -3", "transmitter.power_w", "dBW"),
    ("power_w = 8.0", "power_w = 8000", "transmitter.power_w", "milliwatts: write 8"),
    ("diameter_m = 0.98", "diameter_m = 98", "antenna.diameter_m", "centimetres: write 0.98"),
    ("noise_temperature_k = 75.0", "noise_temperature_k = 0.8", "receiver.noise_temperature_k", "59 K"),
    ("symbol_rate_msps = 5.0", "symbol_rate_msps = 5000", "downlink.symbol_rate_msps", "ksps: write 5"),
    ("feed_loss_db = 0.2", "feed_loss_db = -0.2", "receiver.feed_loss_db", "positive number: write 0.2"),
    ("limit_degc = 55.0", "limit_degc = 131", "transmitter.limit_degc", "Fahrenheit: write 55"),
    ("limit_degc = 55.0", "limit_degc = 328.15", "transmitter.limit_degc", "kelvin: write 55"),
    ("availability_percent = 99.5", "availability_percent = 0.995", "service.availability", "write 99.5"),
    ('"vertical"', '"V"', "downlink.polarisation", '"vertical" or "horizontal" or "circular"'),
    ('"DVB-S2"', '"S2"', "modem.standard", '"DVB-S2" or "DVB-S2X"'),
    ("Europe/Madrid", "Europe/Madrit", "site.time_zone", "Europe/Madrid"),
    ("Europe/Madrid", "../../etc/passwd", "site.time_zone", "IANA"),
    ("2026-07-18T09:00:00+02:00", "2026-07-18T09:00:00", "day.start", "offset from UTC is missing"),
    ('"2026-07-18T09:00:00+02:00"', "2026-07-18T09:00:00", "day.start", "offset from UTC is missing"),
    ('"2026-07-18T09:00:00+02:00"', "1784358000", "day.start", "RFC 3339"),
    ("2026-07-18T09:00:00+02:00", "2026-07-18T20:00:00+02:00", "day.end", "after day.start"),
    ("2026-07-18T09:00:00+02:00", "2025-07-18T09:00:00+02:00", "day.end", "wrong month or year"),
    ("2026-07-18T09:00:00+02:00", "2026-02-30T09:00:00+02:00", "day.start", "RFC 3339"),
    (
        "2026-07-18T09:00:00+02:00",
        "2026-07-18T09:00:00+01:00",
        "day.start",
        "wrong offset or wrong time",
    ),
    (
        "2026-07-18T19:00:00+02:00",
        "2026-07-18T19:00:00+05:30",
        "day.end",
        "+02:00, as Europe/Madrid has",
    ),
    ('"2026-07-18T09:00:00+02:00"', "2026-07-18T09:00:00-05:00", "day.start", "or Z for UTC"),
    (
        'standard = "DVB-S2"',
        'standard = "DVB-S2"\n[hub]\ngt_dbk = 30.0',
        "hub.satellite_eirp_dbw is missing",
        "none",
    ),
    ("height_m = 12.0", "height_m = 12.0\nobstructions = [[12, 165]]", "site.obstructions", "swapped?"),
    (
        "[antenna]",
        'highest_modcod = "8PSK 7/8"\n[antenna]',
        "uplink.highest_modcod",
        "did you mean 8PSK 8/9?",
    ),
    ("efficiency = 0.62\n", "", "antenna.efficiency is missing", "both receive_gain_dbi"),
    ("efficiency = 0.62", "efficiency = 0.62\nreceive_gain_dbi = 40.0", "antenna.efficiency", "leave out"),
    ("eirp_dbw = 50.0\n", "", "downlink.eirp_dbw is missing", "-10 to 90"),
    ("eirp_dbw = 50.0", "eirp_dbm = 80", "downlink.eirp_dbm", "did you mean eirp_dbw?"),
    ("pointing_loss_db", "pointing_los_db", "antenna.pointing_los_db", "did you mean pointing_loss_db?"),
    ("[antenna]", "[antena]", "antena", "did you mean antenna?"),
    ('terminal = "van-1"', 'terminal = "Van 1"', "terminal", "a-z"),
    ('terminal = "van-1"', "", "terminal is missing", "a-z"),
]


@pytest.mark.parametrize(("old", "new", "key", "hint"), SLIPS, ids=[new or old for old, new, *_ in SLIPS])
def test_slip_is_named(tmp_path: Path, old: str, new: str, key: str, hint: str) -> None:
    lines = complaints(tmp_path, with_line(old, new))
    assert all(line.startswith(str(tmp_path / "van-1.toml")) for line in lines)
    assert any(key in line and hint in line for line in lines), lines


def test_reference_noise_figure_slip_names_the_temperature(tmp_path: Path) -> None:
    # Noise temperatures of noise figures by the definition, 290 K (10^(NF/10) - 1).
    case = next(one for one in cases("antenna_link_budget") if "NF_dB" in one["inputs"])
    # The fields of this one case are lists.
    pairs = list(zip(*(*case["inputs"].values(), *case["expected"].values()), strict=True))  # type: ignore[call-overload]
    assert len(pairs) == 5
    for figure_db, temperature_k in pairs:
        lines = complaints(
            tmp_path, with_line("noise_temperature_k = 75.0", f"noise_temperature_k = {figure_db}")
        )
        assert f"is {temperature_k:.0f} K" in lines[0]


def test_everything_wrong_is_reported_at_once(tmp_path: Path) -> None:
    text = with_line("latitude_deg = 37.25", "latitude_deg = 99").replace("0.62", "62")
    text = text.replace("Europe/Madrid", "Mars/Crater").replace("stream_mbps = 2.5", "")
    assert len(complaints(tmp_path, text)) == 4


def test_section_missing_or_not_a_section(tmp_path: Path) -> None:
    assert any("[day]" in line for line in complaints(tmp_path, JOB_TOML.split("[day]")[0]))
    assert any(
        "satellite" in line for line in complaints(tmp_path, "satellite = 8.0\n" + JOB_TOML.split("[sat")[0])
    )


def test_file_that_cannot_be_read(tmp_path: Path) -> None:
    missing = tmp_path / "no.toml"
    with pytest.raises(UsageError, match="peakshade init"):
        load_config(missing, {})
    with pytest.raises(UsageError, match="folder"):
        load_config(tmp_path, {})
    assert "not TOML" in complaints(tmp_path, "latitude_deg = 37,25")[0]
    (tmp_path / "latin.toml").write_bytes("name = 'Ria\xf3'".encode("latin-1"))
    with pytest.raises(UsageError, match="UTF-8"):
        load_config(tmp_path / "latin.toml", {})


def test_environment_replaces_one_key(tmp_path: Path) -> None:
    environ = {"PEAKSHADE__SERVICE__UP_MBPS": "3", "PEAKSHADE__TERMINAL": "van-2", "HOME": "/nowhere"}
    environ |= {"PEAKSHADE__BROKER__TLS": "true", "PEAKSHADE__BROKER__HOST": "mq"}
    config = load(tmp_path, JOB_TOML, environ)
    assert config.job.service.up_mbps == 3.0
    assert config.job.terminal == "van-2"
    assert config.broker.tls and config.broker.port == 8883


def test_environment_slips_name_the_variable(tmp_path: Path) -> None:
    environ = {"PEAKSHADE__SERVICE__UP_MBPS": "many", "PEAKSHADE__SITE__LATITUDE": "37"}
    lines = complaints(tmp_path, JOB_TOML, environ)
    assert any("PEAKSHADE__SERVICE__UP_MBPS" in line and '"many"' in line for line in lines)
    assert any("PEAKSHADE__SITE__LATITUDE" in line and "latitude_deg" in line for line in lines)


def test_secrets_are_never_shown(tmp_path: Path) -> None:
    secret = "correct horse"
    config = load(tmp_path, JOB_TOML, {"PEAKSHADE__BROKER__PASSWORD": secret})
    assert config.broker.password is not None and config.broker.password.get_secret_value() == secret
    assert secret not in repr(config)
    for text, environ in (
        (JOB_TOML + f'\n[broker]\npassword = "{secret}"\n', {}),
        (JOB_TOML + f'\n[broker]\npasword = "{secret}"\n', {}),
        (JOB_TOML, {"PEAKSHADE__BROKER__PASSWRD": secret}),
    ):
        lines = complaints(tmp_path, text, environ)
        assert lines and secret not in "\n".join(lines)


def test_external_broker_with_password_file(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("correct horse\n", encoding="utf-8")
    (tmp_path / "secret").chmod(stat.S_IRUSR | stat.S_IWUSR)
    broker = '\n[broker]\nhost = "192.0.2.7"\nusername = "van"\npassword_file = "secret"\n'
    config = load(tmp_path, JOB_TOML + broker)
    assert not config.broker.embedded and config.broker.host == "192.0.2.7"
    assert config.broker.password is not None
    assert config.broker.password.get_secret_value() == "correct horse"
    assert "password_file" in complaints(tmp_path, JOB_TOML + broker.replace('"secret"', '"other"'))[0]
    assert "broker.host is missing" in complaints(tmp_path, JOB_TOML + "\n[broker]\nembedded = false\n")[0]


def test_relative_paths_start_at_the_config(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("", encoding="utf-8")
    config = load(tmp_path, 'rules = "mine.toml"\n' + JOB_TOML + '\n[store]\npath = "data/day.sqlite3"\n')
    assert config.rules == tmp_path / "mine.toml"
    assert config.store.path == tmp_path / "data" / "day.sqlite3"
    assert "rules" in complaints(tmp_path, 'rules = "other.toml"\n' + JOB_TOML)[0]


def test_job_of_a_session_is_read_by_the_same_rules() -> None:
    assert job_from_mapping(tomllib.loads(JOB_TOML), "config.toml").terminal == "van-1"
    with pytest.raises(UsageError, match="MHz"):
        job_from_mapping(tomllib.loads(with_line("11.45", "11450")), "config.toml")


def test_section_names_stand_once() -> None:
    assert (*OTHER_SECTIONS, "inputs") == OTHER_NAMES


@pytest.mark.parametrize(
    ("text", "unix_s"),
    [
        # RFC 3339 section 5.8, examples; Unix seconds by date(1) with -u -d and +%s.
        ("1985-04-12T23:20:50.52Z", 482196050.52),
        ("1996-12-19T16:39:57-08:00", 851042397.0),
        ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
    ],
)
def test_rfc_3339_examples(text: str, unix_s: float) -> None:
    assert unix_s_from_rfc3339(text) == pytest.approx(unix_s, abs=1e-6)


@given(st.text(max_size=30))
def test_text_that_is_no_time_is_no_time(text: str) -> None:
    found = unix_s_from_rfc3339(text)
    assert found is None or text[:4].isdigit()


def test_dashboard_beyond_this_computer_needs_a_passcode(tmp_path: Path) -> None:
    open_door = JOB_TOML + '\n[dashboard]\nhost = "0.0.0.0"\n'
    assert "dashboard.passcode_file is missing" in complaints(tmp_path, open_door)[0]
    named = open_door + 'passcode_file = "passcode.txt"\n'
    assert "dashboard.passcode_file" in complaints(tmp_path, named)[0]
    (tmp_path / "passcode.txt").write_text("salt-pan-2026\n")
    config = load(tmp_path, named)
    assert config.dashboard.passcode_file == str(tmp_path / "passcode.txt")
    assert "salt-pan-2026" not in repr(config)
    assert load(tmp_path, open_door, {PASSCODE_VARIABLE: "salt-pan-2026"}).dashboard.host == "0.0.0.0"


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost"])
def test_dashboard_on_this_computer_needs_none(tmp_path: Path, host: str) -> None:
    assert load(tmp_path, JOB_TOML + f'\n[dashboard]\nhost = "{host}"\n').dashboard.host == host


@pytest.mark.parametrize(
    ("section", "key", "hint"),
    [
        (
            'host = "0.0.0.0"\nembedded = true',
            "broker.username is missing",
            "own broker is reached from afar",
        ),
        ("tls = true", "broker.tls", "peakshade init --mosquitto"),
        ('host = "mq"\ntls = true\nca_file = "no.pem"', "broker.ca_file", "PEM"),
        ('host = "mq"\nca_file = "van-1.toml"', "broker.ca_file", "tls = true"),
    ],
)
def test_a_broker_is_not_open_by_oversight(tmp_path: Path, section: str, key: str, hint: str) -> None:
    lines = complaints(tmp_path, f"{JOB_TOML}[broker]\n{section}\n")
    assert len(lines) == 1 and key in lines[0] and hint in lines[0], lines


def test_the_own_broker_may_be_reached_with_an_account(tmp_path: Path) -> None:
    (tmp_path / "password.txt").write_text("salt pan\n")
    account = 'username = "crew"\npassword_file = "password.txt"\n'
    config = load(tmp_path, f'{JOB_TOML}[broker]\nembedded = true\nhost = "0.0.0.0"\n{account}')
    assert config.broker.username == "crew"
    assert load(tmp_path, f'{JOB_TOML}[broker]\nembedded = true\nhost = "::1"\n').broker.password is None
