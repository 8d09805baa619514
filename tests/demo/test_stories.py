"""Each story of the invented hospital plays, at any hour, and shows what it says that it shows."""

from __future__ import annotations

import ast
import inspect
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import thimble.demo
from demo import staging
from demo.staging import tell, tell_all
from thimble.clinical.durations import add, parse
from thimble.clinical.fitness import propose
from thimble.clinical.ladder import SHIPPED_LADDER, load_ladder
from thimble.demo import scene, stories
from thimble.demo.hospital import PASSWORD, STAFF
from thimble.demo.stories import STORIES, Story
from thimble.ledger.bodies import CONTACT_BY
from thimble.ledger.compare import diff
from thimble.ledger.entries import Kind
from thimble.ledger.fitness import fitness_decisions
from thimble.ledger.fold import fold
from thimble.ledger.follow_up.reaching import next_rung
from thimble.ledger.follow_up.visiting import expected
from thimble.ledger.next_thing import next_thing
from thimble.ledger.plan import State
from thimble.ledger.pressing import Group, group_of, to_do, urgency
from thimble.ledger.prophylaxis.course import course_of
from thimble.ledger.verify import verify
from thimble.web.fitness.evidence import offers
from thimble.web.roles import Role

ZONE = ZoneInfo("America/New_York")
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=ZONE)

MOMENTS = [
    *(datetime(2026, 6, 10, hour, 37, tzinfo=ZONE) for hour in range(0, 24, 3)),
    # Clocks go forward on 8 March 2026 at 02:00 and back on 1 November 2026 at 02:00.
    datetime(2026, 3, 8, 1, 59, tzinfo=ZONE),
    datetime(2026, 3, 8, 3, 0, tzinfo=ZONE),
    datetime(2026, 11, 1, 1, 30, tzinfo=ZONE),
    datetime(2026, 11, 1, 1, 30, fold=1, tzinfo=ZONE),
    datetime(2028, 2, 29, 0, 0, tzinfo=ZONE),
    datetime(2028, 2, 29, 23, 59, tzinfo=ZONE),
    datetime(2026, 12, 31, 23, 59, tzinfo=UTC),
    datetime(2027, 1, 1, 0, 0, tzinfo=UTC),
]


@pytest.mark.parametrize("now", MOMENTS, ids=lambda at: at.isoformat())
def test_the_hospital_builds_at_any_hour_and_its_ledger_is_whole(now: datetime) -> None:
    stage, cases = tell_all(now)
    entries = list(stage.store.all_entries())

    assert set(cases) == {story.id for story in STORIES}
    assert len(set(cases.values())) == len(STORIES)
    assert verify(entries) == []
    assert all(entry.recorded_at <= now for entry in entries)
    assert all(entry.happened_at <= entry.recorded_at for entry in entries)
    for story in STORIES:
        told = staging.Told(stage, cases[story.id], now, story)
        assert told.plan.contradictions == ()
        assert told.entries


def test_the_stories_of_all_cases_interleave_on_one_clock() -> None:
    stage, _ = tell_all(NOW)
    entries = list(stage.store.all_entries())

    assert [e.recorded_at for e in entries] == sorted(e.recorded_at for e in entries)
    changes = sum(a.case != b.case for a, b in pairwise(entries))
    assert changes > len(STORIES)


def test_there_are_twelve_cases_or_more_and_each_has_its_own_point() -> None:
    assert len(STORIES) >= 12
    for of in (lambda s: s.id, lambda s: s.title, lambda s: s.shows):
        assert len({of(story) for story in STORIES}) == len(STORIES)


def test_every_entry_comes_from_the_actions() -> None:
    """No story holds a store, a draft or an entry; the scene calls `actions` and nothing else."""
    for module in (scene, stories):
        tree = ast.parse(inspect.getsource(module))
        called = {
            node.func.attr
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        }
        assert "append" not in called
        names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
        assert not names & {"Draft", "Entry", "Kind", "chain"}


def test_staff_of_every_role_can_sign_in_and_the_password_is_strong_enough() -> None:
    assert {member.role for member in STAFF} == set(Role)
    assert len(PASSWORD) >= 12


def test_the_list_in_the_readme_is_the_list_of_stories() -> None:
    readme = Path(thimble.demo.__file__).with_name("README.md").read_text(encoding="utf-8")
    rows = [line for line in readme.splitlines() if line.startswith("| `")]

    assert rows == [f"| `{s.id}` | {s.title} | {s.shows} |" for s in STORIES]


