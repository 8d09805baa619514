"""Results of people of the register: real bytes over a real socket, into the right file or held."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, timedelta

import pytest

from exchange.serving import Client as Sender
from exchange.serving import serving
from thimble import actions
from thimble.actions import SourceIdentity, WorkerIdentity, giving
from thimble.actions import people as acts
from thimble.actions.reported import look_at_results
from thimble.clinical.vocabulary import VOCABULARY
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.inbox import Inbox, Received, State
from thimble.exchange.receiving import Receiver
from thimble.exchange.recording import Recorder
from thimble.ledger.entries import Kind as CaseKind
from thimble.ledger.verify import verify
from thimble.people.certificates.basis import basis_of, doubts
from thimble.people.entries import Kind
from thimble.people.identity import PersonIdentity
from thimble.people.to_see import INFECTION, PRELIMINARY, SET_RIGHT, TAKEN_BACK, to_see
from thimble.web import clock
from thimble.web.cohort.standings import asked_of, standings
from thimble.web.context import (
    get_identities,
    get_people,
    get_people_identities,
    get_protocol,
    get_site,
    get_store,
)
from thimble.web.laboratory.processing import LedgerProcessor
from thimble.web.laboratory.register import get_register
from thimble.web.people.roster import Roster

from .lab_people import (
    ADA,
    ALT,
    ANTI_HBS,
    ANTI_HCV,
    DRAWN,
    DRAWN_AT,
    HBSAG,
    HIV,
    IGRA,
    MEASLES,
    MEASLES_NUMBER,
    MORNING,
    WRITER,
    dosed,
    enrolled,
    held,
    labelled,
    number,
    oru,
    results,
    sampled,
    typed,
    word,
)

pytestmark = pytest.mark.django_db
Send = Callable[[bytes], Received]

POSITIVE_HBS = ("anti_hbs", None, "=", 120.0, "2026-03-02")


@pytest.fixture(autouse=True)
def _morning() -> Iterator[None]:
    with clock.standing_at(MORNING):
        yield


@pytest.fixture
def processor(inbox: Inbox) -> LedgerProcessor:
    return LedgerProcessor(
        inbox, get_store(), get_identities(), get_protocol(), get_site(), lambda: MORNING,
        get_register(),
    )  # fmt: skip


@pytest.fixture
def send(inbox: Inbox, processor: LedgerProcessor) -> Iterator[Send]:
    """Send bytes over a socket, have them acknowledged and then recorded; what became of them."""
    recorder = Recorder(inbox, processor, read=read_bytes)
    with (
        serving(Receiver(inbox, control_id=lambda: "ANSWER")) as served,
        Sender(served.port) as sender,
    ):

        def sent(raw: bytes) -> Received:
            answer = sender.send(raw)
            assert answer is not None
            assert b"\rMSA|AA|" in answer
            recorder.catch_up()
            return max(
                (each for state in State for each in inbox.in_state(state)), key=lambda m: m.id
            )

        yield sent


@pytest.fixture
def ada() -> str:
    person = enrolled()
    dosed(person)
    return person


# -- found ----------------------------------------------------------------------------------------


def test_a_titre_under_a_label_of_a_session_is_evidence_in_the_file(ada: str, send: Send):
    label = sampled(ada)

    received = send(oru(number("120"), label=label))

    assert (received.state, received.reason) == (State.MATCHED, "")
    assert results(ada) == [POSITIVE_HBS]
    (entry,) = [e for e in get_people().entries(ada) if e.kind is Kind.RESULT_RECORDED]
    assert (entry.by, entry.role) == ("laboratory", "laboratory")
    assert entry.body["message"] == received.digest
    assert entry.body["sample"] == {"identified": "yes", "drawn_here": "yes", "direct": "yes"}
    assert entry.body["as_written"] == "120 m[IU]/mL"
    assert held(ada).of(Kind.RESULT_RECORDED)[0].vouched
    assert verify(list(get_people().all_entries())) == []


def test_readiness_and_recommendation_follow_at_once(ada: str, send: Send):
    """Three doses without a titre: the titre is what is missing; with it the person is ready."""
    label, site = sampled(ada), get_site()
    roster = Roster(lambda number: list(get_people().since(number)))

    def hepatitis_b() -> tuple[str, bool | None]:
        (member,) = standings().of(
            roster.people(MORNING), get_people_identities().all_identities(), DRAWN, site
        )
        (state,) = [s for s in member.readiness.states if s.disease == "hepatitis_b"]
        return state.words, state.satisfied

    before = hepatitis_b()
    send(oru(number("120"), label=label))

    assert before[1] is not True
    assert hepatitis_b()[1] is True


def test_photo_identity_that_nobody_checked_is_not_said_to_be(ada: str, send: Send):
    send(oru(number("120"), label=sampled(ada, identified="not_known")))

    (found,) = held(ada).of(Kind.RESULT_RECORDED)
    assert found.body["sample"]["identified"] == "not_known"


@pytest.mark.parametrize("as_sent", [str.lower, lambda label: label.replace("-", "")])
def test_a_label_is_known_however_it_was_typed_off(ada: str, send: Send, as_sent):
    send(oru(number("120"), placer=as_sent(sampled(ada))))

    assert results(ada) == [POSITIVE_HBS]


def test_number_and_birth_date_together_name_somebody_and_the_day_is_the_laboratorys(
    ada: str, send: Send
):
    send(oru(number("120"), patient="q88^^^HOUSE^EI", collected="20260227"))

    assert results(ada) == [("anti_hbs", None, "=", 120.0, "2026-02-27")]
    (found,) = held(ada).of(Kind.RESULT_RECORDED)
    assert found.body["sample"] == {
        "identified": "not_known", "drawn_here": "not_known", "direct": "yes",
    }  # fmt: skip


def test_a_later_day_of_the_laboratory_is_when_the_sample_reached_it(ada: str, send: Send):
    """Drawn on Monday and registered on Tuesday, reported then: the department's own day counts."""
    send(oru(number("120"), label=sampled(ada), collected="20260303"))

    assert results(ada) == [POSITIVE_HBS]


