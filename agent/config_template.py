"""The settings of a new config file: what is asked, what is assumed, and the comments that go beside them."""

import json
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One key of the file; `assumed` is written where nothing else is said, and None has to be asked."""

    section: str
    key: str
    comment: str
    assumed: str | float | None = None

    @property
    def name(self) -> str:
        """`section.key`, or the key alone before the first section."""
        return f"{self.section}.{self.key}" if self.section else self.key

    @property
    def flag(self) -> str:
        """The option that sets it."""
        return "--" + self.name.replace(".", "-").replace("_", "-")


SECTION_COMMENTS: Mapping[str, str] = {
    "site": "where the dish stands",
    "satellite": "which satellite it looks at",
    "downlink": "satellite to terminal, from the operator's link sheet",
    "uplink": "terminal to satellite, from the operator's link sheet",
    "antenna": "the dish",
    "receiver": "the low-noise block",
    "transmitter": "the outdoor transmitter",
    "modem": "the indoor modem",
    "service": "what was booked, and the live stream",
    "day": "the job, RFC 3339 with its offset from UTC",
}
SETTINGS = (
    Setting(section="", key="terminal", comment="1 to 32 of a-z, 0-9 and -; part of every topic"),
    Setting(section="site", key="name", comment="in words"),
    Setting(section="site", key="latitude_deg", comment="north positive"),
    Setting(section="site", key="longitude_deg", comment="east positive"),
    Setting(section="site", key="height_m", comment="above sea level"),
    Setting(section="site", key="time_zone", comment="IANA name, like Europe/Madrid"),
    Setting(section="satellite", key="name", comment="in words"),
    Setting(section="satellite", key="longitude_deg", comment="east positive"),
    Setting(section="downlink", key="frequency_ghz", comment="carrier"),
    Setting(section="downlink", key="polarisation", comment="vertical, horizontal or circular"),
    Setting(section="downlink", key="eirp_dbw", comment="toward the site, for this carrier"),
    Setting(section="downlink", key="symbol_rate_msps", comment="million symbols a second"),
    Setting(section="downlink", key="roll_off", comment="0.05 to 0.35", assumed=0.20),
    Setting(section="uplink", key="frequency_ghz", comment="carrier"),
    Setting(section="uplink", key="polarisation", comment="vertical, horizontal or circular"),
    Setting(section="uplink", key="satellite_gt_dbk", comment="the satellite's G/T toward the site"),
    Setting(section="uplink", key="symbol_rate_msps", comment="million symbols a second"),
    Setting(section="uplink", key="roll_off", comment="0.05 to 0.35", assumed=0.20),
    Setting(section="antenna", key="diameter_m", comment="of the reflector"),
    Setting(
        section="antenna",
        key="efficiency",
        comment="or instead receive_gain_dbi and transmit_gain_dbi from its data sheet",
        assumed=0.62,
    ),
    Setting(section="antenna", key="pointing_loss_db", comment="left after careful peaking", assumed=0.3),
    Setting(section="receiver", key="noise_temperature_k", comment="from its data sheet", assumed=75.0),
    Setting(section="receiver", key="feed_loss_db", comment="between dish and receiver", assumed=0.2),
    Setting(section="transmitter", key="power_w", comment="saturated; watts, not dBm"),
    Setting(section="transmitter", key="output_back_off_db", comment="as lined up", assumed=1.0),
    Setting(section="transmitter", key="feed_loss_db", comment="between transmitter and dish", assumed=0.3),
    Setting(section="transmitter", key="limit_degc", comment="highest case temperature of its data sheet"),
    Setting(section="modem", key="limit_degc", comment="highest temperature of its data sheet", assumed=50.0),
    Setting(
        section="modem",
        key="implementation_margin_db",
        comment="what it needs above the standard",
        assumed=1.0,
    ),
    Setting(section="modem", key="standard", comment="DVB-S2 or DVB-S2X", assumed="DVB-S2"),
    Setting(section="service", key="down_mbps", comment="booked"),
    Setting(section="service", key="up_mbps", comment="booked"),
    Setting(section="service", key="stream_mbps", comment="rate of the live stream, with its overhead"),
    Setting(section="service", key="availability_percent", comment="of an average year", assumed=99.5),
    Setting(section="day", key="start", comment="when the set-up starts"),
    Setting(section="day", key="end", comment="when the dish is stowed"),
)
OPTIONAL = """
# Optional:
# downlink.interference_cn_db, uplink.interference_cn_db: carrier to all interference together
# service.allowance_gb: data of the booking, which the report compares with what was used
# day.air_degc, day.humidity_percent: the weather expected, for heat of crew and transmitter
# [broker] host, port, tls, ca_file, username, password_file: an external MQTT broker, else one is embedded
# [store] path, keep_raw_days   [clock] tolerance_s   rules (first lines): a rules file
# [dashboard] host, port, passcode_file, public_host: for phones on the crew's network a passcode is needed
"""


def config_text(values: Mapping[str, str | float]) -> str:
    """The file with these values by `section.key`; assumed ones stand where none is given."""
    lines: list[str] = []
    section = ""
    for setting in SETTINGS:
        if setting.section != section:
            section = setting.section
            lines.extend(["", f"[{section}]  # {SECTION_COMMENTS[section]}"])
        given = values.get(setting.name, setting.assumed)
        if given is None:
            raise ValueError(f"{setting.name} has no value")
        note = "" if setting.name in values or setting.assumed is None else " (assumed: check it)"
        written = json.dumps(given, ensure_ascii=False)
        lines.append(f"{setting.key} = {written}  # {setting.comment}{note}")
    return "\n".join(lines) + "\n" + OPTIONAL
