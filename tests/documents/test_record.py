"""Papers of a case with its entries: who signed, what was given, what was decided instead, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import pytest

from documents.examples import (
    FACTS,
    NOW,
    OCCURRED,
    SHIPPED,
    ZONE,
    plan,
    protocol,
    site,
    situation,
    words_in,
)
from thimble import actions
from thimble.actions.report import Precision
from thimble.clinical.vocabulary import vocabulary
from thimble.documents.clinician_summary.data import ClinicianSummary, clinician_summary
from thimble.documents.record import Record
from thimble.documents.source_request.data import source_request, why_no_request
from thimble.documents.words import window_for_a_person, window_in_full
from thimble.documents.worker_plan.data import WorkerPlan, worker_plan
from thimble.documents.worker_plan.plain import plain_words
from thimble.ledger.assess import assess
from thimble.ledger.fold import fold
from thimble.ledger.plan import Plan, State, Window
from thimble.ledger.pressing import OVERDUE
from thimble.ledger.signature import SignatureState, signature_of
from thimble.ledger.situation import KnownFact, Situation
from thimble.ledger.store import MemoryStore
from thimble.protocol.vocabulary import Value

V = vocabulary()
NAMES = {"u-7": "Dr. Ada Invented"}
ROLES = {
    "emergency_clinician": "Emergency clinician",
    "occupational_nurse": "Occupational health nurse",
}
WHY = "what was typed freely and may speak of the source"
AVOID = (
    "Avoid becoming pregnant until the final HIV test; talk breastfeeding over with the clinician."
)


@dataclass
class Case:
    """A case on a ledger in memory, written through the product's own actions."""

    facts: Mapping[str, Value] = field(default_factory=lambda: dict(FACTS))
    occurred_at: datetime = OCCURRED
    precision: Precision = "minute"
    store: MemoryStore = field(default_factory=MemoryStore)
    now: datetime = NOW
    ref: str = ""

    def __post_init__(self) -> None:
        self.ref = actions.report(
            self.store,
            facts={"route": "percutaneous", "fluid": "blood"},
            occurred_at=self.occurred_at,
            occurred_at_precision=self.precision,
            vocabulary=V,
            now=NOW - timedelta(minutes=30),
            identities=actions.MemoryIdentityStore(),
            worker=actions.WorkerIdentity(name="Wilma Exposed"),
        ).case
        self.learn(self.facts)

    @property
    def writer(self) -> dict[str, str]:
        return {"by": "u-7", "role": "emergency_clinician"}

    def learn(self, facts: Mapping[str, Value]) -> None:
        actions.learn_facts(
            self.store, self.ref, facts, said_by="clinician", vocabulary=V, now=self.now,
            **self.writer,
        )  # fmt: skip

    def sign(self) -> None:
        actions.sign_plan(
            self.store, self.ref, protocol=protocol(), site=site(), now=self.now,
            seen_position=self.store.entries(self.ref)[-1].position, **self.writer,
        )  # fmt: skip

    def depart(self, subject: str, decided: str) -> None:
        actions.depart(
            self.store, self.ref, subject=subject, advised="as the rules say", decided=decided,
            reason=WHY, now=self.now, **self.writer,
        )  # fmt: skip

    def give(self, action: str, product: str, amount: str = "", batch: str = "") -> None:
        actions.give_dose(
            self.store, self.ref, action, product=product, amount=amount, batch=batch,
            now=self.now, **self.writer,
        )  # fmt: skip

    def read(self) -> tuple[Situation, Plan, Record]:
        entries = self.store.entries(self.ref)
        known = fold(entries, self.now, V)
        as_signed = None
        if known.signed:
            then = [e for e in entries if e.position <= known.signed[-1].entry]
            as_signed = assess(fold(then, self.now, V), protocol(), self.now, site())
        decided = assess(known, protocol(), self.now, site())
        return known, decided, Record(entries, NAMES, ROLES, as_signed)

    @property
    def standing(self) -> SignatureState:
        known, decided, record = self.read()
        return signature_of(decided, known, protocol(), record.as_signed)

    def for_the_worker(self) -> WorkerPlan:
        known, decided, record = self.read()
        return worker_plan(decided, known, site(), protocol(), record=record)

    def summary(self, record: Record | None = None) -> ClinicianSummary:
        known, decided, found = self.read()
        return clinician_summary(decided, known, site(), protocol(), record=record or found)