# -- what each one shows ----------------------------------------------------------------------------


def test_just_now_nothing_is_answered_and_the_clock_runs() -> None:
    told = tell("just-now", NOW)

    assert told.kinds == [Kind.REPORTED]
    assert told.value("significance") == "significant"
    assert told.value("hiv_pep") is None
    assert told.plan.questions[0].fact == "source_hiv"
    assert told.action("first_aid").state is State.OPEN
    assert told.action("assess").window.target == NOW + timedelta(minutes=48)


def test_awaiting_hbig_the_window_is_open_and_the_rest_is_signed() -> None:
    told = tell("awaiting-hbig", NOW)
    hbig = told.action("hbig_first_dose")

    assert told.value("hbig_doses") == "1"
    assert hbig.state is State.OPEN
    # 72 kg at 0.06 mL/kg (Immunize.org); no later than 7 days.
    assert hbig.amount == "4.32 mL IM"
    assert hbig.window.latest == NOW - timedelta(hours=5) + timedelta(days=7)
    assert told.action("hbv_vaccine_dose").state is State.DONE
    assert len(told.situation.signed) == 1


def test_source_refuses_and_is_handled_as_unknown() -> None:
    told = tell("source-refuses", NOW)

    assert "refused" in told.situation.source_steps
    assert told.situation.facts["source_access"].value == "refuses"
    assert told.value("hiv_pep") == "expert_decides"
    assert told.reasons() == {"unknown_source"}
    assert "refusal is no evidence of infection" in told.cautions()


def test_late_an_expert_decides() -> None:
    told = tell("late", NOW)

    assert told.value("hiv_pep") == "expert_decides"
    assert told.reasons() == {"late_report"}
    assert told.action("hiv_expert_advice").state is State.OPEN
    # A dose can be recorded, once the clinician has decided on one; nothing promises it before.
    assert told.action("hiv_pep_first_dose").window.waits_for == "hiv_pep_decision"


def test_pregnant_the_dose_came_before_the_call() -> None:
    told = tell("pregnant", NOW)
    dose, call = told.action("hiv_pep_first_dose"), told.action("hiv_course_advice")

    assert told.value("hiv_pep") == "recommended"
    assert told.reasons() == {"pregnancy"}
    assert dose.done_at is not None
    assert call.done_at is not None
    assert dose.done_at < call.done_at


def test_splash_is_rinsed_and_followed_for_hepatitis_c() -> None:
    told = tell("splash", NOW)

    assert told.situation.facts["contact_lens"].value == "yes"
    assert "lens" in told.cautions().lower()
    assert told.value("hcv_follow_up") == "full"
    assert told.value("hcv_follow_up_test") == "antibody_and_rna"
    ids = {action.id for action in told.plan.actions if action.certain}
    assert {"follow_up_hcv_rna", "follow_up_hcv_antibody"} <= ids


def test_bite_both_people_are_judged_and_tetanus_is_given() -> None:
    told = tell("bite", NOW)

    assert (told.value("tetanus_vaccine"), told.value("tetanus_immunoglobulin")) == ("yes", "yes")
    assert told.action("tetanus_immunoglobulin_dose").state is State.DONE
    assert "judge the biter too" in told.cautions()
    assert {"consented", "sampled"} <= set(told.situation.source_steps)


def test_needle_in_a_bin_unknown_stays_unknown() -> None:
    told = tell("needle-in-a-bin", NOW)

    assert told.value("significance") == "significant"
    assert told.value("hiv_pep") == "expert_decides"
    assert "Do not test the needle" in told.cautions()
    # The titre was drawn and is awaited: until then both answers stay possible.
    assert told.action("anti_hbs_now").state is State.DONE
    assert set(told.plan.findings["hbig_doses"].possible) == {"0", "1"}
    assert [q.fact for q in told.plan.questions] == ["worker_anti_hbs_now"]


def test_source_turned_negative_stops_prophylaxis_and_says_what_changed() -> None:
    told = tell("source-turned-negative", NOW)
    began = NOW - told.story.ago
    night, morning = (told.plan_as_of(began + timedelta(hours=h)) for h in (8, 9.5))
    change = diff(night, morning)

    assert night.findings["hiv_pep"].value == "recommended"
    assert morning.findings["hiv_pep"].value == "not_indicated"
    assert ("hiv_pep", "recommended", "not_indicated") in {
        (d.decision, d.before, d.after) for d in change.decisions
    }
    assert "follow_up_hiv_12w" in {action.id for action in change.no_longer_needed}
    assert told.action("stop_hiv_pep").state is State.DONE
    assert told.action("follow_up_hiv_12w").state is State.NO_LONGER_NEEDED


