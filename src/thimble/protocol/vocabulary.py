"""Facts: what can be asked, and what an answer looks like. The one definition that everything reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

Value = str | float | frozenset[str]
"""One answer: a code, a number in the fact's unit, or a set of codes."""

Facts = Mapping[str, Value]
"""A situation. A fact that is absent has not been asked yet; `unknown`, where a fact has that
value, is an answer."""

MEMBER_CELLS = ("no", "yes")
"""What a column of one member of a set fact holds."""

Kind = Literal["code", "number", "set"]


@dataclass(frozen=True, slots=True)
class Fact:
    """One question with everything that forms, tables, exports and letters need to ask and show it.

    `values` lists the codes of a `code` or `set` fact, in the order to show them. A `number` lies in
    [`low`, `high`] and is counted in `unit`.
    """

    id: str
    kind: Kind
    question: str
    values: tuple[str, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    unit: str = ""
    low: float = 0.0
    high: float = float("inf")
    help: str = ""
    about: Literal["exposure", "source", "worker"] = "exposure"
    answered_by: tuple[str, ...] = ("clinician",)
    sensitivity: Literal["identifying", "clinical", "plain"] = "clinical"

    def label(self, value: Value) -> str:
        """The words for a value, as shown to people."""
        if isinstance(value, frozenset):
            return ", ".join(self.labels.get(v, v) for v in sorted(value)) or "none"
        if isinstance(value, str):
            return self.labels.get(value, value.replace("_", " "))
        return f"{value:g} {self.unit}".strip()

    def check(self, value: object) -> Value:
        """`value` as this fact's own type.

        Raises:
            ValueError: a sentence with the value found and the values allowed.
        """
        if self.kind == "number":
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise ValueError(f"{self.id} is a number{self._in_unit()}; found {value!r}")
            number = float(value)
            if not self.low <= number <= self.high or number in (float("inf"), float("-inf")):
                raise ValueError(
                    f"{self.id} lies between {self.low:g} and {self.high:g}"
                    f"{self._in_unit()}; found {value!r}"
                )
            return number
        if self.kind == "code":
            if not isinstance(value, str) or value not in self.values:
                raise ValueError(f"{self.id} is one of {', '.join(self.values)}; found {value!r}")
            return value
        if isinstance(value, str) or not isinstance(value, list | tuple | set | frozenset):
            raise ValueError(
                f"{self.id} is a list of any of {', '.join(self.values)}; found {value!r}"
            )
        for member in value:
            if member not in self.values:
                raise ValueError(
                    f"{self.id} is a list of any of {', '.join(self.values)}; found {member!r}"
                )
        return frozenset(value)

    def _in_unit(self) -> str:
        return f" in {self.unit}" if self.unit else ""


class Vocabulary(Mapping[str, Fact]):
    """Facts by id, in the order they are shown."""

    def __init__(self, facts: Mapping[str, Fact]) -> None:
        self._facts = dict(facts)

    def __getitem__(self, key: str) -> Fact:
        return self._facts[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._facts)

    def __len__(self) -> int:
        return len(self._facts)
