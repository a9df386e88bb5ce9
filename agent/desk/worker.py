"""One worker of the desk: takes batches from the broker's shared subscription into the store, and answers.

What it has not committed it has not acknowledged, and the terminal sends again what nobody has answered. So a
worker may end at any moment, and any number of them may share the work.
"""

import asyncio
import logging
import secrets
import time
from collections.abc import Sequence

import aiomqtt
import psycopg

from agent.config_desk import DeskConfig
from agent.forward.batch import Batch, BatchError, receipt, unpacked
from agent.inputs.messages import HAVE, REFUSED, batch_topic, desk_topic
from agent.inputs.mqtt import Delivery, Link, Outbox, retry_delay_s, stay_connected
from agent.store.desk.opening import open_for_ingest
from agent.store.desk.writer import DeskWriter, FarTimeError, Plain
from agent.store.writer import Refusal

LOG = logging.getLogger(__name__)

# MQTT 5, section 4.8.2: of all subscribers of one group one gets each message.
SHARED = f"$share/peakshade-desk/{batch_topic('+')}"
LONGEST_DELAY_S = 5.0
# What is wrong with the batch and not with the database.
UNFIT = (FarTimeError, psycopg.DataError, psycopg.IntegrityError)

IMPOSTOR = (
    "the account of {account} publishes as {terminal}; expected its own name; mend its config or end it"
)


class Worker:
    """Takes turns of as many batches as have come meanwhile, each turn one transaction."""

    def __init__(self, config: DeskConfig) -> None:
        self._config = config
        self._outbox = Outbox()
        self._connection: Plain | None = None
        self._writer: DeskWriter | None = None
        self._known: list[str] = []

    async def run(self) -> None:
        """Until cancelled."""
        try:
            await self._serve()
        finally:
            if self._connection is not None:
                self._connection.close()

    async def _serve(self) -> None:
        await self._until_stored([], [])
        link = Link(
            broker=self._config.broker,
            client_id=f"peakshade-desk-{secrets.token_hex(4)}",
            topic=SHARED,
            kept=False,
            retain=False,
            publish_qos=0,
            protocol=aiomqtt.ProtocolVersion.V5,
        )
        await stay_connected(link, self._take, self._outbox, self._on_link)

    def _on_link(self, stands: bool) -> None:
        """Those that wait for an answer need not wait for their time to be over."""
        if stands:
            for terminal in self._known:
                self._outbox.put(desk_topic(terminal, HAVE), b"")

    async def _take(self, deliveries: Sequence[Delivery]) -> None:
        good: list[tuple[Batch, Delivery]] = []
        refusals: list[Refusal] = []
        for one in deliveries:
            try:
                good.append((_checked(one), one))
            except BatchError as error:
                refusals.append(self._refusal(one, str(error)))
        try:
            await self._until_stored([batch for batch, _ in good], refusals)
        except UNFIT:
            good, more = await self._one_by_one(good)
            refusals += more
        for _, one in good:
            self._outbox.put(desk_topic(_account(one), HAVE), receipt(one.payload))
        for one in deliveries:
            one.acknowledge()

    async def _one_by_one(
        self, good: Sequence[tuple[Batch, Delivery]]
    ) -> tuple[list[tuple[Batch, Delivery]], list[Refusal]]:
        """Those that fit are stored, those that do not are refused."""
        fit: list[tuple[Batch, Delivery]] = []
        refusals: list[Refusal] = []
        for batch, one in good:
            try:
                await self._until_stored([batch], [])
                fit.append((batch, one))
            except UNFIT as error:
                refusals.append(self._refusal(one, str(error).partition("\n")[0]))
        await self._until_stored([], refusals)
        return fit, refusals

    def _refusal(self, one: Delivery, reason: str) -> Refusal:
        LOG.warning("refused: %s: %s", one.topic, reason)
        self._outbox.put(desk_topic(_account(one), REFUSED), reason.encode())
        return Refusal(one.topic, one.payload, reason, time.time())

    async def _until_stored(self, batches: Sequence[Batch], refusals: Sequence[Refusal]) -> None:
        failures = 0
        while True:
            try:
                await asyncio.to_thread(self._store, batches, refusals)
            except UNFIT:
                raise
            except psycopg.Error as error:
                delay_s = retry_delay_s(failures, LONGEST_DELAY_S)
                failures += 1
                LOG.warning("database: %s; trying again in %.1f s", str(error).strip(), delay_s)
                await asyncio.sleep(delay_s)
            else:
                return

    def _store(self, batches: Sequence[Batch], refusals: Sequence[Refusal]) -> None:
        if self._writer is None or self._connection is None or self._connection.closed:
            self._writer = None
            self._connection = open_for_ingest(self._config.database)
            self._writer = DeskWriter(self._connection)
            self._known = self._writer.terminals()
        if batches:
            self._writer.ingest(batches)
        if refusals:
            self._writer.reject(refusals)


def _account(delivery: Delivery) -> str:
    """Whose topic it is; the broker lets each account publish on its own alone."""
    return delivery.topic.split("/")[1]


def _checked(delivery: Delivery) -> Batch:
    batch, account = unpacked(delivery.payload), _account(delivery)
    if batch.terminal != account:
        raise BatchError(IMPOSTOR.format(account=account, terminal=batch.terminal))
    return batch
