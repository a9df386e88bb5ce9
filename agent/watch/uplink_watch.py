"""Decides what the uplink has lost: as the modem tells it, and as at a constant transmit power."""

from copy import deepcopy
from dataclasses import dataclass, field
from math import nan
from typing import NamedTuple

from agent.records import Note, Signal
from agent.watch.followed import Followed


class UplinkView(NamedTuple):
    """The uplink at one decision (dB); NaN where not known."""

    level_db: float
    loss_db: float  # as the modem tells it
    transmit_loss_db: float
    path_loss_db: float  # at a constant transmit power


@dataclass(slots=True)
class UplinkWatch:
    """Uplink quality and transmit power; `of_path`, at constant power, once the modem has told its power."""

    reported: Followed = field(default_factory=Followed)
    of_path: Followed | None = None
    transmit: Followed = field(default_factory=Followed)
    first_sent_dbm: float = nan
    sent_more_db: float = 0.0

    @property
    def path(self) -> Followed:
        """The uplink without what the terminal sends more or less: what is lost on the path."""
        return self.reported if self.of_path is None else self.of_path

    def add(self, signal: Signal) -> None:
        """One signal reading."""
        if signal.tx_power_dbm is not None:
            self.transmit.carrier.add(signal.unix_s, signal.tx_power_dbm, "power")
            if self.of_path is None:
                self.of_path = deepcopy(self.reported)
                self.first_sent_dbm = signal.tx_power_dbm
            self.sent_more_db = signal.tx_power_dbm - self.first_sent_dbm
        if signal.uplink_esno_db is not None:
            self.reported.carrier.add(signal.unix_s, signal.uplink_esno_db, "Es/N0")
            if self.of_path is not None:
                level_db = signal.uplink_esno_db - self.sent_more_db
                self.of_path.carrier.add(signal.unix_s, level_db, "Es/N0")

    def note(self, note: Note) -> None:
        """Peaking notes."""
        self.reported.note(note)
        self.transmit.note(note)
        if self.of_path is not None:
            self.of_path.note(note)

    def close(self, unix_s: float, sky_clear: bool) -> UplinkView:
        """Close the grid cell that ends at `unix_s`."""
        self.reported.close(unix_s, sky_clear)
        self.transmit.close(unix_s, True)
        level_db = self.reported.carrier.level_db(unix_s)
        loss_db = path_loss_db = self.reported.reference.level_db - level_db
        if self.of_path is not None:
            self.of_path.close(unix_s, sky_clear)
            path_loss_db = self.of_path.loss_db(unix_s)
        return UplinkView(level_db, loss_db, self.transmit.loss_db(unix_s), path_loss_db)
