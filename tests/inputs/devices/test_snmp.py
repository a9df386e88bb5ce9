"""The SNMP input against Debian's snmpd, which the tests configure with objects of their own."""

import shutil
import signal
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from agent.config import LOOPBACK
from tests.inputs.collectors.inputs_at_work import at_work
from tests.processes import PATIENCE_S, wait_until

# The number is none of anybody's: 32473 is for examples in documents (RFC 5612).
ROOT_OID = "1.3.6.1.4.1.32473.1"
KEYS = {"SNMP_PASSWORD": "longer-than-eight", "SNMP_PRIVACY": "also-long-enough", "WRONG": "not-the-password"}
V2C = f"""
[[inputs.snmp]]
name = "modem"
host = "{LOOPBACK}"
port = PORT
every_s = 0.2
timeout_s = TIMEOUT
[inputs.snmp.readings.signal]
esno_db = {{ source = "{ROOT_OID}.1.0", scale = 0.1 }}
modcod = "{ROOT_OID}.2.0"
rx_level_dbm = "{ROOT_OID}.3.0"
locked = {{ source = "{ROOT_OID}.4.0", words = {{ "1" = true, "2" = false }} }}
"""
V3 = V2C.replace(
    "every_s",
    'username = "crew"\npassword_env = "SNMP_PASSWORD"\nprivacy_password_env = "SNMP_PRIVACY"\nevery_s',
)
# What the settings offer besides SHA with AES.
USERS = (("md5", "MD5", "DES"), ("sha256", "SHA-256", "AES"), ("sha512", "SHA-512", "DES"))
EXPECTED = {"esno_db": pytest.approx(14.2), "modcod": "QPSK 3/4", "rx_level_dbm": -41.5, "locked": True}


def asked(inputs: str, port: int, timeout_s: float = 30.0) -> str:
    """The table of the input, with a time limit that a busy computer keeps unless the test waits for it."""
    return inputs.replace("PORT", str(port)).replace("TIMEOUT", str(timeout_s))