def decision(made: WorkerPlan, id_: str) -> tuple[str, str]:
    question = plain_words().decisions[id_]["question"]
    found = next(d for d in (*made.decided, *made.still_open) if d.question == question)
    return found.answer, found.why


# -- signed, or not ---------------------------------------------------------------------------------


def test_an_unsigned_plan_says_so_and_a_signed_one_says_by_whom_and_when():
    case = Case()
    before = case.for_the_worker().signature
    assert before.warning == "Not signed yet"
    assert before.words.startswith(
        "No clinician has signed this plan yet, and it may still change."
    )
    assert case.summary().unsigned == "No clinician has signed this plan yet."

    case.sign()

    after = case.for_the_worker().signature
    assert after.warning == ""
    assert after.words == (
        "Signed by Dr. Ada Invented, emergency clinician, Thu 26 Nov 2026, 03:45."
    )
    assert case.summary().unsigned == ""


def test_a_plan_that_reads_otherwise_than_it_was_signed_says_so():
    case = Case()
    case.sign()
    case.now += timedelta(minutes=5)
    case.learn({"source_hiv": "negative"})

    assert case.standing is SignatureState.CHANGED
    made = case.for_the_worker().signature
    assert made.warning == "Changed since it was signed"
    assert "Dr. Ada Invented, emergency clinician" in made.words
    assert "nobody has signed it as it reads now" in made.words
    assert case.summary().unsigned == "The plan has changed since the last signature."

    case.sign()
    assert case.standing is SignatureState.AS_SIGNED


def test_doing_what_was_signed_and_the_passing_of_hours_change_nothing():
    case = Case()
    case.sign()
    case.now += timedelta(minutes=5)
    case.give("hiv_pep_first_dose", "Invented tablet")
    case.give("tetanus_vaccine_dose", "Invented vaccine")

    assert case.standing is SignatureState.AS_SIGNED
    # No immunoglobulin is due: how much time is left for it is not told to anybody.
    vaccinated = Case({**FACTS, "source_hbsag": "negative"})
    vaccinated.sign()
    then = vaccinated.read()[1].findings["hbig_timing"].value
    vaccinated.now += timedelta(hours=30)
    assert vaccinated.read()[1].findings["hbig_timing"].value != then
    assert vaccinated.read()[1].findings["hbig_doses"].value == "0"
    assert vaccinated.standing is SignatureState.AS_SIGNED


def test_a_corrected_weight_changes_an_amount_and_so_the_plan_that_was_signed():
    case = Case()
    case.sign()
    case.now += timedelta(minutes=5)
    case.learn({"worker_weight": 92.0})

    known, decided, record = case.read()
    assert any(a.amount == "5.52 mL IM" for a in decided.actions)  # 0.06 mL/kg × 92 kg
    assert case.standing is SignatureState.CHANGED
    without = replace(record, as_signed=None)
    assert signature_of(decided, known, protocol(), without.as_signed) is SignatureState.AS_SIGNED


def test_a_plan_signed_under_other_rules_is_not_told_as_signed():
    case = Case()
    case.sign()
    known, decided, record = case.read()
    other = replace(decided, protocol_digest="0" * 64)

    assert signature_of(other, known, protocol(), record.as_signed) is SignatureState.OTHER_RULES
    made = worker_plan(other, known, site(), protocol(), record=record).signature
    assert made.warning == "Changed since it was signed"
    assert "rules" in made.words


@pytest.mark.parametrize(
    ("names", "roles", "told"),
    [
        (NAMES, ROLES, "Dr. Ada Invented, emergency clinician"),
        ({}, ROLES, "an emergency clinician, account u-7"),
        ({"u-7": " "}, ROLES, "an emergency clinician, account u-7"),
        ({}, {}, "an emergency clinician, account u-7"),
    ],
)
def test_who_signed_is_told_by_name_and_role_or_by_role_and_account(
    names: dict[str, str], roles: dict[str, str], told: str
):
    case = Case()
    case.sign()
    entries = case.store.entries(case.ref)

    assert [s.by for s in case.summary(Record(entries, names, roles)).signed] == [told]
    assert Record().who("u-7") == "account u-7"
    nurse = replace(entries[-1], role="occupational_nurse")
    assert Record([nurse], {}, {}).who("u-7", nurse.position).startswith("an occupational nurse")


