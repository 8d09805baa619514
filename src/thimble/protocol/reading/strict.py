"""The strict half of reading: every key, type and text of a TOML file is accounted for."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ..faults import Fault
from ..vocabulary import Vocabulary

MANIFEST = "protocol.toml"
CASES = "cases.toml"


@dataclass
class Strict:
    """Reads one folder and gathers the faults found on the way."""

    folder: Path
    vocabulary: Vocabulary
    faults: list[Fault] = field(default_factory=list)

    def fault(self, file: str, message: str, row: int = 0, column: str = "") -> None:
        """Note one fault, once."""
        found = Fault(file, row, column, message)
        if found not in self.faults:
            self.faults.append(found)

    def toml(self, name: str) -> dict[str, Any] | None:
        path = self.folder / name
        try:
            return tomllib.loads(path.read_text(encoding="utf-8"))
        except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
            self.fault(name, f"the file is missing from {self.folder.name}; add it")
        except UnicodeDecodeError as error:
            self.fault(name, f"is not UTF-8 at byte {error.start}; save it as UTF-8")
        except tomllib.TOMLDecodeError as error:
            self.fault(name, f"is not TOML: {error}")
        return None

    def keys(
        self,
        file: str,
        raw: Any,
        where: str,
        required: Sequence[str],
        optional: Sequence[str] = (),
    ) -> bool:
        """Fault every key that is missing or not known; True if `raw` is a table at all."""
        if not isinstance(raw, dict):
            self.fault(file, f"{where or 'the file'} must be a table of keys and values")
            return False
        prefix = f"{where}." if where else ""
        allowed = (*required, *optional)
        for key in raw:
            if key not in allowed:
                self.fault(
                    file, f"unknown key; allowed are {', '.join(allowed)}", column=f"{prefix}{key}"
                )
        for key in required:
            if key not in raw:
                self.fault(file, "this key is missing; add it", column=f"{prefix}{key}")
            elif raw[key] in ("", [], {}):
                self.fault(file, "is empty; fill it in", column=f"{prefix}{key}")
        return True

    def texts(self, file: str, raw: Any, where: str) -> dict[str, str]:
        if not isinstance(raw, dict):
            self.fault(file, "must be a table of texts", column=where)
            return {}
        for key, value in raw.items():
            if not isinstance(value, str) or not value.strip():
                self.fault(file, "must be a text that is not empty", column=f"{where}.{key}")
        return {key: str(value) for key, value in raw.items()}

    def list_of_texts(self, file: str, raw: Any, where: str) -> tuple[str, ...]:
        if not isinstance(raw, list) or not all(isinstance(item, str) and item for item in raw):
            self.fault(file, "must be a list of texts", column=where)
            return ()
        if len(set(raw)) != len(raw):
            self.fault(file, "lists a value twice; list it once", column=where)
        return tuple(raw)

    def tables(self, file: str, raw: Any, where: str) -> list[tuple[str, Any]]:
        """The entries of an array of tables, each with its place; a fault if it is none."""
        if not isinstance(raw, list):
            self.fault(file, f"write one [[{where}]] entry each", column=where)
            return []
        return [(f"{where}[{number}]", body) for number, body in enumerate(raw, start=1)]

    def table(self, file: str, raw: Any, where: str) -> Mapping[str, Any]:
        """A table of keys and values, {} and a fault if it is none."""
        if not isinstance(raw, dict):
            self.fault(file, "must be a table of keys and values", column=where)
            return {}
        return raw

    def text(self, file: str, raw: Mapping[str, Any], key: str, where: str = "") -> str:
        """The text under a key, "" where it is left out; a fault if it is no text."""
        value = raw.get(key, "")
        if not isinstance(value, str):
            column = f"{where}.{key}" if where else key
            self.fault(file, f"must be a text in quotes; found {value!r}", column=column)
            return ""
        return value

    def check_column(
        self, file: str, row: int, column: str, where: str, earlier: Sequence[str] = ()
    ) -> bool:
        """Whether `column` is a fact, a member of a set fact, or one of the earlier decisions."""
        fact_id, dot, member = column.partition(".")
        fact = self.vocabulary.get(fact_id)
        if fact is None:
            if column in earlier:
                return True
            known = (*self.vocabulary, *earlier)
            what = "is neither a fact nor an earlier decision" if earlier else "is not a fact"
            self.fault(file, f"{what}{nearest(column, known)}", row=row, column=where)
        elif fact.kind == "set" and (not dot or member not in fact.values):
            self.fault(
                file,
                f"is a set; name one member, as in {fact_id}.{fact.values[0]}; "
                f"members are {', '.join(fact.values)}",
                row=row,
                column=where,
            )
        elif fact.kind != "set" and dot:
            self.fault(file, f"{fact_id} has no members", row=row, column=where)
        else:
            return True
        return False


def nearest(word: str, words: Sequence[str]) -> str:
    """A word of advice for one that is not known."""
    near = get_close_matches(word, words, n=1)
    return f"; did you mean {near[0]!r}?" if near else "; add it to the vocabulary first"
