"""The store in memory keeps the contract of every store."""

import pytest

from ledger.store_contract import StoreContract
from thimble.ledger.store import MemoryStore


class TestMemoryStore(StoreContract):
    @pytest.fixture
    def store(self) -> MemoryStore:
        return MemoryStore()