def test_a_number_and_its_word_in_two_rows_are_one_result(ada: str, send: Send):
    rows = (number("0.9", MEASLES_NUMBER, "[IU]/mL"), word("Positive", MEASLES))
    send(oru(*rows, label=sampled(ada)))

    assert results(ada) == [("measles_igg", "positive", "=", 0.9, "2026-03-02")]


def test_several_tests_of_one_sample_are_recorded_together(ada: str, send: Send):
    rows = (number("120"), word("Negative"), word("Negative", ANTI_HCV), word("Negative", IGRA))
    send(oru(*rows, label=sampled(ada)))

    assert [r[:2] for r in results(ada)] == [
        ("anti_hbs", None), ("hbsag", "negative"), ("anti_hcv", "negative"), ("igra", "negative"),
    ]  # fmt: skip


# -- held -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "how", "says"),
    [
        (number("120"), {"born": "19900507"}, "date of birth is not that"),
        (number("120"), {"name": "Other^Berta"}, "name is not that"),
        (number("120"), {"name": "Other^Ada", "born": ""}, "a birth date is missing"),
        (number("120", unit="mg/dL"), {}, "unit “mg/dL” does not fit"),
        (number("120", unit=""), {}, "has no unit"),
        (number("1000001"), {}, "results lie between 0 and 1e+06"),
        (number("120"), {"collected": "20260301"}, "find out whose sample it was"),
        (number("0.9", MEASLES_NUMBER, "[IU]/mL"), {}, "Ask for the word"),
        (number("31", ALT, "U/L"), {}, "ALT: a file of the register does not keep this test"),
        (word("Negative", status="D"), {}, "takes back a result that did not come"),
        (word("Negative", status="U"), {}, "no such result of this sample is on record"),
        (word("perhaps"), {}, "not in the closed lists"),
    ],
)
def test_what_cannot_be_right_waits_for_a_person_with_the_reason(
    ada: str, send: Send, row: str, how: dict[str, str], says: str
):
    label = sampled(ada)
    before = len(get_people().entries(ada))

    received = send(oru(row, label=label, **how))

    assert received.state is State.HELD
    assert says in received.reason
    assert "Ada" not in received.reason
    assert len(get_people().entries(ada)) == before


@pytest.mark.parametrize(
    ("collected", "says"),
    [
        ("19900505", "before the person was born"),
        ("20260303", "which lies ahead"),
        ("", "on which day the sample was taken"),
        ("202602", "on which day the sample was taken"),
    ],
)
@pytest.mark.parametrize("row", [number("120"), word("Positive", MEASLES)])
def test_a_day_that_cannot_be_holds_the_message(
    ada: str, send: Send, row: str, collected: str, says: str
):
    received = send(oru(row, patient="Q-88", collected=collected))

    assert received.state is State.HELD
    assert says in received.reason