def test_closed_all_clear_has_nothing_left() -> None:
    told = tell("closed-all-clear", NOW)
    left = [
        action.id
        for action in told.plan.actions
        if action.certain
        and action.state in {State.OPEN, State.LATE}
        and not action.window.waits_for
    ]

    assert told.situation.closed_reason == "all_clear"
    assert left == []
    assert Kind.RESULT_RECEIVED in told.kinds
    rna = told.action("follow_up_hcv_rna")
    # HCV RNA at 3 to 6 weeks (Moorman et al. 2020), and so it was drawn.
    assert rna.done_at is not None
    assert rna.window.earliest is not None
    assert rna.window.latest is not None
    assert rna.window.earliest <= rna.done_at <= rna.window.latest


def test_intact_skin_is_no_exposure() -> None:
    told = tell("intact-skin", NOW)

    assert told.value("significance") == "not_significant"
    assert told.situation.closed_reason == "not_significant"
    assert told.situation.closed_at is not None
    assert told.situation.closed_at - (NOW - told.story.ago) < timedelta(hours=1)


def test_kidney_the_clearance_is_computed_and_the_caution_follows() -> None:
    told = tell("kidney", NOW)

    # Cockcroft–Gault: (140 - 62) x 58 kg / (72 x 1.6 mg/dL) = 39.3 mL/min.
    assert "39" in told.plan.computed["worker_creatinine_clearance"]
    assert "Clearance 30 to below 50 mL/min" in told.cautions()
    assert {"kidney_disease", "suppressed_source"} <= told.reasons()


def test_second_hbig_counts_from_the_first() -> None:
    told = tell("second-hbig", NOW)
    first, second = told.action("hbig_first_dose"), told.action("hbig_second_dose")

    assert told.value("hbig_doses") == "2"
    assert first.done_at is not None
    # ACIP 2018, row US-2a: two doses one month apart.
    assert second.window.earliest == add(first.done_at, parse("P1M"), ZONE)
    assert second.state is State.OPEN
    assert second.amount == "3.48 mL IM"
    assert told.situation.departures[0].subject == "hiv_pep"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        # Told on 24 February 2027 the first dose was on 31 January: February ends the month.
        (date(2027, 1, 31), date(2027, 2, 28)),
        (date(2028, 1, 30), date(2028, 2, 29)),
        (date(2026, 11, 1), date(2026, 12, 1)),
    ],
)
def test_the_second_dose_falls_on_the_same_day_of_the_next_month(first: date, second: date) -> None:
    now = datetime(first.year, first.month, first.day, 12, 0, tzinfo=ZONE) + timedelta(days=24)
    window = tell("second-hbig", now).action("hbig_second_dose").window

    assert window.earliest is not None
    assert window.earliest.astimezone(ZONE).date() == second


def test_cannot_be_known_stays_open_and_is_not_asked_again() -> None:
    told = tell("cannot-be-known", NOW)

    assert told.plan.undecidable["hbig_doses"] == ("worker_hbv_series",)
    assert "worker_hbv_series" not in {q.fact for q in told.plan.questions}
    assert len(told.plan.findings["hbig_doses"].possible) > 1


def test_corrected_the_history_keeps_both_and_the_plan_follows_the_truth() -> None:
    told = tell("corrected", NOW)
    began = NOW - told.story.ago

    assert Kind.CORRECTED in told.kinds
    assert told.entries[0].body["facts"]["fluid"] == "urine"
    assert told.situation.facts["fluid"].value == "bloody_fluid"
    before = told.plan_as_of(began + timedelta(minutes=30))
    assert before.findings["significance"].value == "not_significant"
    assert told.value("significance") == "significant"


def test_did_not_come_the_next_step_is_to_write_after_a_call_in_vain() -> None:
    told = tell("did-not-come", NOW)

    site = told.stage.site
    today = NOW.astimezone(site.zone).date()
    rung = next_rung(
        told.situation,
        expected(told.plan, told.situation, today),
        load_ladder(SHIPPED_LADDER, CONTACT_BY),
        site.zone,
    )
    assert rung is not None
    assert (rung.step, rung.due < today) == ("write", True)
    assert rung.missed == told.situation.follow_up.visits[0].day
    assert told.situation.follow_up.agreements == {"email": True}


