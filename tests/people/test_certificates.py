"""Certificates in a person's file: who may issue what, how long it holds, and when somebody looks again."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from people.files import DOSE, ENROLLED, NOW, RESULT, people, write
from people.test_certificate_signing import KEYS, PRIVATE
from thimble.actions import Refused
from thimble.actions import certificates as acts
from thimble.actions import people as people_acts
from thimble.actions.certificate_papers import MemoryPapers, Paper
from thimble.clinical.durations import Duration, parse
from thimble.ledger.fitness import FitnessDecision
from thimble.ledger.store import Overtaken
from thimble.ledger.verify import verify
from thimble.people.certificates.basis import Basis, basis_of, doubts
from thimble.people.certificates.checking import Worth
from thimble.people.certificates.limits import LIMITS, rules
from thimble.people.certificates.payload import read_payload
from thimble.people.certificates.signing import sign, verified
from thimble.people.certificates.stating import NUMBER, Statement
from thimble.people.choices import TESTS
from thimble.people.entries import Kind
from thimble.people.fold import Person, fold
from thimble.people.identity import PersonIdentity
from thimble.people.readiness import Asked

ONE = "P-K7QM-2F49"
TODAY = NOW.date()
REA = PersonIdentity("00421", "Müller-Weiß", "Rea", date(1999, 2, 28))
HEPATITIS = Asked(("hepatitis_b",), "us", Duration(3, "days"))
TWO = Asked(("hepatitis_b", "measles"), "us", Duration(3, "days"))
SERIES = [
    (Kind.DOSE_RECORDED, {**DOSE, "when": day})
    for day in ("2018-01-10", "2018-02-20", "2018-08-01")
]
IMMUNE = [*SERIES, (Kind.RESULT_RECORDED, {**RESULT, "when": "2018-09-15"})]
NURSE: dict[str, Any] = {"now": NOW, "by": "u1", "role": "occupational_nurse"}
PHYSICIAN: dict[str, Any] = {"now": NOW, "by": "u2", "role": "occupational_physician"}
RESTRICTED = Statement("no_exposure_prone")
PRONE = Statement(exposure_prone="cleared:shea:III")


class House:
    """A file with what is documented of one person."""

    def __init__(self, *evidence: tuple[Kind, dict[str, Any]], asked: Asked = HEPATITIS) -> None:
        self.store = people()
        self.papers = MemoryPapers()
        self.asked = asked
        write(self.store, (Kind.ENROLLED, ENROLLED), *evidence)

    @property
    def person(self) -> Person:
        return fold(self.store.entries(ONE), NOW)

    def basis(self, on: date = TODAY, longest: Duration | None = None) -> Basis:
        return basis_of(self.person, REA.birth_date, on, self.asked, longest)

    def issue(
        self,
        statement: Statement | None = None,
        *,
        identity: PersonIdentity | None = REA,
        decides: bool = False,
        **more: Any,
    ) -> Paper:
        who = PHYSICIAN if decides else NURSE
        return acts.issue(
            self.store, self.papers, lambda payload: sign(payload, PRIVATE), ONE, identity,
            statement or Statement(), self.basis(), issuer="Lindenfels", protocol="us",
            today=TODAY, decides=decides, **{**who, **more},
        )  # fmt: skip

    def doubts(self, on: date = TODAY) -> tuple[str, ...]:
        return doubts(self.person.certificates[0], self.store.entries(ONE), self.basis(on), UTC)


@pytest.fixture
def immune() -> House:
    return House(*IMMUNE)


def test_a_nurse_issues_where_everything_asked_for_is_met_and_the_chain_holds_no_name(
    immune: House,
) -> None:
    paper = immune.issue()

    (issued,) = immune.person.certificates
    assert NUMBER.fullmatch(paper.number)
    assert issued.number == paper.number
    assert (issued.by, issued.issued_on, issued.reason) == ("u1", TODAY, "")
    assert issued.asked == {"hepatitis_b": "yes"}
    payload = read_payload(verified(paper.proof, KEYS))
    assert payload.is_about("Müller-Weiß, Rea", date(1999, 2, 28), paper.salt)
    assert payload.digest == issued.payload
    assert (payload.by, payload.until) == ("Lindenfels", issued.valid_until)
    text = repr([(entry.case, entry.body) for entry in immune.store.all_entries()])
    for part in ("Müller", "Rea", "1999", paper.code, paper.proof, paper.salt.hex()):
        assert part not in text
    assert "Müller" not in repr(paper)
    assert verify(immune.store.all_entries(), None, subject="person") == []


@pytest.mark.parametrize(
    ("evidence", "asked", "says"),
    [
        (SERIES, HEPATITIS, "Hepatitis B: .*A physician decides"),
        (SERIES[:2], HEPATITIS, "Hepatitis B: .*2 doses count"),
        ([], HEPATITIS, "Hepatitis B: "),
        (IMMUNE, TWO, "Measles: .*A physician decides"),
    ],
)
def test_what_is_not_met_is_for_the_physician_who_says_why(
    evidence: list[tuple[Kind, dict[str, Any]]], asked: Asked, says: str
) -> None:
    house = House(*evidence, asked=asked)
    with pytest.raises(Refused, match=says):
        house.issue(reason="I think so")
    with pytest.raises(Refused, match="Say why"):
        house.issue(decides=True, reason=" ")
    assert house.person.certificates == ()

    house.issue(decides=True, reason="Seen the original card", valid_until=TODAY)
    assert house.person.certificates[0].reason == "Seen the original card"
    assert "no" in house.person.certificates[0].asked.values()


def test_what_is_documented_but_judged_by_no_table_is_never_read_as_met(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("thimble.people.readiness.judging.judged", lambda *_: {})
    dose = (Kind.DOSE_RECORDED, {**DOSE, "product": "115", "diseases": ["pertussis"]})
    house = House(dose, asked=Asked(("pertussis",), "us", Duration(3, "days")))
    with pytest.raises(Refused, match="A physician decides"):
        house.issue()
    house.issue(decides=True, reason="Looked at it", valid_until=TODAY)
    assert house.person.certificates[0].asked == {"pertussis": "not_judged"}


def test_evidence_that_comes_up_again_ends_it_on_that_day() -> None:
    """A dose against influenza is asked for anew each season."""
    dose = (
        Kind.DOSE_RECORDED,
        {**DOSE, "product": "150", "diseases": ["influenza"], "when": "2025-10-20"},
    )
    house = House(dose, asked=Asked(("influenza",), "us", Duration(3, "days")))
    basis = house.basis()
    assert basis.met
    assert basis.limit.by == "recheck"
    assert TODAY < basis.limit.until < date(2027, 3, 2)


@pytest.mark.parametrize("statement", [RESTRICTED, PRONE])
def test_restrictions_and_exposure_prone_procedures_are_the_physicians(
    immune: House, statement: Statement
) -> None:
    with pytest.raises(Refused, match="A physician decides"):
        immune.issue(statement, reason="because")
    with pytest.raises(Refused, match="Say why"):
        immune.issue(statement, decides=True)
    immune.issue(statement, decides=True, reason="Agreed on 2 March")
    assert immune.person.certificates[0].statement == statement


def test_a_physician_needs_no_reason_where_the_tables_say_the_same(immune: House) -> None:
    assert immune.issue(decides=True)


@pytest.mark.parametrize(
    ("identity", "says"),
    [
        (None, "name is missing"),
        (PersonIdentity("1", "", "", date(1999, 1, 1)), "name is missing"),
        (PersonIdentity("1", "Rea"), "birth date is missing"),
    ],
)
def test_nobody_is_certified_without_name_and_birth_date(
    immune: House, identity: PersonIdentity | None, says: str
) -> None:
    for decides in (False, True):
        with pytest.raises(Refused, match=says):
            immune.issue(identity=identity, decides=decides, reason="x")
    assert immune.person.certificates == ()


def test_a_house_that_asks_for_nothing_certifies_nothing() -> None:
    house = House(*IMMUNE, asked=Asked((), "us", Duration(3, "days")))
    assert not house.basis().met
    with pytest.raises(Refused, match="asks for nothing"):
        house.issue(decides=True, reason="x")


@pytest.mark.parametrize(
    ("on", "until"),
    [(date(2026, 3, 2), date(2027, 3, 2)), (date(2028, 2, 29), date(2029, 2, 28))],
)
def test_it_holds_as_long_as_the_house_says_at_most(immune: House, on: date, until: date) -> None:
    basis = immune.basis(on)
    assert (basis.limit.until, basis.limit.by) == (until, "longest")
    assert immune.basis(on, parse("P6M")).limit.until < until
    assert rules().longest == parse("P1Y")
    assert set(LIMITS) == {"longest", "recheck", "review", "chosen"}


def test_the_day_of_the_next_check_ends_it_where_that_comes_before() -> None:
    """Two of three doses: the next is due on a day within the year."""
    house = House(
        *[(Kind.DOSE_RECORDED, {**DOSE, "when": day}) for day in ("2026-01-10", "2026-02-20")]
    )
    basis = house.basis()
    assert basis.limit.by == "recheck"
    assert TODAY < basis.limit.until < date(2027, 3, 2)
    with pytest.raises(Refused, match="Say until when"):
        house.issue(decides=True, reason="Starts under supervision")
    day = basis.limit.until
    with pytest.raises(Refused, match="the day of the next check"):
        house.issue(decides=True, reason="x", valid_until=day + timedelta(days=1))
    house.issue(decides=True, reason="Starts under supervision", valid_until=day)
    assert house.person.certificates[0].valid_until == basis.limit.until
    assert house.person.certificates[0].limited_by == "recheck"


def test_what_is_due_today_or_overdue_ends_nothing() -> None:
    """The next dose is due now; whoever certifies in spite of it says until when."""
    house = House((Kind.DOSE_RECORDED, {**DOSE, "when": "2025-01-10"}))
    assert not house.basis().met
    assert house.basis().limit.by == "longest"


@pytest.mark.parametrize(
    ("day", "taken"),
    [
        (date(2026, 3, 1), False),
        (date(2026, 3, 2), True),
        (date(2027, 3, 1), True),
        (date(2027, 3, 2), True),
        (date(2027, 3, 3), False),
    ],
)
def test_a_shorter_time_may_be_chosen_and_a_longer_one_never(
    immune: House, day: date, taken: bool
) -> None:
    if not taken:
        with pytest.raises(Refused, match=r"at most|no earlier than today"):
            immune.issue(valid_until=day)
        return
    immune.issue(valid_until=day)
    (issued,) = immune.person.certificates
    assert issued.valid_until == day
    assert issued.limited_by == ("longest" if day == date(2027, 3, 2) else "chosen")
    assert issued.worth(day, None) is Worth.HOLDS
    assert issued.worth(day + timedelta(days=1), None) is Worth.EXPIRED


def test_a_withdrawal_needs_a_reason_stays_in_the_file_and_is_done_once(immune: House) -> None:
    number = immune.issue().number
    for wrong, reason, says in (
        ("C-AAAA-AAAA", "x", "no certificate"),
        (number, "  ", "Say why"),
    ):
        with pytest.raises(Refused, match=says):
            acts.withdraw(immune.store, ONE, wrong, reason=reason, **NURSE)
    acts.withdraw(immune.store, ONE, number, reason="New name", **NURSE)
    (issued,) = immune.person.certificates
    assert issued.withdrawn is not None
    assert issued.withdrawn.reason == "New name"
    assert issued.worth(TODAY, None) is Worth.WITHDRAWN
    with pytest.raises(Refused, match="withdrawn already"):
        acts.withdraw(immune.store, ONE, number, reason="again", **NURSE)


def test_somebody_who_looked_at_an_older_file_issues_nothing(immune: House) -> None:
    with pytest.raises(Overtaken):
        immune.issue(expected_position=2)
    assert immune.person.certificates == ()


def test_nothing_new_raises_no_doubt(immune: House) -> None:
    immune.issue()
    assert immune.doubts() == ()
    write(immune.store, (Kind.NOTED, {"text": "rang"}), (Kind.CHANGED, {"role": "resident"}))
    write(immune.store, (Kind.CHANGED, {"identity": ["email"]}))
    write(immune.store, (Kind.RESULT_RECORDED, {**RESULT, "when": "2026-03-01", "number": 300}))
    assert immune.doubts() == ()


def test_a_correction_that_takes_the_ground_away_is_told_and_withdraws_nothing(
    immune: House,
) -> None:
    immune.issue()
    people_acts.correct_evidence(immune.store, ONE, 5, reason="of another person", **NURSE)

    said = immune.doubts()
    assert any("Hepatitis B: met when it was issued, no longer" in each for each in said)
    assert any("withdrawn (entry 5)" in each for each in said)
    assert immune.person.certificates[0].worth(TODAY, None) is Worth.HOLDS


@pytest.mark.parametrize("test", sorted(TESTS))
@pytest.mark.parametrize("word", ["positive", "indeterminate", "negative"])
def test_a_result_that_may_say_that_an_infection_is_there_calls_for_a_look(
    test: str, word: str
) -> None:
    house = House(*IMMUNE)
    house.issue()
    body = {**RESULT, "test": test, "word": word, "number": None, "unit": "", "when": "2026-03-01"}
    write(house.store, (Kind.RESULT_RECORDED, body))
    looked_at = test in rules().look_again and word != "negative"
    assert any("A result was written down since" in each for each in house.doubts()) is looked_at
    # Whatever it is, the paper says what it said; only a person withdraws it.
    assert house.person.certificates[0].withdrawn is None


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        (["family_name"], "The name was changed"),
        (["given_name", "family_name"], "The name was changed"),
        (["birth_date"], "The birth date was changed"),
    ],
)
def test_another_name_or_birth_date_is_told(immune: House, fields: list[str], says: str) -> None:
    immune.issue()
    write(immune.store, (Kind.CHANGED, {"identity": fields}))
    assert [each.startswith(says) for each in immune.doubts()] == [True]


def test_once_a_physician_looked_only_what_is_newer_is_told(immune: House) -> None:
    number = immune.issue().number
    positive = {
        **RESULT,
        "test": "anti_hcv",
        "word": "positive",
        "number": None,
        "when": "2026-03-01",
    }
    write(immune.store, (Kind.RESULT_RECORDED, positive))
    assert len(immune.doubts()) == 1
    with pytest.raises(Refused, match="physician"):
        acts.confirm(immune.store, ONE, number, reason="x", decides=False, **NURSE)
    with pytest.raises(Refused, match="Say why"):
        acts.confirm(immune.store, ONE, number, reason="", decides=True, **PHYSICIAN)
    acts.confirm(immune.store, ONE, number, reason="RNA negative", decides=True, **PHYSICIAN)
    assert immune.doubts() == ()
    write(immune.store, (Kind.RESULT_RECORDED, {**positive, "test": "hcv_rna"}))
    assert len(immune.doubts()) == 1


def test_a_paper_is_never_replaced_and_is_gone_once_it_is_erased() -> None:
    papers = MemoryPapers()
    house = House(*IMMUNE)
    house.papers = papers
    first = house.issue()
    second = house.issue()
    assert first.number != second.number
    assert (first.code, first.salt) != (second.code, second.salt)
    with pytest.raises(ValueError, match="never replaced"):
        papers.keep(first)
    papers.erase([ONE])
    assert papers.papers([first.number, second.number]) == {}


def decision(outcome: str, restriction: str, at: datetime, review_on: date | None = None) -> Any:
    return FitnessDecision(
        entry=1, of="K7QM-2F49", by="u2", at=at, outcome=outcome, restriction=restriction,
        review_on=review_on, rule_set="uk_2023", tables="fitness", edition="1", digest="0" * 64,
        rules=(), facts={}, days={}, reason="",
    )  # fmt: skip


LIMITED = ("fit_with_restriction", "no_exposure_prone")


def with_decision(house: House, found: Any) -> Basis:
    return basis_of(house.person, REA.birth_date, TODAY, HEPATITIS, None, found)


def test_whoever_is_restricted_by_a_decision_is_certified_by_a_physician_alone(
    immune: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    basis = with_decision(immune, decision(*LIMITED, NOW, date(2026, 9, 1)))
    assert basis.met
    assert not basis.standard
    assert (basis.limit.until, basis.limit.by) == (date(2026, 9, 1), "review")
    monkeypatch.setattr(House, "basis", lambda _: basis)
    with pytest.raises(Refused, match=r"A decision about fitness is in force: .*no exposure-prone"):
        immune.issue()
    until = date(2026, 9, 1)
    with pytest.raises(Refused, match="Say why"):
        immune.issue(RESTRICTED, decides=True, valid_until=until)
    for statement in (Statement(), PRONE, Statement("no_exposure_prone_for_now")):
        with pytest.raises(Refused, match=r"says otherwise: .*Certify that, or decide anew"):
            immune.issue(statement, decides=True, reason="x", valid_until=until)
    immune.issue(RESTRICTED, decides=True, reason="As decided", valid_until=until)


def test_nobody_whom_a_decision_calls_unfit_is_cleared(
    immune: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    basis = with_decision(immune, decision("not_fit", "none", NOW))
    monkeypatch.setattr(House, "basis", lambda _: basis)
    for statement in (Statement(), RESTRICTED):
        with pytest.raises(Refused, match="says otherwise: not fit"):
            immune.issue(statement, decides=True, reason="x", valid_until=TODAY)
    assert immune.person.certificates == ()


def test_a_decision_that_says_fit_without_a_review_changes_nothing(immune: House) -> None:
    basis = with_decision(immune, decision("fit", "none", NOW))
    assert basis == immune.basis()


@pytest.mark.parametrize("statement", [Statement(), PRONE])
def test_nobody_is_certified_as_fit_beyond_the_review_of_the_decision(
    immune: House, monkeypatch: pytest.MonkeyPatch, statement: Statement
) -> None:
    """Somebody who is monitored is fit until the next look, and not for the year that the house gives."""
    tomorrow = TODAY + timedelta(days=1)
    basis = with_decision(immune, decision("fit", "none", NOW, tomorrow))
    assert basis.standard
    assert (basis.limit.until, basis.limit.by) == (tomorrow, "review")
    monkeypatch.setattr(House, "basis", lambda _: basis)
    with pytest.raises(Refused, match="at most: the day on which the decision"):
        immune.issue(statement, decides=True, reason="x", valid_until=tomorrow + timedelta(days=1))
    immune.issue(statement, decides=True, reason="x", valid_until=tomorrow)


@pytest.mark.parametrize("review", [TODAY, TODAY - timedelta(days=1)])
def test_once_the_review_is_due_a_physician_certifies_and_a_nurse_does_not(
    immune: House, monkeypatch: pytest.MonkeyPatch, review: date
) -> None:
    basis = with_decision(immune, decision("fit", "none", NOW, review))
    # A day that has come limits nothing: whoever decides in spite of it says until when.
    assert basis.limit.by == "longest"
    monkeypatch.setattr(House, "basis", lambda _: basis)
    with pytest.raises(Refused, match=r"is in force: fit; review .*A physician decides"):
        immune.issue()
    immune.issue(decides=True, reason="Seen today", valid_until=TODAY)


ALLOWS = {"none": 2, "no_exposure_prone_for_now": 1, "no_exposure_prone": 1}
"""How much work a restriction leaves today."""


@pytest.mark.parametrize("seconds", [-1, 0, 1])
@pytest.mark.parametrize("statement", [Statement(r) for r in ALLOWS] + [PRONE])
@pytest.mark.parametrize(
    "decided",
    [
        ("fit", "none"), ("not_fit", "none"), ("not_fit", "no_exposure_prone"),
        ("fit_with_restriction", "no_exposure_prone"),
        ("fit_with_restriction", "no_exposure_prone_for_now"),
    ],
)  # fmt: skip
def test_it_does_not_hold_while_the_decision_in_force_says_less_whenever_it_was_made(
    immune: House, seconds: int, statement: Statement, decided: tuple[str, str]
) -> None:
    """One that becomes known to belong to the person only later counts from then on, too."""
    immune.issue(statement, decides=True, reason="x")
    found = decision(*decided, NOW + timedelta(seconds=seconds))
    (issued,) = immune.person.certificates
    outcome, restriction = decided
    less = outcome == "not_fit" or ALLOWS[restriction] < ALLOWS[statement.restriction]
    last = issued.valid_until
    assert issued.worth(last, found) is (Worth.NOT_AT_PRESENT if less else Worth.HOLDS)
    assert issued.worth(last + timedelta(days=1), found) is Worth.EXPIRED
    # Lifted, or taken back: it holds again.
    assert issued.worth(last, decision("fit", "none", NOW + timedelta(days=1))) is Worth.HOLDS
    assert issued.worth(last, None) is Worth.HOLDS

    told = doubts(issued, immune.store.entries(ONE), with_decision(immune, found), UTC)
    if less:
        (sentence,) = told
        assert sentence.startswith(found.words)
        assert "That is less than it states" in sentence
    else:
        # What merely differs is told as before, once it is newer than the certificate.
        differs = outcome != "fit" and restriction != statement.restriction
        assert [each.startswith("It was decided since") for each in told] == (
            [True] if differs and seconds == 1 else []
        )


@pytest.mark.parametrize("outcome", ["fit", "fit_with_restriction"])
@pytest.mark.parametrize(("days", "told"), [(-1, False), (0, True), (1, True)])
def test_once_the_review_of_a_later_decision_is_due_somebody_looks(
    immune: House, outcome: str, days: int, told: bool
) -> None:
    """It holds all the same: that a review is late says nothing of what comes out."""
    restriction = "none" if outcome == "fit" else "no_exposure_prone"
    immune.issue(Statement(restriction), decides=True, reason="x")
    review = TODAY + timedelta(days=30)
    found = decision(outcome, restriction, NOW + timedelta(seconds=1), review)
    on = review + timedelta(days=days)
    basis = basis_of(immune.person, REA.birth_date, on, HEPATITIS, None, found)
    (issued,) = immune.person.certificates
    said = doubts(issued, immune.store.entries(ONE), basis, UTC)
    assert any("was to be reviewed by Wed 1 Apr 2026" in each for each in said) is told
    assert issued.worth(on, found) is Worth.HOLDS


def test_withdrawn_is_withdrawn_whatever_was_decided(immune: House) -> None:
    number = immune.issue().number
    acts.withdraw(immune.store, ONE, number, reason="x", **NURSE)
    found = decision("not_fit", "none", NOW)
    assert immune.person.certificates[0].worth(TODAY, found) is Worth.WITHDRAWN


def confirmed(house: House, number: str, found: Any) -> Worth:
    acts.confirm(house.store, ONE, number, reason="x", decision=found, decides=True, **PHYSICIAN)
    return house.person.certificates[0].worth(TODAY, found)


def test_it_holds_in_spite_of_the_decision_that_a_physician_looked_at_and_of_no_other(
    immune: House,
) -> None:
    number = immune.issue().number
    limited = decision(*LIMITED, NOW)
    assert confirmed(immune, number, limited) is Worth.HOLDS
    assert immune.person.certificates[0].in_spite_of == "no_exposure_prone"
    # A second look, at something else, keeps it.
    assert confirmed(immune, number, limited) is Worth.HOLDS
    (issued,) = immune.person.certificates
    later = NOW + timedelta(seconds=1)
    for other in (
        decision(*LIMITED, later),
        decision("fit_with_restriction", "no_exposure_prone_for_now", NOW),
        decision("not_fit", "no_exposure_prone", NOW),
    ):
        assert issued.worth(TODAY, other) is Worth.NOT_AT_PRESENT
    # Looked at while nothing was decided says nothing of a decision that turns up afterwards.
    assert confirmed(immune, number, None) is Worth.HOLDS
    assert immune.person.certificates[0].worth(TODAY, limited) is Worth.NOT_AT_PRESENT


@pytest.mark.parametrize("restriction", ["none", "no_exposure_prone"])
def test_nobody_who_is_not_fit_is_cleared_by_a_look(immune: House, restriction: str) -> None:
    number = immune.issue().number
    with pytest.raises(Refused, match="Withdraw the certificate, or decide anew"):
        confirmed(immune, number, decision("not_fit", restriction, NOW))


@pytest.mark.parametrize(
    ("zone", "told"), [("America/New_York", True), ("Pacific/Auckland", False)]
)
def test_a_review_is_compared_with_the_site_s_day_of_the_last_look(
    immune: House, zone: str, told: bool
) -> None:
    """The look at 01:00 UTC on 28 November was on the 27th in New York, on the 28th in Auckland."""
    immune.issue()
    (issued,) = immune.person.certificates
    looked = replace(issued, looked_at=datetime(2026, 11, 28, 1, tzinfo=UTC))
    review = date(2026, 11, 28)
    found = decision("fit", "none", NOW, review)
    basis = basis_of(immune.person, REA.birth_date, review, HEPATITIS, None, found)
    said = doubts(looked, immune.store.entries(ONE), basis, ZoneInfo(zone))
    assert any("was to be reviewed by" in each for each in said) is told
