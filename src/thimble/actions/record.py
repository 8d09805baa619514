"""What happened and what was learned, one entry each. `happened_at` is when it was so, if not now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal, Unpack

from thimble.actions._append import Refused, Told, Writing, append
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
    **told: Unpack[Told],
) -> list[Entry]:
    """Answers to questions. A later answer stands over an earlier one; both stay in the history.

    Raises:
        Refused: no facts, a fact that the vocabulary does not hold, or a value it does not allow.
        NoSuchCase, Overtaken: as `append`; so for every action of this module.
    """
    body = {"facts": facts_to_json(facts), "said_by": said_by}
    return append(store, case, [(Kind.FACT_LEARNED, body)], vocabulary=vocabulary, **told)


def cannot_be_known(
    store: LedgerStore,
    case: str,
    fact: str,
    *,
    vocabulary: Mapping[str, Fact],
    reason: str = "",
    **told: Unpack[Writing],
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
    return append(store, case, drafts, vocabulary=vocabulary, **told)


def give_first_aid(
    store: LedgerStore,
    case: str,
    *,
    steps: Sequence[str],
    minutes: float | None = None,
    action: str | None = FIRST_AID,
    **told: Unpack[Told],
) -> list[Entry]:
    """First aid was given: what was done, and for how long if known (minutes)."""
    body = _with({"steps": list(steps), "minutes": minutes}, action=action)
    return append(store, case, [(Kind.FIRST_AID_GIVEN, body)], **told)


def assessed(
    store: LedgerStore, case: str, *, action: str | None = ASSESS, **told: Unpack[Writing]
) -> list[Entry]:
    """A clinician has seen the case."""
    return append(store, case, [(Kind.ASSESSED, _with({}, action=action))], **told)


def take_sample(
    store: LedgerStore,
    case: str,
    actions: str | Sequence[str],
    *,
    request: str = "",
    specimen: str = "",
    **told: Unpack[Told],
) -> list[Entry]:
    """Blood was taken: for one action of the plan, or for several in one draw.

    `request` and `specimen` are the numbers under which its results will come back.
    """
    numbers = _numbers(request, specimen)
    return append(
        store,
        case,
        [(Kind.SAMPLE_TAKEN, {"action": action, **numbers}) for action in _each(actions)],
        **told,
    )


def receive_result(
    store: LedgerStore,
    case: str,
    *,
    facts: Mapping[str, Value],
    vocabulary: Mapping[str, Fact],
    text: str = "",
    action: str | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """A laboratory result came. Its facts stand from now on, in the laboratory's name."""
    if not facts and not text.strip():
        raise Refused("a result needs facts or a text: what did the laboratory say?")
    body = _with({"facts": facts_to_json(facts), "text": text}, action=action)
    return append(store, case, [(Kind.RESULT_RECEIVED, body)], vocabulary=vocabulary, **told)


def give_dose(
    store: LedgerStore,
    case: str,
    action: str,
    *,
    product: str,
    amount: str = "",
    batch: str = "",
    days: int = 0,
    cvx: str = "",
    **told: Unpack[Told],
) -> list[Entry]:
    """A medicine, vaccine or immunoglobulin was given.

    `days` of a course that were handed out with it; 0 for a single dose, or where nobody said. `cvx` is
    which vaccine it was; "" for none, or where nobody knows.
    """
    body: dict[str, Any] = {"action": action, "product": product, "amount": amount, "batch": batch}
    if days:
        body["days"] = days
    if cvx:
        body["cvx"] = cvx
    return append(store, case, [(Kind.DOSE_GIVEN, body)], **told)


def ask_source(
    store: LedgerStore,
    case: str,
    *,
    note: str = "",
    action: str | None = ASK_SOURCE,
    **told: Unpack[Told],
) -> list[Entry]:
    """The source patient was asked for consent to testing."""
    return _source(store, case, Kind.SOURCE_ASKED, "", note, action, **told)


def source_consents(
    store: LedgerStore,
    case: str,
    *,
    note: str = "",
    action: str | None = ASK_SOURCE,
    **told: Unpack[Told],
) -> list[Entry]:
    """The source patient consents to testing: the source is testable."""
    return _source(store, case, Kind.SOURCE_CONSENTED, "testable", note, action, **told)


def source_refuses(
    store: LedgerStore,
    case: str,
    *,
    note: str = "",
    action: str | None = ASK_SOURCE,
    **told: Unpack[Told],
) -> list[Entry]:
    """The source patient refuses testing. That says nothing about any infection."""
    return _source(store, case, Kind.SOURCE_REFUSED, "refuses", note, action, **told)


def source_lacks_capacity(
    store: LedgerStore,
    case: str,
    *,
    note: str = "",
    action: str | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """The source patient cannot decide now; whether they can be tested stays open."""
    return _source(store, case, Kind.SOURCE_LACKS_CAPACITY, "", note, action, **told)


def sample_source(
    store: LedgerStore,
    case: str,
    *,
    note: str = "",
    action: str | Sequence[str] | None = None,
    request: str = "",
    specimen: str = "",
    **told: Unpack[Told],
) -> list[Entry]:
    """Blood of the source patient was taken, for the tests named: the source is testable.

    `request` and `specimen` are the numbers under which its results will come back.
    """
    return _source(
        store,
        case,
        Kind.SOURCE_SAMPLED,
        "testable",
        note,
        action,
        _numbers(request, specimen),
        **told,
    )


def seek_advice(
    store: LedgerStore,
    case: str,
    *,
    of: str,
    advice: str = "",
    action: str | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    """An expert was asked: whom (a service or function, not a name), and what they said."""
    return append(
        store,
        case,
        [(Kind.ADVICE_SOUGHT, _with({"from": of, "advice": advice}, action=action))],
        **told,
    )


def counsel(
    store: LedgerStore, case: str, action: str, *, text: str = "", **told: Unpack[Told]
) -> list[Entry]:
    """The worker was counselled, or a review of the plan took place."""
    return append(store, case, [(Kind.COUNSELLED, {"action": action, "text": text})], **told)


def note(store: LedgerStore, case: str, text: str, **told: Unpack[Writing]) -> list[Entry]:
    """Words for the record. They change nothing in the plan and hold no names."""
    return append(store, case, [(Kind.NOTED, {"text": text})], **told)


def _source(
    store: LedgerStore,
    case: str,
    kind: Kind,
    access: str,
    note: str,
    actions: str | Sequence[str] | None,
    numbers: Mapping[str, str] | None = None,
    **told: Unpack[Told],
) -> list[Entry]:
    drafts: list[tuple[Kind, Mapping[str, Any]]] = [
        (kind, _with({"note": note, **(numbers or {})}, action=action))
        for action in (_each(actions) or (None,))
    ]
    if access:
        # The step says whether the source can be tested; nobody should have to say it twice.
        fact = {"facts": {"source_access": access}, "said_by": "clinician"}
        drafts.append((Kind.FACT_LEARNED, fact))
    return append(store, case, drafts, **told)


def _numbers(request: str, specimen: str) -> dict[str, str]:
    given = {"request": request.strip(), "specimen": specimen.strip()}
    return {key: value for key, value in given.items() if value}


def _with(body: dict[str, Any], *, action: str | None) -> dict[str, Any]:
    return body if action is None else {"action": action, **body}


def _each(actions: str | Sequence[str] | None) -> Sequence[str]:
    if actions is None:
        return ()
    return (actions,) if isinstance(actions, str) else actions