@pytest.mark.parametrize("collected", ["19900506", "20260302"])
def test_the_day_of_birth_and_today_can_be(ada: str, send: Send, collected: str):
    assert send(oru(number("120"), patient="Q-88", collected=collected)).state is State.MATCHED


def test_the_birth_date_must_fit_the_number(ada: str, send: Send):
    received = send(oru(number("120"), patient="Q-88", born="19900507"))

    assert "No case and no file" in received.reason


def test_a_label_without_a_draw_is_held(ada: str, send: Send):
    """A label that was printed, and one whose sample was taken back at the session."""
    label = sampled(ada)
    giving.undo(get_people(), ada, held(ada).samples[0].entry, today=DRAWN, now=DRAWN_AT, **WRITER)
    for control, number_ in (("A1", labelled(ada)), ("A2", label)):
        received = send(oru(number("120"), label=number_, control=control))
        assert "nobody wrote down that the sample was drawn" in received.reason
    assert results(ada) == []


def test_a_sample_of_a_case_and_of_the_register_is_never_chosen_between(ada: str, send: Send):
    label = sampled(ada)
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=DRAWN_AT - timedelta(hours=1), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=DRAWN_AT, identities=get_identities(),
        worker=WorkerIdentity("Ada Muster", staff_number="Q-88", date_of_birth=ADA.birth_date),
    ).case  # fmt: skip
    by_person = send(oru(number("120"), patient="Q-88", control="A1"))
    actions.take_sample(
        get_store(), case, actions="baseline_hbv", now=DRAWN_AT, specimen=label, **WRITER
    )
    by_sample = send(oru(number("120"), label=label, control="A2"))

    assert "known from a case and from the register" in by_person.reason
    assert "belong to a case and to somebody of the register" in by_sample.reason
    assert results(ada) == []
    assert all(e.kind is not CaseKind.RESULT_RECEIVED for e in get_store().entries(case))


def test_a_number_that_somebody_had_before_names_nobody(ada: str, send: Send):
    acts.change(
        get_people(), get_people_identities(), ada, {}, now=DRAWN_AT,
        identity=PersonIdentity("Q-90", "Muster", "Ada", ADA.birth_date), **WRITER,
    )  # fmt: skip
    assert "No case and no file" in send(oru(number("120"), patient="Q-88")).reason
    assert send(oru(number("120"), patient="Q-90", control="A2")).state is State.MATCHED


def test_a_result_against_one_of_the_same_day_is_held(ada: str, send: Send):
    typed(ada, number=8, unit="m[IU]/mL")

    received = send(oru(number("120"), label=sampled(ada)))

    assert received.state is State.HELD
    assert "another result of the same day is on record" in received.reason


def test_an_antibody_that_lasts_and_is_gone_is_held(ada: str, send: Send):
    """The same table holds results of cases (`lasting_antibody.csv`)."""
    typed(ada, "2024-06-01", test="anti_hcv", word="positive")

    received = send(oru(word("Negative", ANTI_HCV), label=sampled(ada)))

    assert "One of them may be another person's" in received.reason


# -- again, otherwise, back -----------------------------------------------------------------------


def test_what_was_typed_in_before_is_the_same_result_once(ada: str, send: Send):
    typed(ada, number=120, unit="m[IU]/mL")

    send(oru(number("120"), label=sampled(ada)))

    assert results(ada) == [POSITIVE_HBS]
    (found,) = held(ada).of(Kind.RESULT_RECORDED)
    assert found.body["sample"]["direct"] == "yes"


def test_the_same_bytes_and_the_same_result_again_write_nothing(
    ada: str, inbox: Inbox, processor: LedgerProcessor, send: Send
):
    label = sampled(ada)
    raw = oru(number("120"), label=label)
    send(raw)
    length = len(get_people().entries(ada))

    assert send(raw).id == 1
    repeated = send(oru(number("120"), label=label, control="A2", at="023000"))
    inbox._database.execute("UPDATE received SET state = 'new'")  # as if the process had died
    Recorder(inbox, processor, read=read_bytes).catch_up()

    assert repeated.state is State.MATCHED
    assert len(get_people().entries(ada)) == length
    assert [inbox.get(n).state for n in (1, 2)] == [State.MATCHED] * 2


def test_another_value_that_is_not_called_a_correction_is_held(ada: str, send: Send):
    label = sampled(ada)
    send(oru(number("120"), label=label))

    received = send(oru(number("8"), label=label, control="A2", at="023000"))

    assert "is not called a correction" in received.reason
    assert results(ada) == [POSITIVE_HBS]


