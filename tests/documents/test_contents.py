"""What each sheet says: nothing left out of the plan, nothing unknown turned into a no."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from documents.examples import FACTS, NOW, SHIPPED, plan, protocol, site, situation, words_in
from thimble.clinical.prophylaxis import tables as course_tables
from thimble.clinical.vocabulary import vocabulary
from thimble.documents.clinician_summary.data import clinician_summary
from thimble.documents.downtime_pack.data import downtime_pack
from thimble.documents.source_request.data import source_request
from thimble.documents.ward_card.data import ward_card
from thimble.documents.worker_plan.data import worker_plan
from thimble.documents.worker_plan.plain import plain_id, plain_words
from thimble.ledger.plan import State
from thimble.ledger.prophylaxis.record import CourseRecord, GivenDose
from thimble.protocol.vocabulary import Value

V = vocabulary()
AVOID_PREGNANCY = "Avoid becoming pregnant until the final HIV test; talk"
"""How a precaution of the shipped protocol begins."""
CODES = [id_ for id_, fact in V.items() if fact.kind == "code"]
some_answers = st.fixed_dictionaries(
    {}, optional={id_: st.sampled_from(V[id_].values) for id_ in CODES}
)


@settings(max_examples=60, deadline=None)
@given(facts=some_answers)
def test_every_action_for_the_worker_is_on_their_plan(facts: dict[str, Value]):
    known = situation(facts)
    decided = plan(known)
    made = worker_plan(decided, known, site(), protocol())
    told = {task.what for task in (*made.take, *made.tests, *made.visits, *made.perhaps)}

    for action in decided.actions:
        if action.whom == "worker":
            perhaps = plain_words().perhaps.get(action.id, {}).get("words", "")
            assert {plain_words().actions.get(plain_id(action.id), action.what), perhaps} & told


def test_the_worker_is_told_to_take_a_first_dose_only_where_it_is_advised():
    facts = {**FACTS, "source_hiv": "unknown"}
    facts.pop("source_hiv_load")
    made = worker_plan(plan(situation(facts)), situation(facts), site(), protocol())
    told = [task.what for task in (*made.take, *made.visits, *made.perhaps)]

    assert plan(situation(facts)).findings["hiv_pep"].value == "expert_decides"
    assert "Take the first dose of the medicine to prevent HIV, now" not in told
    assert any("if you and your clinician decide on it" in what for what in told)


@settings(max_examples=60, deadline=None)
@given(facts=some_answers)
def test_a_warning_that_may_apply_is_on_the_plan_like_one_that_does(facts: dict[str, Value]):
    known = situation(facts)
    decided = plan(known)
    made = worker_plan(decided, known, site(), protocol())

    for topic, told in (("warning_signs", made.warnings), ("precautions", made.protect)):
        expected = {c.text for c in decided.cautions if c.topic == topic}
        if facts.get("worker_pregnancy") in ("pregnant", "possible"):
            expected = {text.replace(AVOID_PREGNANCY, "Talk") for text in expected}
        assert {sentence.text for sentence in told} == expected


@settings(max_examples=60, deadline=None)
@given(facts=some_answers)
def test_an_open_decision_is_never_told_as_settled(facts: dict[str, Value]):
    known = situation(facts)
    decided = plan(known)
    settled = {item.question for item in worker_plan(decided, known, site(), protocol()).decided}
    summary = clinician_summary(decided, known, site(), protocol())

    for decision, finding in decided.findings.items():
        if finding.value is None and decision in plain_words().decisions:
            assert plain_words().decisions[decision]["question"] not in settled
    assert {d.question for d in summary.decisions if not d.settled} == {
        protocol().outputs[d].label
        for d, finding in decided.findings.items()
        if finding.value is None
        and not d.startswith("hbig_amount")
        and not protocol().outputs[d].inner
    } | {
        protocol().outputs[id_].label
        for id_, items in decided.reasons.items()
        if any(not item.certain for item in items)
    }
    assert len(summary.questions) == len(decided.questions)
    assert len(summary.steps) == len(decided.actions)
    assert len(summary.cautions) == len(decided.cautions)


def test_the_plan_of_a_needlestick_from_a_source_with_hiv():
    made = worker_plan(plan(), situation(), site(), protocol())

    assert made.take[0].what == "Take the first dose of the medicine to prevent HIV, now"
    # 72 hours after Thu 26 Nov 2026, 02:40.
    assert made.take[0].when.endswith("no later than Sun 29 Nov 2026, 02:40")
    assert made.happened[0].value == "Thu 26 Nov 2026, 02:40 CET (UTC+01:00)"
    assert made.warnings
    assert made.protect
    assert [c.phone.replace("\u00a0", " ") for c in made.contacts] == [
        "+41 00 000 40 00", "+41 00 000 11 11",
    ]  # fmt: skip
    assert made.contacts[0].hours == (
        "Mon–Fri 08:00–12:00 and 13:00–16:30; closed on public holidays"
    )


def test_an_exposure_whose_hour_is_not_known_is_told_so():
    by_day = situation(occurred_at_precision="date")
    unknown = situation(occurred_at=None)

    made = [worker_plan(plan(s), s, site(), protocol()) for s in (by_day, unknown)]

    assert made[0].happened[0].value == "Thu 26 Nov 2026 (hour not known)"
    assert made[1].happened[0].value == "Not known yet"
    assert clinician_summary(plan(unknown), unknown, site(), protocol()).since == ""


def test_no_sheet_tells_an_exposure_more_exactly_than_it_is_known():
    by_hour = situation(occurred_at_precision="hour")
    told = "Thu 26 Nov 2026 (in the hour from 02:00)"

    assert worker_plan(plan(by_hour), by_hour, site(), protocol()).happened[0].value == told
    assert source_request(plan(by_hour), by_hour, site(), protocol()).occurred == told
    summary = clinician_summary(plan(by_hour), by_hour, site(), protocol())
    # As the plan counts: from the first moment that it may have been, 02:00, to 03:45.
    assert (summary.occurred, summary.since) == (told, "up to 1 h 45 min")
    exact = situation()
    assert clinician_summary(plan(exact), exact, site(), protocol()).since == "1 h 5 min"


def test_a_closed_case_says_why_in_words():
    closed = situation(closed_at=NOW, closed_reason="source_negative")

    made = clinician_summary(plan(closed), closed, site(), protocol())
    assert made.closed == "Thu 26 Nov 2026, 03:45: source patient negative"


def test_done_and_no_longer_needed_stay_on_the_plan_and_say_so():
    decided = plan()
    first, second, *rest = [a for a in decided.actions if a.whom == "worker" and a.certain]
    done = replace(first, state=State.DONE, done_at=NOW)
    ended = replace(second, state=State.NO_LONGER_NEEDED)
    made = worker_plan(
        replace(decided, actions=(done, ended, *rest)), situation(), site(), protocol()
    )
    told = {t.what: t.done for t in (*made.take, *made.tests, *made.visits)}

    assert told[plain_words().actions[first.id]] == "Done Thu 26 Nov 2026, 03:45"
    assert told[plain_words().actions[second.id]] == "No longer needed"


def test_the_worker_is_told_which_tablets_cover_which_days_and_which_are_missing():
    dose = GivenDose("hiv_pep_first_dose", "Starter pack", "1 tablet", "A1", 5, NOW, 2)
    rest = GivenDose("", "Further supply", "", "B2", 23, NOW + timedelta(days=2), 3)
    short = situation(course=CourseRecord(given=(dose,)))
    whole = situation(course=CourseRecord(given=(dose, rest)))

    assert worker_plan(plan(short), short, site(), protocol()).tablets == (
        "Starter pack, 5 days: covers Thu 26 Nov 2026 to Mon 30 Nov 2026",
        "23 days are not covered yet: Tue 1 Dec 2026 to Wed 23 Dec 2026. Fetch the next tablets before",
    )
    assert worker_plan(plan(whole), whole, site(), protocol()).tablets == (
        "Starter pack, 5 days: covers Thu 26 Nov 2026 to Mon 30 Nov 2026",
        "Further supply, 23 days: covers Tue 1 Dec 2026 to Wed 23 Dec 2026",
    )
    assert worker_plan(plan(), situation(), site(), protocol()).tablets == ()


@pytest.mark.parametrize("id_", SHIPPED)
def test_every_action_for_the_worker_has_plain_words(id_: str):
    """Else the clinician's sentence is printed on the worker's plan."""
    actions = {
        rule.outputs["action"]
        for table in (*protocol(id_).tables, *course_tables().tables)
        if table.role == "actions"
        for rule in table.rules
        if rule.outputs["for"] == "worker"
    }

    missing = actions - set(plain_words().actions)
    assert not missing, f"write plain words for them in worker_plan/plain.toml: {sorted(missing)}"


def test_plain_words_cover_every_value_of_a_decision_or_leave_it_out_on_purpose():
    on_purpose = {("stop_hiv_pep", "no"), ("tetanus_immunoglobulin", "no")}
    missing = {
        (decision, value)
        for decision, words in plain_words().decisions.items()
        if decision in protocol().outputs
        for value in protocol().outputs[decision].values
        if value not in words
    }

    assert missing == on_purpose


def test_a_hospital_without_consent_wording_gets_a_space_and_not_our_words():
    made = source_request(plan(), situation(), site(consent_wording=" "), protocol())

    assert not made.consent_is_set
    assert "local policy" in made.consent[0]
    assert source_request(plan(), situation(), site(), protocol()).consent == (
        "May we test your blood? You may say no; your care stays the same.",
    )


@pytest.mark.parametrize("id_", SHIPPED)
def test_every_first_aid_row_is_on_the_card_under_its_own_route(id_: str):
    card = ward_card(site(), protocol(id_), NOW)
    told = {panel.titles: [step.text for step in panel.steps] for panel in card.panels}
    everywhere = [text for texts in told.values() for text in texts]

    for table in protocol(id_).tables:
        for rule in table.rules:
            if rule.outputs.get("topic") == "first_aid":
                assert rule.outputs["text"] in [*everywhere, *(s.text for s in card.always)]
    routes = [title for titles in told for title in titles]
    assert routes
    assert len(routes) == len(set(routes)) <= len(V["route"].values)
    if id_ != "us":
        return
    splash = next(
        panel for panel in card.panels if V["route"].label("mucous_membrane") in panel.titles
    )
    assert {step.only for step in splash.steps} >= {"Eye", "Eye, contact lens", "Mouth", "Nose"}
    assert site().first_aid_notes == card.here


def test_a_protocol_without_first_aid_makes_no_card():
    class Bare:
        id = "bare"
        tables = ()

    with pytest.raises(ValueError, match="no first aid"):
        ward_card(site(), Bare(), NOW)  # type: ignore[arg-type]


@pytest.mark.parametrize("id_", SHIPPED)
def test_the_pack_holds_every_rule_with_its_source_and_standing(id_: str):
    pack = downtime_pack(site(), protocol(id_), NOW)
    printed = {
        (sheet.id, row.rule): (row.source, row.unconfirmed)
        for sheet in pack.sheets
        for row in sheet.rows
    }

    assert printed == {
        (table.id, rule.id): (rule.source, rule.standing != "read")
        for table in protocol(id_).tables
        for rule in table.rules
    }
    assert {s.key for s in pack.sources} == set(protocol(id_).sources)
    for sheet in pack.sheets:
        for row in sheet.rows:
            assert len(row.cells) == len(sheet.inputs)
            assert len(row.outcomes) == len(sheet.outputs)


@pytest.mark.parametrize("id_", SHIPPED)
def test_the_blank_form_asks_everything_that_a_table_looks_at(id_: str):
    pack = downtime_pack(site(), protocol(id_), NOW)
    asked = {blank.question for section in pack.sections for blank in section.blanks}
    looked_at = {c.partition(".")[0] for t in protocol(id_).tables for c in t.inputs}

    assert asked == {V[id_].question for id_ in looked_at if id_ in V}
    for section in pack.sections:
        for blank in section.blanks:
            assert blank.choices or blank.unit


def test_seventy_two_hours_are_told_with_their_own_end_in_the_pack():
    pack = words_in(downtime_pack(site(), protocol(), NOW).to_data())

    assert "72 h or less" in pack
    assert "more than 72 h" in pack


def test_nothing_is_asked_of_the_team_once_it_is_done():
    decided = plan()
    done = tuple(
        replace(a, state=State.DONE, done_at=NOW + timedelta(minutes=1))
        if a.whom == "source"
        else a
        for a in decided.actions
    )

    assert (
        source_request(replace(decided, actions=done), situation(), site(), protocol()).asked == ()
    )
    assert FACTS["source_access"] == "testable"


def test_the_team_is_asked_for_agreement_before_any_sample_and_told_what_may_be_needless():
    open_facts = {k: v for k, v in FACTS.items() if k not in ("source_hbsag", "source_hiv")}
    known = situation(open_facts)
    decided = plan(known)
    asked = source_request(decided, known, site(), protocol()).asked
    kinds = {a.what: (a.kind, a.certain) for a in decided.actions}

    assert kinds[asked[0].what][0] == "ask"
    assert {a.what for a in asked if a.unless_known} == {
        a.what for a in asked if not kinds[a.what][1]
    }
    assert any(a.unless_known for a in asked)


def test_the_ward_card_tells_everybody_to_report_at_once():
    card = ward_card(site(), protocol(), NOW)

    assert any(step.text.startswith("Report it now") for step in card.always)
