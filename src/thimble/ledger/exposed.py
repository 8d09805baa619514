"""Who is exposed: the words of a case follow the person, a worker or, where blood came back, a patient.

Every sentence is written for the usual case, in which a worker is exposed and a patient is the source. In
a patient's own case the same sentences are said of the patient, and the source is the injured worker. The
phrases are data (`protocols/exposed_patient/words.toml`); facts and ids never change.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any, TypeVar

from thimble.clinical.saying import opening
from thimble.ledger.linking import is_patient_case
from thimble.ledger.plan import TO_DO, Plan
from thimble.ledger.situation import Situation
from thimble.protocol.protocol import Protocol

T = TypeVar("T")

VERBATIM = frozenset({"source", "sources", "by", "reason", "calls", "again"})
"""Fields of a value that are cited, not said: where a rule stands in its document, and what was typed."""


APOSTROPHE = "['\u2019]"
"""Both ways of writing it."""


@cache
def _read() -> Mapping[str, Any]:
    file = files("thimble.protocols") / "exposed_patient" / "words.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


@cache
def phrases() -> Mapping[str, str]:
    """Each phrase as it is written for a worker, in small letters, with how it is said for a patient."""
    return dict(_read()["words"])


@cache
def _pattern() -> re.Pattern[str]:
    # What is said already is found too, and left as it is: a sentence may be said twice.
    found = sorted((*phrases(), *phrases().values()), key=len, reverse=True)
    any_of = "|".join(re.escape(phrase).replace("'", APOSTROPHE) for phrase in found)
    return re.compile(rf"(?<![\w-])(?:{any_of})(?![\w-])", re.IGNORECASE)


@lru_cache(maxsize=4096)
def of_a_patient(sentence: str) -> str:
    """A sentence written for an exposed worker, said of an exposed patient. Said twice, it is the same.

    >>> of_a_patient("Draw the worker's anti-HCV. Ask the source patient.")
    "Draw the patient's anti-HCV. Ask the source (the injured worker)."
    """

    def said(match: re.Match[str]) -> str:
        found = match[0]
        words = phrases().get(found.replace("\u2019", "'").lower())
        if words is None:
            return found
        if "\u2019" in found:
            words = words.replace("'", "\u2019")
        return opening(words) if found[0].isupper() else words

    return _pattern().sub(said, sentence)


def say(sentence: str, situation: Situation) -> str:
    """A sentence with the words for who is exposed in this case."""
    return saying(situation)(sentence)


def saying(situation: Situation) -> Callable[[str], str]:
    """What says a sentence with the words for who is exposed in this case."""
    return of_a_patient if is_patient_case(situation) else as_written


def as_written(sentence: str) -> str:
    """A sentence as it is, for the usual case: a worker is exposed."""
    return sentence


def told(value: T, situation: Situation) -> T:
    """A value with every sentence in it said for who is exposed in this case.

    Texts, tuples, lists, mappings (their values) and dataclasses are gone through; a single word in small
    letters is an id and stays, and so do fields that are cited (`VERBATIM`). Give it nothing that people
    typed.
    """
    return _told(value) if is_patient_case(situation) else value


def _told(value: Any) -> Any:
    if isinstance(value, Enum):
        return value
    if isinstance(value, str):
        return of_a_patient(value) if " " in value or value[:1].isupper() else value
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return type(value)(*map(_told, value))
    if isinstance(value, tuple | list):
        return type(value)(map(_told, value))
    if isinstance(value, Mapping):
        return {key: _told(one) for key, one in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        changed = {
            field.name: said
            for field in fields(value)
            if field.init and field.name not in VERBATIM
            and (said := _told(old := getattr(value, field.name))) != old
        }  # fmt: skip
        return replace(value, **changed) if changed else value
    return value


def protocol_for(protocol: Protocol, situation: Situation) -> Protocol:
    """The protocol with its questions and decisions said for who is exposed; its rules are the same."""
    return _protocol_of_a_patient(protocol) if is_patient_case(situation) else protocol


@lru_cache(maxsize=8)
def _protocol_of_a_patient(protocol: Protocol) -> Protocol:
    return protocol.said(of_a_patient)


def plan_for(plan: Plan, situation: Situation) -> Plan:
    """The plan as it is for who is exposed: said of a patient, without what is for workers alone.

    What was done already stays: it happened.
    """
    if not is_patient_case(situation):
        return plan
    out = left_out(plan.protocol_id)
    return _told(  # type: ignore[no-any-return]
        replace(
            plan,
            actions=tuple(
                a for a in plan.actions if a.state not in TO_DO or a.id not in out["actions"]
            ),
            cautions=tuple(
                c for c in plan.cautions if not {r.rule for r in c.because} & out["cautions"]
            ),
        )
    )


@cache
def left_out(protocol_id: str) -> Mapping[str, frozenset[str]]:
    """Ids of actions, and rules of cautions, that are for workers alone."""
    listed = _read()["left_out"].get(protocol_id, {})
    return {what: frozenset(listed.get(what, ())) for what in ("actions", "cautions")}