def test_a_correction_supersedes_and_a_late_copy_of_the_old_does_not(ada: str, send: Send):
    label = sampled(ada)
    first = oru(number("120"), label=label, at="020000")
    send(first)
    send(oru(number("8", status="C"), label=label, control="A2", at="023000"))
    assert results(ada) == [("anti_hbs", None, "=", 8.0, "2026-03-02")]

    late = send(oru(number("120"), label=label, control="A3", at="020000"))

    assert late.state is State.MATCHED
    assert results(ada) == [("anti_hbs", None, "=", 8.0, "2026-03-02")]
    assert [one.why for one in to_see(held(ada))] == [SET_RIGHT]


@pytest.mark.parametrize("status", ["D", "W"])
def test_what_the_laboratory_takes_back_is_gone_and_comes_not_again_unseen(
    ada: str, send: Send, status: str
):
    label = sampled(ada)
    send(oru(number("120"), label=label))
    back = send(oru(number("120", status=status), label=label, control="A2", at="023000"))

    assert (back.state, results(ada)) == (State.MATCHED, [])
    assert ("find out whose result it was" in back.reason) == (status == "W")
    assert [one.why for one in to_see(held(ada))] == [TAKEN_BACK]

    again = send(oru(number("120"), label=label, control="A3", at="024000"))
    assert "took this result back before" in again.reason
    assert results(ada) == []

    send(oru(number("121", status="C"), label=label, control="A4", at="025000"))
    assert results(ada) == [("anti_hbs", None, "=", 121.0, "2026-03-02")]


def test_a_preliminary_result_counts_nowhere_until_it_is_final(ada: str, send: Send):
    label = sampled(ada)
    send(oru(word("Reactive", HIV, "P"), label=label))

    assert results(ada) == []
    assert [e.body["word"] for e in held(ada).preliminary] == ["positive"]
    assert [one.why for one in to_see(held(ada))] == [PRELIMINARY]

    send(oru(word("Non-reactive", HIV), label=label, control="A2", at="023000"))
    assert results(ada) == [("hiv_ag_ab", "negative", "=", None, "2026-03-02")]
    assert (held(ada).preliminary, to_see(held(ada))) == ((), ())


def test_a_preliminary_result_is_made_final_without_being_sent_again(ada: str, send: Send):
    label = sampled(ada)
    send(oru(word("Reactive", HIV, "P"), label=label))
    send(oru(f"ST|{HIV}||||||||U", label=label, control="A2", at="023000"))

    assert results(ada) == [("hiv_ag_ab", "positive", "=", None, "2026-03-02")]
    assert [one.why for one in to_see(held(ada))] == [INFECTION]


def test_a_message_about_two_people_is_recorded_whole_or_not_at_all(ada: str, send: Send):
    """The second one's sample was never drawn here."""
    other = enrolled(PersonIdentity("Q-99", "Beispiel", "Ben", date(1985, 1, 2)))
    first, second = sampled(ada), labelled(other)
    ben = {"name": "Beispiel^Ben", "born": "19850102"}

    def both(control: str) -> bytes:
        one = oru(number("120"), label=first, control=control)
        return one + oru(number("50"), label=second, **ben).split(b"\r", 1)[1]

    assert send(both("A1")).state is State.HELD
    assert (results(ada), results(other)) == ([], [])

    giving.take_sample(
        get_people(), other, second, identified="yes", today=DRAWN, now=DRAWN_AT, **WRITER
    )
    assert send(both("A2")).state is State.MATCHED
    assert (len(results(ada)), len(results(other))) == (1, 1)


def test_a_message_about_a_case_and_a_person_is_recorded_whole_or_not_at_all(ada: str, send: Send):
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=DRAWN_AT - timedelta(hours=1), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=DRAWN_AT,
    ).case  # fmt: skip
    get_identities().save_source(
        case, SourceIdentity("Vera Invented", "M-55", date(1970, 1, 2)), by="u-7", now=DRAWN_AT
    )
    source = oru(
        word("Negative"), patient="M-55", born="19700102", name="Invented^Vera",
        collected="202603020100+0100",
    )  # fmt: skip
    label = sampled(ada)
    bad = source + oru(number("1000001"), label=label).split(b"\r", 1)[1]
    assert send(bad).state is State.HELD
    assert all(e.kind is not CaseKind.RESULT_RECEIVED for e in get_store().entries(case))

    good = source + oru(number("120"), label=label).split(b"\r", 1)[1]
    assert send(good.replace(b"|A1|P|", b"|A2|P|")).state is State.MATCHED
    assert results(ada) == [POSITIVE_HBS]
    assert get_store().entries(case)[-1].kind is CaseKind.RESULT_RECEIVED