# -- doses ------------------------------------------------------------------------------------------


def test_what_was_given_stands_on_both_papers_with_product_amount_batch_and_time():
    case = Case()
    case.give("hiv_pep_first_dose", "bictegravir/FTC/TAF", "1 tablet", "LOT-41")
    case.give("hbv_vaccine_dose", "Invented vaccine")

    given = case.for_the_worker().given
    assert [(g.what, g.product, g.amount, g.batch, g.when) for g in given] == [
        ("Medicine to prevent HIV, first dose", "bictegravir/FTC/TAF", "1 tablet", "LOT-41",
         "Thu 26 Nov 2026, 03:45"),
        ("Hepatitis B vaccine", "Invented vaccine", "", "", "Thu 26 Nov 2026, 03:45"),
    ]  # fmt: skip
    summary = case.summary()
    assert [(g.product, g.amount, g.batch, g.by) for g in summary.given] == [
        ("bictegravir/FTC/TAF", "1 tablet", "LOT-41", "Dr. Ada Invented, emergency clinician"),
        ("Invented vaccine", "", "", "Dr. Ada Invented, emergency clinician"),
    ]
    step = next(s for s in summary.steps if s.given and "bictegravir" in s.given[0])
    assert step.state == "Done"
    assert step.given == ("bictegravir/FTC/TAF, 1 tablet, batch LOT-41",)


def test_a_dose_is_told_as_its_correction_leaves_it_and_not_at_all_once_withdrawn():
    case = Case()
    case.give("hiv_pep_first_dose", "Wrong box", batch="A")
    entry = case.store.entries(case.ref)[-1]
    body = {"action": "hiv_pep_first_dose", "product": "Right box", "amount": "", "batch": "B"}
    actions.correct(
        case.store, case.ref, entry.position, reason="misread", vocabulary=V, now=case.now,
        body=body, **case.writer,
    )  # fmt: skip
    assert [(g.product, g.batch) for g in case.for_the_worker().given] == [("Right box", "B")]

    actions.correct(
        case.store, case.ref, entry.position, reason="another case", vocabulary=V, now=case.now,
        withdrawn=True, **case.writer,
    )  # fmt: skip
    assert case.for_the_worker().given == ()
    assert case.summary().given == ()


def test_a_dose_recorded_later_is_not_on_the_paper_of_an_earlier_moment():
    case = Case()
    case.now += timedelta(hours=1)
    case.give("hiv_pep_first_dose", "Invented tablet")
    record = case.read()[2]

    assert record.doses(NOW) == ()
    assert [dose.product for dose in record.doses(case.now)] == ["Invented tablet"]


@pytest.mark.parametrize("id_", SHIPPED)
def test_every_dose_has_plain_words_as_a_thing_given(id_: str):
    doses = {
        rule.outputs["action"]
        for table in protocol(id_).tables
        if table.role == "actions"
        for rule in table.rules
        if rule.outputs["kind"] == "dose" and rule.outputs["for"] == "worker"
    }

    assert doses
    assert doses <= set(plain_words().given)


# -- decided otherwise ------------------------------------------------------------------------------


def test_a_decision_departed_from_is_told_as_decided_and_never_as_advised():
    case = Case()
    case.depart("hiv_pep", protocol().outputs["hiv_pep"].words("not_recommended"))
    made = case.for_the_worker()

    answer, why = decision(made, "hiv_pep")
    assert answer == "Decided with you otherwise than the protocol advises: Not recommended."
    assert why.startswith("Advised: recommended for you, to be started at once.")
    # The row of the dose goes by the advice still: it says what was decided beside it.
    dose = next(t for t in made.take if "medicine to prevent HIV" in t.what)
    assert dose.decided == "Decided: Not recommended. Go by that."
    assert WHY not in words_in(made.to_data())


