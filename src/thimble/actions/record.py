"""What happened and what was learned, one entry each. `happened_at` is when it was so, if not now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Literal

from thimble.actions._append import Refused, append
from thimble.ledger.bodies import facts_to_json
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.store import LedgerStore
from thimble.protocol.vocabulary import Fact, Value

FIRST_AID = "first_aid"
ASSESS = "assess"
ASK_SOURCE = "ask_source"
"""Actions by the ids that every protocol gives them; the entries that do them name them by default."""

SaidBy = Literal["worker", "clinician", "laboratory", "record"]


def learn_facts(
    store: LedgerStore,
    case: str,
    facts: Mapping[str, Value],
    *,
    said_by: SaidBy,
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str,
    role: str,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """Answers to questions. A later answer stands over an earlier one; both stay in the history.

    Raises:
        Refused: no facts, a fact that the vocabulary does not hold, or a value it does not allow.
        NoSuchCase, Overtaken: as `append`; so for every action of this module.
    """
    body = {"facts": facts_to_json(facts), "said_by": said_by}
    return append(
        store,
        case,
        [(Kind.FACT_LEARNED, body)],
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
        vocabulary=vocabulary,
    )


def cannot_be_known(
    store: LedgerStore,
    case: str,
    fact: str,
    *,
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str,
    role: str,
    reason: str = "",
    expected_position: int | None = None,
) -> list[Entry]:
    """A fact was asked and nobody can answer it.

    Where the fact has a value `unknown`, that is the answer and is recorded as such; otherwise the
    fact stays open and is not asked again. Either way it is never read as "no".
    """
    if fact not in vocabulary:
        raise Refused(f"{fact} is not a fact of the vocabulary")
    drafts: list[tuple[Kind, Mapping[str, Any]]]
    if "unknown" in vocabulary[fact].values:
        value: Value = "unknown"
        if vocabulary[fact].kind == "set":
            value = frozenset({"unknown"})
        learned = {"facts": facts_to_json({fact: value}), "said_by": "clinician"}
        drafts = [(Kind.FACT_LEARNED, learned)]
        if reason.strip():
            drafts.append((Kind.NOTED, {"text": f"{vocabulary[fact].question} {reason.strip()}"}))
    else:
        drafts = [(Kind.CANNOT_BE_KNOWN, {"fact": fact, "reason": reason})]
    return append(
        store,
        case,
        drafts,
        now=now,
        by=by,
        role=role,
        expected_position=expected_position,
        vocabulary=vocabulary,
    )


def give_first_aid(
    store: LedgerStore,
    case: str,
    *,
    steps: Sequence[str],
    now: datetime,
    by: str,
    role: str,
    minutes: float | None = None,
    action: str | None = FIRST_AID,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """First aid was given: what was done, and for how long if known (minutes)."""
    body = _with({"steps": list(steps), "minutes": minutes}, action=action)
    return append(
        store,
        case,
        [(Kind.FIRST_AID_GIVEN, body)],
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
    )


def assessed(
    store: LedgerStore,
    case: str,
    *,
    now: datetime,
    by: str,
    role: str,
    action: str | None = ASSESS,
    expected_position: int | None = None,
) -> list[Entry]:
    """A clinician has seen the case."""
    return append(
        store,
        case,
        [(Kind.ASSESSED, _with({}, action=action))],
        now=now,
        by=by,
        role=role,
        expected_position=expected_position,
    )


def take_sample(
    store: LedgerStore,
    case: str,
    actions: str | Sequence[str],
    *,
    now: datetime,
    by: str,
    role: str,
    request: str = "",
    specimen: str = "",
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """Blood was taken: for one action of the plan, or for several in one draw.

    `request` and `specimen` are the numbers under which its results will come back.
    """
    numbers = _numbers(request, specimen)
    return append(
        store,
        case,
        [(Kind.SAMPLE_TAKEN, {"action": action, **numbers}) for action in _each(actions)],
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
    )


def receive_result(
    store: LedgerStore,
    case: str,
    *,
    facts: Mapping[str, Value],
    vocabulary: Mapping[str, Fact],
    now: datetime,
    by: str,
    role: str,
    text: str = "",
    action: str | None = None,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """A laboratory result came. Its facts stand from now on, in the laboratory's name."""
    if not facts and not text.strip():
        raise Refused("a result needs facts or a text: what did the laboratory say?")
    body = _with({"facts": facts_to_json(facts), "text": text}, action=action)
    return append(
        store,
        case,
        [(Kind.RESULT_RECEIVED, body)],
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
        vocabulary=vocabulary,
    )