class Snmpd:
    """Debian's agent on a free UDP port."""

    def __init__(self, folder: Path) -> None:
        executable = shutil.which("snmpd") or shutil.which("/usr/sbin/snmpd")
        if executable is None:
            pytest.skip("no snmpd binary on the path (Debian package: snmpd)")
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind((LOOPBACK, 0))
            self.port = int(probe.getsockname()[1])
        self._folder = folder
        self._executable = executable
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, esno: str = "integer 142") -> None:
        """With this value of the first object."""
        config = self._folder / "snmpd.conf"
        users = "".join(
            f"createUser {user} {kind} {KEYS['SNMP_PASSWORD']} {privacy} {KEYS['SNMP_PRIVACY']}\n"
            f"rouser {user} priv\n"
            for user, kind, privacy in (("crew", "SHA", "AES"), *USERS)
        )
        config.write_text(
            f"agentaddress udp:{LOOPBACK}:{self.port}\nrocommunity public {LOOPBACK}\n"
            f"{users}"
            f'override {ROOT_OID}.1.0 {esno}\noverride {ROOT_OID}.2.0 octet_str "QPSK 3/4"\n'
            f'override {ROOT_OID}.3.0 octet_str "-41.5"\noverride {ROOT_OID}.4.0 integer 1\n'
        )
        log = self._folder / "snmpd.log"
        log.write_text("")
        self._process = subprocess.Popen(
            [self._executable, "-f", "-Lf", log, "-C", "-c", config],
            env={"SNMP_PERSISTENT_DIR": str(self._folder / "persistent"), "MIBS": ""},
        )
        wait_until(lambda: "NET-SNMP version" in log.read_text(), PATIENCE_S, "snmpd is up")

    def freeze(self, frozen: bool) -> None:
        """It takes requests and answers none, or goes on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP if frozen else signal.SIGCONT)

    def stop(self) -> None:
        """End it."""
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
            self._process.terminate()
            self._process.wait(PATIENCE_S)
            self._process = None


@pytest.fixture
def snmpd(tmp_path: Path) -> Iterator[Snmpd]:
    """Not started yet."""
    agent = Snmpd(tmp_path)
    yield agent
    agent.stop()


V3_KINDS = [
    V3.replace(
        '"SNMP_PASSWORD"', f'"SNMP_PASSWORD"\nauthentication = "{kind}"\nprivacy = "{privacy}"'
    ).replace('"crew"', f'"{user}"')
    for user, kind, privacy in USERS
]


@pytest.mark.parametrize("inputs", [V2C, V3, *V3_KINDS], ids=["2c", "3", *(user for user, _, _ in USERS)])
def test_numbers_and_texts_become_fields(snmpd: Snmpd, tmp_path: Path, inputs: str) -> None:
    snmpd.start()
    with at_work(tmp_path, asked(inputs, snmpd.port), KEYS) as work:
        assert work.wait_for(2)[-1] == EXPECTED


def test_absent_slow_and_started_again(snmpd: Snmpd, tmp_path: Path) -> None:
    with at_work(tmp_path, asked(V3, snmpd.port, 1.0), KEYS) as work:
        assert "host and keys" in work.wait_error(f"{LOOPBACK}:{snmpd.port}")
        snmpd.start()
        work.wait_for(1)
        snmpd.freeze(True)
        work.wait_error("response")
        snmpd.freeze(False)
        work.wait_for(1)
        # A restarted engine counts its boots anew and refuses the old time window (RFC 3414, section 3.2).
        snmpd.stop()
        work.wait_error("response")
        snmpd.start()
        assert work.wait_for(1) == [EXPECTED]


def test_a_wrong_key_is_named(snmpd: Snmpd, tmp_path: Path) -> None:
    snmpd.start()
    wrong = KEYS | {"SNMP_PASSWORD": KEYS["WRONG"]}
    with at_work(tmp_path, asked(V3, snmpd.port), wrong) as work:
        work.wait_error("refuses user, password")
        assert not work.published
        assert KEYS["WRONG"] not in str(work.states)


@pytest.mark.parametrize("lie", ["integer 4000", 'octet_str "n/a"'])
def test_what_cannot_be_a_reading_is_not_published(snmpd: Snmpd, tmp_path: Path, lie: str) -> None:
    snmpd.start(lie)
    with at_work(tmp_path, asked(V2C, snmpd.port)) as work:
        error = work.wait_error("")
        assert "esno_db" in error or ROOT_OID in error
        assert not work.published


def test_an_object_without_a_value_leaves_its_field_out_and_is_named(snmpd: Snmpd, tmp_path: Path) -> None:
    snmpd.start("null")
    with at_work(tmp_path, asked(V2C, snmpd.port)) as work:
        assert "esno_db" not in work.wait_for(1)[0]
        assert f"{ROOT_OID}.1.0 never came" in work.wait_finding()


def test_objects_that_the_device_does_not_have_are_listed(snmpd: Snmpd, tmp_path: Path) -> None:
    snmpd.start()
    inputs = asked(V2C, snmpd.port).replace(f"{ROOT_OID}.1.0", f"{ROOT_OID}.9.0")
    with at_work(tmp_path, inputs) as work:
        finding = work.wait_finding()
        assert f"{ROOT_OID}.9.0 never came" in finding
        assert f"{ROOT_OID}.2.0" in finding.partition("there is")[2]


@pytest.mark.parametrize(
    "rubbish", [b"", b"\x30", b"\x30\x84\xff\xff\xff\xff", b"\0" * 1400, b"HTTP/1.1 400 Bad\r\n"]
)
@pytest.mark.parametrize("inputs", [V2C, V3], ids=["2c", "3"])
def test_rubbish_is_an_error(tmp_path: Path, inputs: str, rubbish: bytes) -> None:
    """Something else listens on the port, and is then replaced by the device."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind((LOOPBACK, 0))
        other.settimeout(PATIENCE_S)
        with at_work(tmp_path, asked(inputs, other.getsockname()[1], 1.0), KEYS) as work:
            _, sender = other.recvfrom(2000)
            other.sendto(rubbish, sender)
            work.wait_error("")
            assert not work.published