def test_a_dose_departed_from_takes_the_decision_behind_it_along():
    soiled = {**FACTS, "wound_contaminated": "yes", "worker_tetanus_doses": "fewer"}
    case = Case(soiled)
    assert decision(case.for_the_worker(), "tetanus_vaccine")[0] == "One dose."

    case.depart("tetanus_vaccine_dose", "Not done")
    made = case.for_the_worker()

    task = next(t for t in made.take if t.what == "Tetanus vaccine")
    assert (task.done, task.decided) == (
        "Decided otherwise with you; ask your clinician", "Decided: not done.",
    )  # fmt: skip
    answer, why = decision(made, "tetanus_vaccine")
    assert answer == "Decided with you otherwise than the protocol advises: not done."
    assert why.startswith("Advised: one dose.")
    # Nothing else was decided otherwise.
    others = [d.answer for d in made.decided if "otherwise" in d.answer]
    assert others == [answer]


def test_a_dose_that_was_given_after_all_is_told_as_the_decision_was():
    case = Case({**FACTS, "wound_contaminated": "yes", "worker_tetanus_doses": "fewer"})
    case.depart("tetanus_vaccine_dose", "Not done")
    case.give("tetanus_vaccine_dose", "Invented vaccine")

    assert decision(case.for_the_worker(), "tetanus_vaccine")[0] == "One dose."


def test_what_was_left_to_a_person_is_told_as_decided_without_a_departure_from_advice():
    facts: dict[str, Value] = {**FACTS, "source_hiv": "unknown"}
    del facts["source_hiv_load"]
    case = Case(facts)
    assert case.read()[1].findings["hiv_pep"].value == "expert_decides"
    case.depart("hiv_pep", "Prophylaxis for four weeks")

    answer, why = decision(case.for_the_worker(), "hiv_pep")
    assert answer == "Decided: as your clinician told you; ask if you are not sure."
    assert "Advised" not in why


def test_a_clinicians_own_words_stay_off_the_workers_sheet():
    """They may say something about the source patient."""
    case = Case(dict(FACTS))
    case.depart("hiv_pep", "None: source tested HIV negative in March, injects drugs")
    case.depart("hiv_pep_first_dose", "Not given, the source injects drugs")
    sheet = str(case.for_the_worker())

    assert "March" not in sheet
    assert "injects" not in sheet
    assert "as your clinician told you" in sheet


def test_a_departure_after_the_signature_is_not_under_the_signers_name():
    case = Case(dict(FACTS))
    case.sign()
    assert case.standing is SignatureState.AS_SIGNED
    case.depart("hiv_pep", "not_recommended")

    assert case.standing is SignatureState.CHANGED


def test_what_is_to_be_done_again_after_a_departure_was_taken_back_is_not_as_signed():
    case = Case(dict(FACTS))
    case.depart("hiv_pep_first_dose", "Not done")
    departed = case.store.entries(case.ref)[-1].position
    case.sign()
    assert case.standing is SignatureState.AS_SIGNED
    actions.correct(
        case.store, case.ref, departed, reason="another case", withdrawn=True, vocabulary=V,
        now=case.now, by="u-nurse", role="occupational_nurse",
    )  # fmt: skip

    assert case.standing is SignatureState.CHANGED


def test_a_dose_that_was_not_given_after_all_is_to_be_signed_again():
    case = Case(dict(FACTS))
    case.give("hiv_pep_first_dose", "Invented tablets")
    given = case.store.entries(case.ref)[-1].position
    case.sign()
    actions.correct(
        case.store, case.ref, given, reason="wrong patient", withdrawn=True, vocabulary=V,
        now=case.now, **case.writer,
    )  # fmt: skip

    assert case.standing is SignatureState.CHANGED


def test_a_caution_that_was_not_shown_at_the_signature_unsettles_it():
    case = Case({**FACTS, "worker_medicines": frozenset()})
    case.sign()
    assert case.standing is SignatureState.AS_SIGNED
    case.learn({"worker_medicines": frozenset({"metformin"})})

    assert case.standing is SignatureState.CHANGED


def test_what_nobody_can_settle_is_on_the_sheets_as_to_be_done_and_not_as_perhaps():
    """Immunoglobulin closes in seven days; "once we know more" would never come."""
    case = Case({**FACTS, "source_hbsag": "positive"})
    for fact in ("worker_hbv_infection", "worker_hbv_series", "worker_hbv_response",
                 "worker_anti_hbs_now"):  # fmt: skip
        actions.cannot_be_known(
            case.store, case.ref, fact, vocabulary=V, now=case.now, **case.writer
        )
    hbig = plain_words().actions["hbig_first_dose"]
    sheet = case.for_the_worker()

    assert hbig in {task.what for task in sheet.take}
    assert hbig not in {task.what for task in sheet.perhaps}


