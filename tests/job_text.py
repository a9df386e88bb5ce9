"""A config file with every job setting, invented; tests replace single lines of it."""

JOB_TOML = """\
terminal = "van-1"

[site]
name = "Salt pan, north gate"
latitude_deg = 37.25
longitude_deg = -6.95
height_m = 12.0
time_zone = "Europe/Madrid"

[satellite]
name = "GEO-A"
longitude_deg = 8.0

[downlink]
frequency_ghz = 11.45
polarisation = "vertical"
eirp_dbw = 50.0
symbol_rate_msps = 5.0
roll_off = 0.20
interference_cn_db = 20.0

[uplink]
frequency_ghz = 14.05
polarisation = "horizontal"
satellite_gt_dbk = 4.0
symbol_rate_msps = 1.5
roll_off = 0.20
interference_cn_db = 22.0

[antenna]
diameter_m = 0.98
efficiency = 0.62
pointing_loss_db = 0.3

[receiver]
noise_temperature_k = 75.0
feed_loss_db = 0.2

[transmitter]
power_w = 8.0
output_back_off_db = 1.0
feed_loss_db = 0.3
limit_degc = 55.0

[modem]
limit_degc = 50.0
implementation_margin_db = 1.0
standard = "DVB-S2"

[service]
down_mbps = 4.0
up_mbps = 4.0
stream_mbps = 2.5
availability_percent = 99.5

[day]
start = "2026-07-18T09:00:00+02:00"
end = "2026-07-18T19:00:00+02:00"
"""


def with_line(old: str, new: str) -> str:
    """JOB_TOML with its first `old` replaced by `new`."""
    if old not in JOB_TOML:
        raise ValueError(f"{old!r} does not stand in JOB_TOML")
    return JOB_TOML.replace(old, new, 1)
