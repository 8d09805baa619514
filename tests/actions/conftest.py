"""A ledger in memory."""

import pytest

from thimble.ledger.store import MemoryStore


@pytest.fixture
def store() -> MemoryStore:
    return MemoryStore()
