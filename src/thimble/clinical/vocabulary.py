"""The facts of an exposure, its source patient and its worker, read from `vocabulary.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from thimble.protocol.vocabulary import Fact, Vocabulary

FILE = "vocabulary.toml"
KINDS = ("code", "number", "set")
ABOUT = ("exposure", "source", "worker")
ANSWERED_BY = ("worker", "clinician", "laboratory")
SENSITIVITY = ("identifying", "clinical", "plain")

_NEEDED = ("kind", "question", "about", "answered_by", "sensitivity")
_NUMBER = ("unit", "low", "high")


@cache
def vocabulary() -> Vocabulary:
    """The vocabulary that Thimble ships, read once.

    Raises:
        ValueError: the shipped file has faults; each is listed.
    """
    text = (files("thimble.clinical") / FILE).read_text(encoding="utf-8")
    return parse_vocabulary(text, FILE)


def parse_vocabulary(text: str, where: str) -> Vocabulary:
    """The facts of a TOML text, in its order.

    Args:
        text: a table for each fact; the header of `vocabulary.toml` describes its keys.
        where: the file's name, for messages.

    Raises:
        ValueError: one sentence for each fault: file, fact, key, what was found, what is allowed.
    """
    try:
        read = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{where} is not TOML: {error}") from error
    faults: list[str] = []
    facts: dict[str, Fact] = {}
    for id_, spec in read.items():
        if not isinstance(spec, dict):
            faults.append(f"{where}: {id_} is a table [{id_}]; found {spec!r}")
            continue
        found = _faults(spec)
        faults += [f"{where}: [{id_}] {fault}" for fault in found]
        if not found:
            facts[id_] = _fact(id_, spec)
    if faults:
        raise ValueError("\n".join(faults))
    return Vocabulary(facts)


def _faults(spec: Mapping[str, Any]) -> list[str]:
    kind = spec.get("kind")
    if kind not in KINDS:
        return [f"kind is one of {', '.join(KINDS)}; found {kind!r}"]
    own = _NUMBER if kind == "number" else ("values",)
    allowed = (*_NEEDED, "help", *own)
    faults = [
        f"{key} is not a key of a {kind} fact; allowed: {', '.join(allowed)}"
        for key in spec
        if key not in allowed
    ]
    faults += [f"{key} is missing" for key in (*_NEEDED, *own) if key not in spec]
    if faults:
        return faults
    for key in ("question", "help", "unit"):
        if key in spec and not _is_text(spec[key]):
            faults.append(f"{key} is a text that is not empty; found {spec[key]!r}")
    for key, words in (("about", ABOUT), ("sensitivity", SENSITIVITY)):
        if spec[key] not in words:
            faults.append(f"{key} is one of {', '.join(words)}; found {spec[key]!r}")
    who = spec["answered_by"]
    if not isinstance(who, list) or not who or any(w not in ANSWERED_BY for w in who):
        faults.append(f"answered_by is a list of any of {', '.join(ANSWERED_BY)}; found {who!r}")
    return faults + (_number_faults(spec) if kind == "number" else _value_faults(spec["values"]))


def _number_faults(spec: Mapping[str, Any]) -> list[str]:
    faults = [
        f"{key} is a number; found {spec[key]!r}"
        for key in ("low", "high")
        if isinstance(spec[key], bool) or not isinstance(spec[key], int | float)
    ]
    if not faults and not spec["low"] < spec["high"]:
        faults.append(f"low lies below high; found {spec['low']!r} and {spec['high']!r}")
    return faults


def _value_faults(values: object) -> list[str]:
    if not isinstance(values, dict) or len(values) < 2:
        return [f"values maps two codes or more to their labels; found {values!r}"]
    return [
        f"values.{code} is a label that is not empty; found {label!r}"
        for code, label in values.items()
        if not _is_text(label)
    ]


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _fact(id_: str, spec: Mapping[str, Any]) -> Fact:
    values: dict[str, str] = spec.get("values", {})
    return Fact(
        id=id_,
        kind=spec["kind"],
        question=spec["question"],
        values=tuple(values),
        labels=values,
        unit=spec.get("unit", ""),
        low=float(spec.get("low", 0)),
        high=float(spec.get("high", "inf")),
        help=spec.get("help", ""),
        about=spec["about"],
        answered_by=tuple(spec["answered_by"]),
        sensitivity=spec["sensitivity"],
    )


VOCABULARY: Vocabulary = vocabulary()