def give_dose(
    store: LedgerStore,
    case: str,
    action: str,
    *,
    product: str,
    now: datetime,
    by: str,
    role: str,
    amount: str = "",
    batch: str = "",
    days: int = 0,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """A medicine, vaccine or immunoglobulin was given.

    `days` of a course that were handed out with it; 0 for a single dose, or where nobody said.
    """
    body: dict[str, Any] = {"action": action, "product": product, "amount": amount, "batch": batch}
    if days:
        body["days"] = days
    return append(
        store,
        case,
        [(Kind.DOSE_GIVEN, body)],
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
    )


def ask_source(
    store: LedgerStore,
    case: str,
    *,
    now: datetime,
    by: str,
    role: str,
    note: str = "",
    action: str | None = ASK_SOURCE,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """The source patient was asked for consent to testing."""
    return _source(
        store, case, Kind.SOURCE_ASKED, "", now, by, role, note, action, happened_at,
        expected_position,
    )  # fmt: skip


def source_consents(
    store: LedgerStore,
    case: str,
    *,
    now: datetime,
    by: str,
    role: str,
    note: str = "",
    action: str | None = ASK_SOURCE,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """The source patient consents to testing: the source is testable."""
    return _source(
        store, case, Kind.SOURCE_CONSENTED, "testable", now, by, role, note, action, happened_at,
        expected_position,
    )  # fmt: skip


def source_refuses(
    store: LedgerStore,
    case: str,
    *,
    now: datetime,
    by: str,
    role: str,
    note: str = "",
    action: str | None = ASK_SOURCE,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """The source patient refuses testing. That says nothing about any infection."""
    return _source(
        store, case, Kind.SOURCE_REFUSED, "refuses", now, by, role, note, action, happened_at,
        expected_position,
    )  # fmt: skip


def source_lacks_capacity(
    store: LedgerStore,
    case: str,
    *,
    now: datetime,
    by: str,
    role: str,
    note: str = "",
    action: str | None = None,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """The source patient cannot decide now; whether they can be tested stays open."""
    return _source(
        store, case, Kind.SOURCE_LACKS_CAPACITY, "", now, by, role, note, action, happened_at,
        expected_position,
    )  # fmt: skip


def sample_source(
    store: LedgerStore,
    case: str,
    *,
    now: datetime,
    by: str,
    role: str,
    note: str = "",
    action: str | Sequence[str] | None = None,
    request: str = "",
    specimen: str = "",
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """Blood of the source patient was taken, for the tests named: the source is testable.

    `request` and `specimen` are the numbers under which its results will come back.
    """
    return _source(
        store, case, Kind.SOURCE_SAMPLED, "testable", now, by, role, note, action, happened_at,
        expected_position, _numbers(request, specimen),
    )  # fmt: skip


def seek_advice(
    store: LedgerStore,
    case: str,
    *,
    of: str,
    now: datetime,
    by: str,
    role: str,
    advice: str = "",
    action: str | None = None,
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """An expert was asked: whom (a service or function, not a name), and what they said."""
    return append(
        store,
        case,
        [(Kind.ADVICE_SOUGHT, _with({"from": of, "advice": advice}, action=action))],
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
    )


def counsel(
    store: LedgerStore,
    case: str,
    action: str,
    *,
    now: datetime,
    by: str,
    role: str,
    text: str = "",
    happened_at: datetime | None = None,
    expected_position: int | None = None,
) -> list[Entry]:
    """The worker was counselled, or a review of the plan took place."""
    return append(
        store,
        case,
        [(Kind.COUNSELLED, {"action": action, "text": text})],
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
    )


def note(
    store: LedgerStore,
    case: str,
    text: str,
    *,
    now: datetime,
    by: str,
    role: str,
    expected_position: int | None = None,
) -> list[Entry]:
    """Words for the record. They change nothing in the plan and hold no names."""
    return append(
        store,
        case,
        [(Kind.NOTED, {"text": text})],
        now=now,
        by=by,
        role=role,
        expected_position=expected_position,
    )


def _source(
    store: LedgerStore,
    case: str,
    kind: Kind,
    access: str,
    now: datetime,
    by: str,
    role: str,
    note: str,
    actions: str | Sequence[str] | None,
    happened_at: datetime | None,
    expected_position: int | None,
    numbers: Mapping[str, str] | None = None,
) -> list[Entry]:
    drafts: list[tuple[Kind, Mapping[str, Any]]] = [
        (kind, _with({"note": note, **(numbers or {})}, action=action))
        for action in (_each(actions) or (None,))
    ]
    if access:
        # The step says whether the source can be tested; nobody should have to say it twice.
        fact = {"facts": {"source_access": access}, "said_by": "clinician"}
        drafts.append((Kind.FACT_LEARNED, fact))
    return append(
        store,
        case,
        drafts,
        now=now,
        by=by,
        role=role,
        happened_at=happened_at,
        expected_position=expected_position,
    )


def _numbers(request: str, specimen: str) -> dict[str, str]:
    given = {"request": request.strip(), "specimen": specimen.strip()}
    return {key: value for key, value in given.items() if value}


def _with(body: dict[str, Any], *, action: str | None) -> dict[str, Any]:
    return body if action is None else {"action": action, **body}


def _each(actions: str | Sequence[str] | None) -> Sequence[str]:
    if actions is None:
        return ()
    return (actions,) if isinstance(actions, str) else actions
