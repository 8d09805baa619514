"""What a site's law lets be done next about a source patient: the tables of `protocols/source_law`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from thimble.clinical.durations import Duration, parse
from thimble.clinical.library import SHIPPED
from thimble.clinical.vocabulary import parse_vocabulary
from thimble.protocol import Protocol, Value, Vocabulary, load_protocol
from thimble.protocol.finding import Evaluation, Reason

FOLDER = "source_law"
NOT_LISTED = "not_listed"
"""The jurisdiction of a site that has entered none: the tables then send to the physician."""


@cache
def vocabulary() -> Vocabulary:
    """The facts that the tables ask for, read once.

    Raises:
        ValueError: the shipped file has faults; each is listed.
    """
    text = (files("thimble.clinical") / "source_law.toml").read_text(encoding="utf-8")
    return parse_vocabulary(text, "source_law.toml")


@cache
def tables() -> Protocol:
    """The shipped tables, read and compiled once.

    Raises:
        ProtocolFaults: the folder is refused, with every fault.
    """
    return load_protocol(SHIPPED / FOLDER, vocabulary())


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes next: codes of the tables' outputs, how long it may take, and the rows behind it.

    `target` counts from the step before; `again` from one call of the registrar to the next.
    """

    testing: str
    next: str
    waits_for: str
    target: Duration
    again: Duration
    because: tuple[Reason, ...]

    def words(self, output: str) -> str:
        """A code in words, such as `words("next")`."""
        value: str = getattr(self, output)
        return tables().outputs[f"source_{output}"].words(value)

    @property
    def confirmed(self) -> bool:
        """Whether every row behind it was read in its own document."""
        return all(reason.confirmed for reason in self.because)


@lru_cache(maxsize=1024)
def next_step(jurisdiction: str, state: str, held: str, awaits: str) -> NextStep:
    """The next step in a state under a law.

    Args:
        jurisdiction, state, held, awaits: values of the facts `source_jurisdiction`, `source_state`,
            `source_blood_held` and `source_awaits`.

    Raises:
        ValueError: a value that the vocabulary does not hold.
    """
    said = _put(
        source_jurisdiction=jurisdiction,
        source_state=state,
        source_blood_held=held,
        source_awaits=awaits,
    )
    names = ("source_testing", "source_next", "source_waits_for")
    testing, following, waits_for = (_settled(said, name) for name in names)
    because = said.findings["source_next"].because + said.findings["turnaround_target"].because
    return NextStep(
        testing,
        following,
        waits_for,
        parse(_settled(said, "turnaround_target")),
        parse(_settled(said, "escalate_again")),
        because,
    )


def kept_by_default(jurisdiction: str) -> tuple[Duration, tuple[Reason, ...]]:
    """How long it is kept who a source was after closing, where a site says nothing; and the rows."""
    said = _put(source_jurisdiction=jurisdiction)
    return parse(_settled(said, "source_identity_kept")), said.findings[
        "source_identity_kept"
    ].because


def _put(**facts: str) -> Evaluation:
    checked: dict[str, Value] = {id_: vocabulary()[id_].check(v) for id_, v in facts.items()}
    return tables().evaluate(checked)


def _settled(said: Evaluation, decision: str) -> str:
    value = said.findings[decision].value
    if value is None:  # the tables are proved complete over these facts
        raise ValueError(f"{decision} is open")
    return value


def jurisdictions() -> Sequence[str]:
    """What a site can choose."""
    return tuple(vocabulary()["source_jurisdiction"].values)
