"""A table of settings read strictly: every key is taken or refused, every fault is a sentence."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

_NUMBER = re.compile(r"[0-9+*#(). /\-]*[0-9][0-9+*#(). /\-]*(?: ext\.? [0-9]+)?", re.A)


class Settings:
    """Takes keys from a table, notes faults, and goes on with a stand-in so that all are found.

    Stand-ins never leave `clinical.site.reading`: a table with a fault raises there.
    """

    def __init__(
        self,
        table: Mapping[str, Any],
        where: str,
        prefix: str = "",
        faults: list[str] | None = None,
    ) -> None:
        self._table = table
        self._where = where
        self._prefix = prefix
        self._taken: dict[str, None] = {}  # in the order to name them
        self.faults: list[str] = [] if faults is None else faults

    def fault(self, key: str, sentence: str) -> None:
        """Note what is wrong with a key; `sentence` goes on from its name."""
        self.faults.append(f"{self._where}: {self._prefix}{key} {sentence}")

    def allow(self, *keys: str) -> None:
        """Keys that may be there or not."""
        self._taken |= dict.fromkeys(keys)

    def take(self, key: str) -> Any:
        """The value of `key`, or None with a fault if it is missing."""
        self._taken[key] = None
        if key not in self._table:
            self.fault(key, "is missing")
            return None
        return self._table[key]

    def refuse_the_rest(self) -> None:
        """Note every key that was not taken."""
        for key in self._table:
            if key not in self._taken:
                self.fault(str(key), f"is not a key here; allowed: {', '.join(self._taken)}")

    def text(self, key: str, *, may_be_empty: bool = False) -> str:
        """A text; one that may be empty may be left out too."""
        if may_be_empty and key not in self._table:
            self.allow(key)
            return ""
        found = self.take(key)
        if isinstance(found, str) and (found.strip() or may_be_empty):
            return found.strip()
        if found is not None:
            allowed = "a text" if may_be_empty else "a text that is not empty"
            self.fault(key, f"is {allowed}; found {found!r}")
        return ""

    def texts(self, key: str, *, may_be_empty: bool = False) -> tuple[str, ...]:
        """A list of texts, none of them empty."""
        if may_be_empty and key not in self._table:
            self.allow(key)
            return ()
        found = self.take(key)
        if found is None:
            return ()
        if (
            not isinstance(found, list)
            or not (found or may_be_empty)
            or any(not isinstance(line, str) or not line.strip() for line in found)
        ):
            self.fault(key, f"is a list of texts, none of them empty; found {found!r}")
            return ()
        return tuple(line.strip() for line in found)

    def one_of(self, key: str, allowed: Sequence[str]) -> str:
        """One of the values allowed."""
        found = self.take(key)
        if found in allowed:
            return str(found)
        if found is not None:
            self.fault(key, f"is one of {', '.join(allowed)}; found {found!r}")
        return ""

    def flag(self, key: str) -> bool:
        """True or false."""
        found = self.take(key)
        if isinstance(found, bool):
            return found
        if found is not None:
            self.fault(key, f"is true or false; found {found!r}")
        return False

    def phone(self, key: str) -> str:
        """A telephone number."""
        found = self.take(key)
        if isinstance(found, str) and len(found) <= 40 and _NUMBER.fullmatch(found.strip()):
            return found.strip()
        if found is not None:
            self.fault(key, f"is a telephone number, such as +41 00 000 00 00; found {found!r}")
        return ""

    def table(self, key: str) -> Settings | None:
        """A table of its own; its faults are noted here."""
        found = self.take(key)
        if isinstance(found, Mapping):
            return Settings(found, self._where, f"{self._prefix}{key}.", self.faults)
        if found is not None:
            self.fault(key, f"is a table; found {found!r}")
        return None

    def tables(self, key: str) -> list[Settings]:
        """The tables of a list that may be left out."""
        self.allow(key)
        found = self._table.get(key, [])
        if not isinstance(found, list) or any(not isinstance(item, Mapping) for item in found):
            self.fault(key, f"is a list of tables; found {found!r}")
            return []
        return [
            Settings(item, self._where, f"{self._prefix}{key}[{number}].", self.faults)
            for number, item in enumerate(found, start=1)
        ]

    def has(self, key: str) -> bool:
        """Whether a key is there."""
        return key in self._table