def test_the_summary_says_what_was_decided_instead_why_by_whom_and_when():
    case = Case({**FACTS, "wound_contaminated": "yes", "worker_tetanus_doses": "fewer"})
    case.depart("hiv_pep", "not_recommended")
    case.depart("tetanus_vaccine_dose", "Not done")
    case.depart("gone_from_the_protocol", "done in another way")
    summary = case.summary()

    pep = next(d for d in summary.decisions if d.departed is not None)
    step = next(s for s in summary.steps if s.departed is not None)
    assert step.state == "Departed from"
    vaccine = protocol().outputs["tetanus_vaccine"].label
    assert {d.question: d.dose_otherwise for d in summary.decisions if d.dose_otherwise} == {
        vaccine: "About the dose, decided: Not done. See the action, entry 4."
    }
    assert pep.departed is not None
    assert step.departed is not None
    (left,) = summary.otherwise
    assert left.subject == "gone from the protocol"
    for found, decided, entry in (
        (pep.departed, f"{_label('hiv_pep', 'not_recommended')}.", 3),
        (step.departed, "Not done.", 4),
        (left.departed, "Done in another way.", 5),
    ):
        assert (found.decided, found.reason) == (decided, WHY)
        assert found.by == (
            f"Dr. Ada Invented, emergency clinician, Thu 26 Nov 2026, 03:45, entry {entry}"
        )


def _label(decision_id: str, value: str) -> str:
    said = protocol().outputs[decision_id].words(value)
    return said[:1].upper() + said[1:]


def test_an_answer_of_a_clinician_is_told_with_their_name():
    told = {k.question: k.said_by for g in Case().summary().groups for k in g.known}

    assert told[V["worker_weight"].question].startswith("Dr. Ada Invented, emergency clinician, ")


# -- what is not for the worker ---------------------------------------------------------------------


def test_an_amount_that_goes_by_a_weight_nobody_knows_asks_the_worker_for_nothing():
    facts = {id_: value for id_, value in FACTS.items() if id_ != "worker_weight"}
    made = worker_plan(plan(situation(facts)), situation(facts), site(), protocol())
    amounts = {t.amount for t in (*made.take, *made.perhaps) if "hepatitis B" in t.what} - {""}

    assert amounts == {"the amount depends on your weight"}
    assert "to compute it" not in words_in(made.to_data())
    known = worker_plan(plan(), situation(), site(), protocol())
    assert "4.32 mL IM" in {t.amount for t in known.take}  # 0.06 mL/kg × 72 kg


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ("pregnant", "Talk breastfeeding over with the clinician."),
        ("possible", "Talk breastfeeding over with the clinician."),
        ("no", AVOID),
        (None, AVOID),
    ],
)  # fmt: skip
def test_nobody_who_is_or_may_be_pregnant_is_told_to_avoid_it(answer: str | None, told: str):
    facts = {**FACTS, **({} if answer is None else {"worker_pregnancy": answer})}
    made = worker_plan(plan(situation(facts)), situation(facts), site(), protocol())
    said = [s.text for s in made.protect if "breastfeeding" in s.text]

    assert said == [told]


AID = plain_words().actions["first_aid"]


def first_aid_at(now: datetime, **changes: object) -> list[str]:
    known = situation(as_of=now, **changes)
    made = worker_plan(plan(known, now=now), known, site(), protocol())
    return [t.what for t in (*made.take, *made.visits, *made.perhaps) if t.what == AID]


@pytest.mark.parametrize(
    ("since", "shown"),
    [
        (OVERDUE - timedelta(seconds=1), True),
        (OVERDUE, True),
        (OVERDUE + timedelta(seconds=1), False),
        (timedelta(hours=80), False),
    ],
)
def test_first_aid_that_nobody_recorded_is_not_asked_for_after_a_day(since: timedelta, shown: bool):
    assert first_aid_at(OCCURRED + since) == [AID] * shown