def test_every_story_has_a_test_of_what_it_shows() -> None:
    source = Path(__file__).read_text(encoding="utf-8")

    for story in STORIES:
        assert f'tell("{story.id}", NOW)' in source, story.id


def test_a_step_that_does_not_play_is_named() -> None:
    broken = stories.Story(
        "broken",
        "t",
        "s",
        timedelta(hours=1),
        [(timedelta(0), lambda s: s.sign())],
    )
    with pytest.raises(RuntimeError, match="'broken' does not play"):
        tell_all(NOW, [broken])


@pytest.mark.parametrize("hours", [1, 5, 30, 72, 77, 200, 1500])
@pytest.mark.parametrize("story", STORIES, ids=lambda story: story.id)
def test_the_case_and_the_worklist_name_the_same_thing_first(story: Story, hours: int) -> None:
    """From an hour after the report to two months later: no two screens send people two ways."""
    told = tell(story.id, NOW)
    now = told.entries[0].recorded_at + timedelta(hours=hours)
    situation, plan = fold(told.entries, now, told.stage.protocol.vocabulary), told.plan_as_of(now)
    doing = next_thing(plan, situation, now, told.stage.protocol.vocabulary)

    open_actions = to_do(plan)
    assert list(open_actions) == sorted(open_actions, key=lambda action: urgency(action, now))
    if doing.action:
        assert doing.action == open_actions[0].id
    else:
        assert not any(group_of(action, now) is not Group.AHEAD for action in open_actions)


@pytest.mark.parametrize("id_", ["source-refuses", "needle-in-a-bin"])
def test_a_review_that_was_missed_does_not_hide_the_decision_on_prophylaxis(id_: str) -> None:
    told = tell(id_, NOW)
    now = NOW - told.story.ago + timedelta(hours=73)
    plan = told.plan_as_of(now)

    open_ids = [action.id for action in to_do(plan)]
    assert "hiv_pep_decision" in open_ids
    assert open_ids.index("hiv_pep_decision") < open_ids.index("review_72h")


def test_immunoglobulin_with_days_left_stands_before_the_review_that_was_missed() -> None:
    told = tell("awaiting-hbig", NOW)
    now = NOW - told.story.ago + timedelta(hours=77)

    assert told.plan_as_of(now).actions[0].id == "hbig_first_dose"


def test_course_in_progress_awaits_an_answer_and_has_tablets_for_two_more_days() -> None:
    told = tell("course-in-progress", NOW)
    course = course_of(told.situation, "us", NOW, told.stage.site.zone)
    open_ids = {action.id for action in told.plan.actions if action.state is State.OPEN}

    assert course is not None
    assert (course.day, course.missed, course.facts["side_effects"]) == (9, 1, "moderate")
    assert course.days_left(NOW, told.stage.site.zone) == 2
    assert {"pep_next_supply", "pep_bloods_2w", "pep_missed_advice"} <= open_ids
    assert any(id_.startswith("expert_answer_") for id_ in open_ids)
    assert "pep_side_effect_advice" not in open_ids
    moved = [m for m in told.stage.stock.movements() if m.case == told.case]
    assert [(m.place, m.lot) for m in moved] == [
        ("emergency", "QH-2207"), ("occupational", "QH-2207"),
    ]  # fmt: skip


def test_fit_for_theatre_is_decided_by_a_named_rule_set_on_results_that_are_on_record() -> None:
    told = tell("fit-for-theatre", NOW)
    zone = told.stage.site.zone
    (decision,) = fitness_decisions(told.entries, NOW)

    assert (decision.outcome, decision.restriction) == ("fit", "none")
    assert (decision.rule_set, decision.reason) == ("us_shea_2020", "")
    assert decision.review_on is not None
    assert not decision.due(NOW.date())
    # As proposed, and what it rests on is what the page offers from the record.
    body = told.entries[decision.entry - 1].body
    assert body["proposed"] == {"outcome": "fit", "restriction": "none"}
    answered = {f: v for o in offers(told.situation, None, NOW, zone) for f, v in o.facts.items()}
    assert {"hbsag", "hbv_dna", "anti_hcv"} <= answered.keys()
    assert {f: decision.facts[f] for f in answered if f in decision.facts} == {
        f: v for f, v in answered.items() if f in decision.facts
    }
    # Under another rule set the same load is a restriction: that is why the rule set is named.
    stricter = propose({**decision.facts, "rule_set": "uk_2023"}, {}, NOW.date())
    assert stricter.restriction.value == "no_exposure_prone"