@pytest.mark.parametrize("breaks", [get_store, get_people])
def test_a_write_that_breaks_off_leaves_neither_ledger_and_is_done_again(
    ada: str, inbox: Inbox, processor: LedgerProcessor, monkeypatch: pytest.MonkeyPatch, breaks
):
    """One message about a case and a person; the disk is full for the one or the other."""
    case = actions.report(
        get_store(), facts={"route": "percutaneous", "fluid": "blood"},
        occurred_at=DRAWN_AT - timedelta(hours=1), occurred_at_precision="minute",
        vocabulary=VOCABULARY, now=DRAWN_AT,
    ).case  # fmt: skip
    get_identities().save_source(
        case, SourceIdentity("Vera Invented", "M-55", date(1970, 1, 2)), by="u-7", now=DRAWN_AT
    )
    source = oru(
        word("Negative"), patient="M-55", born="19700102", name="Invented^Vera",
        collected="202603020100+0100",
    )  # fmt: skip
    raw = source + oru(number("120"), label=sampled(ada)).split(b"\r", 1)[1]
    Receiver(inbox, control_id=lambda: "ANSWER").take(raw, DRAWN_AT + timedelta(hours=3), "")
    recorder = Recorder(inbox, processor, read=read_bytes)

    def full(entries: object) -> None:
        raise OSError("no space left")

    with monkeypatch.context() as broken:
        broken.setattr(breaks(), "_insert", full)
        recorder.catch_up()
    assert inbox.get(1).state is State.NEW
    assert results(ada) == []
    assert all(e.kind is not CaseKind.RESULT_RECEIVED for e in get_store().entries(case))

    recorder.catch_up()
    assert inbox.get(1).state is State.MATCHED
    assert results(ada) == [POSITIVE_HBS]
    assert verify(list(get_people().all_entries())) == verify(list(get_store().all_entries())) == []


# -- seen by somebody -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "waits"),
    [
        (word("Positive", HBSAG), True),
        (word("Equivocal", ANTI_HCV), True),
        (word("Positive", IGRA), True),
        (word("Negative", HIV), False),
        (word("Positive", MEASLES), False),
        (number("3"), False),
    ],
)
def test_what_may_say_infection_waits_until_somebody_says_what_was_done(
    ada: str, send: Send, row: str, waits: bool
):
    send(oru(row, label=sampled(ada)))
    waiting = to_see(held(ada))
    assert [one.why for one in waiting] == [INFECTION] * waits
    if waits:
        look_at_results(
            get_people(), ada, [waiting[0].entry], "Told the person.", now=MORNING, **WRITER
        )
        assert to_see(held(ada)) == ()
        with pytest.raises(actions.Refused, match="Somebody saw this before"):
            look_at_results(get_people(), ada, [waiting[0].entry], "Again.", now=MORNING, **WRITER)


def test_a_certificate_that_is_out_is_to_be_looked_at_again(ada: str, send: Send):
    """By the mechanism that knows results typed in."""
    entries = get_people().entries(ada)
    certified = {
        "number": "C-K7QM-2F49", "restriction": "none", "exposure_prone": "not_stated",
        "issued_on": "2026-03-02", "valid_until": "2027-03-02", "limited_by": "longest",
        "asked": {}, "confirmed": True, "rules": "x", "payload": "0" * 64, "key": "k", "reason": "",
    }  # fmt: skip
    acts.append_to(get_people(), ada, [(Kind.CERTIFIED, certified)], now=DRAWN_AT, **WRITER)
    assert len(entries) == 4

    send(oru(word("Positive", HBSAG), label=sampled(ada)))

    person = held(ada)
    basis = basis_of(person, ADA.birth_date, DRAWN, asked_of(get_site()))
    told = doubts(person.certificates[0], get_people().entries(ada), basis, UTC)
    assert "A result was written down since: HBsAg." in told


def test_anti_hbs_below_ten_is_no_sign_of_infection_and_no_protection(ada: str, send: Send):
    send(oru(number("9.9", ANTI_HBS), label=sampled(ada)))

    assert to_see(held(ada)) == ()
    assert results(ada) == [("anti_hbs", None, "=", 9.9, "2026-03-02")]
