"""A real PostgreSQL for the tests of the desk."""

from collections.abc import Iterator

import pytest

from agent.config_desk import DeskDatabase
from agent.store.desk.opening import pool_of
from tests.desk.postgres import Postgres


@pytest.fixture(scope="package")
def postgres() -> Iterator[Postgres]:
    """One cluster for all of them."""
    cluster = Postgres()
    try:
        cluster.start()
        yield cluster
    finally:
        cluster.close()


@pytest.fixture
def database(postgres: Postgres) -> Iterator[DeskDatabase]:
    """An empty database for one test."""
    made = postgres.database()
    yield made
    pool_of(made).close()
