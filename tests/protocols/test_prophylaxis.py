"""The tables of a course as a whole: proved, covered by their own cases, in step with the plan."""

from __future__ import annotations

from thimble.clinical.library import protocol, shipped
from thimble.clinical.prophylaxis import course_days, put, tables, vocabulary
from thimble.ledger.bodies import BASELINE_BLOODS, SEVERITIES
from thimble.ledger.prophylaxis.course import COURSE_ACTIONS
from thimble.protocol import check_protocol


def test_the_tables_are_proved_and_their_cases_come_out():
    assert check_protocol(tables()) == ()


def test_every_rule_is_fired_by_a_case_of_the_folder():
    fired = set()
    for case in tables().cases:
        answer = put(case.facts)
        for finding in answer.findings.values():
            fired |= {reason.rule for reason in finding.because}
        for items in answer.items.values():
            fired |= {reason.rule for item in items if item.certain for reason in item.because}

    assert {rule.id for table in tables().tables for rule in table.rules} - fired == set()


def test_every_protocol_of_a_site_has_a_course_and_its_actions_meet_none_of_the_plan():
    of_course = {rule.outputs["action"] for rule in tables().table(COURSE_ACTIONS).rules}

    for name in shipped():
        assert course_days(name) == 28
        own = {
            rule.outputs["action"]
            for table in protocol(name).tables
            if table.role == "actions"
            for rule in table.rules
        }
        assert not own & of_course


def test_the_ledger_and_the_tables_know_the_same_words():
    words = vocabulary()

    assert set(SEVERITIES) | {"none_recorded"} == set(words["side_effects"].values)
    assert set(BASELINE_BLOODS) == set(words["baseline_bloods"].values)
    assert {*shipped(), "other"} == set(words["guideline"].values)