def test_first_aid_stays_where_it_was_given_or_where_it_may_be_less_than_a_day():
    late = OCCURRED + timedelta(hours=80)
    assert first_aid_at(late, occurred_at=None) == [AID]
    # A date alone: it may have been as late as the report, 02:52, a day and two hours before.
    by_day = {"occurred_at_precision": "date"}
    at = OCCURRED + timedelta(minutes=12)
    assert first_aid_at(at + OVERDUE, **by_day) == [AID]
    assert first_aid_at(at + OVERDUE + timedelta(seconds=1), **by_day) == []

    case = Case()
    actions.give_first_aid(case.store, case.ref, steps=["Washed"], now=case.now, **case.writer)
    case.now += timedelta(hours=80)
    done = [t.done for t in case.for_the_worker().take if t.what == AID]
    assert len(done) == 1
    assert done[0].startswith("Done ")


# -- a source whom nobody knows ---------------------------------------------------------------------


def test_nobody_is_asked_about_a_source_that_is_not_identified():
    unidentified = situation({**FACTS, "source_access": "unidentified"})

    assert why_no_request(unidentified).startswith(
        "The source patient is recorded as not identified, so there is no team to ask."
    )
    with pytest.raises(ValueError, match="not identified"):
        source_request(plan(unidentified), unidentified, site(), protocol())


@pytest.mark.parametrize("access", [v for v in V["source_access"].values if v != "unidentified"])
def test_every_other_source_may_be_asked_about(access: str):
    known = situation({**FACTS, "source_access": access})

    assert why_no_request(known) == ""
    assert source_request(plan(known), known, site(), protocol()).occurred
    unknown = situation({k: v for k, v in FACTS.items() if k != "source_access"})
    assert why_no_request(unknown) == ""


# -- a date without an hour -------------------------------------------------------------------------

MIDNIGHT = datetime(2026, 11, 26, tzinfo=ZONE)


def test_no_paper_tells_midnight_of_an_exposure_known_to_the_date_alone():
    known = situation(occurred_at=MIDNIGHT, occurred_at_precision="date", source_steps={})
    decided = plan(known)
    papers = (
        worker_plan(decided, known, site(), protocol()),
        clinician_summary(decided, known, site(), protocol()),
        source_request(decided, known, site(), protocol()),
    )

    assert papers[1].counted == "Limits count from the first moment that it may have been."
    for paper in papers:
        told = words_in(paper.to_data())
        assert "Thu 26 Nov 2026 (hour not known)" in told
        assert "00:00" not in told
    # 72 hours from the beginning of Thursday: to the end of Saturday.
    dose = next(t for t in papers[0].take if "medicine to prevent HIV" in t.what)
    assert dose.when.endswith("no later than the end of Sat 28 Nov 2026")
    exact = clinician_summary(plan(), situation(), site(), protocol())
    assert exact.counted == ""


def test_a_limit_at_midnight_is_the_end_of_the_day_before_and_never_an_hour_more():
    end = MIDNIGHT + timedelta(days=2)
    assert window_for_a_person(Window(MIDNIGHT, None, end), NOW, ZONE) == (
        "As soon as you can, no later than the end of Fri 27 Nov 2026"
    )
    assert window_for_a_person(Window(None, None, MIDNIGHT), NOW, ZONE).startswith(
        "Was due by the end of Wed 25 Nov 2026."
    )
    ahead = Window(MIDNIGHT + timedelta(days=1), None, end)
    assert window_for_a_person(ahead, NOW, ZONE) == ("On Fri 27 Nov 2026")
    assert window_in_full(Window(MIDNIGHT, MIDNIGHT, end), NOW, ZONE) == {
        "earliest": "now", "target": "Thu 26 Nov 2026", "latest": "the end of Fri 27 Nov 2026",
    }  # fmt: skip
    minute_before = window_in_full(Window(None, None, end - timedelta(minutes=1)), NOW, ZONE)
    assert minute_before["latest"] == "Fri 27 Nov 2026, 23:59"


def test_a_fact_said_by_the_laboratory_names_who_wrote_it_down():
    case = Case()
    entries = case.store.entries(case.ref)
    known, decided, record = case.read()
    fact = KnownFact("source_hiv", "positive", "laboratory", NOW, entries[-1].position)
    known = replace(known, facts={**known.facts, "source_hiv": fact})
    made = clinician_summary(decided, known, site(), protocol(), record=record)
    told = {k.question: k.said_by for g in made.groups for k in g.known}

    assert told[V["source_hiv"].question].startswith(
        "laboratory, recorded by Dr. Ada Invented, emergency clinician"
    )
    assert State.DEPARTED not in {a.state for a in decided.actions}
