"""What changed between two plans, and the one next thing of a case."""

from dataclasses import replace
from datetime import timedelta

import pytest

from ledger.builders import after, us
from thimble.ledger.compare import diff, fingerprint
from thimble.ledger.next_thing import next_thing
from thimble.ledger.plan import Action, Caution, Plan, State, Window
from thimble.protocol.finding import Finding, Question

NOW = after(2)
NO_WINDOW = Window(None, None, None)


def action(id_="a", **more):
    base = Action(id_, f"Do {id_}", "sample", "worker", NO_WINDOW, State.OPEN, True, ())
    return replace(base, **more)


def plan(*actions, **more):
    base = Plan(NOW, "us", "1", "ab" * 32, {}, (), tuple(actions), (), {}, (), {})
    return replace(base, **more)


def finding(value, *possible):
    return Finding("hiv_pep", value, possible or (value,))


# -- what changed ---------------------------------------------------------------------------------


def test_equal_plans_have_no_change_at_another_moment_either():
    before = plan(action())
    assert not diff(before, replace(before, now=after(3)))
    assert diff(before, before).words(us().outputs) == ()


@pytest.mark.parametrize(
    ("before", "after_", "words"),
    [
        (plan(), plan(action()), "New: Do a"),
        (plan(), plan(action(amount="4.2 mL IM")), "New: Do a (4.2 mL IM)"),
        (plan(action(certain=False)), plan(action()), "Now certain: Do a"),
        (plan(action()), plan(action(what="Do it otherwise")), "Changed: Do it otherwise"),
        (plan(action()), plan(action(amount="4.2 mL IM")), "Changed: Do a (4.2 mL IM)"),
        (plan(action()), plan(action(state=State.DONE)), "Done: Do a"),
        (plan(), plan(action(state=State.DONE)), "Done: Do a"),
        (plan(action()), plan(action(state=State.DEPARTED)), "Departed from: Do a"),
        (plan(action()), plan(action(state=State.LATE)), "Late: Do a"),
        (plan(action()), plan(), "No longer needed: Do a"),
        (plan(action()), plan(action(state=State.NO_LONGER_NEEDED)), "No longer needed: Do a"),
        (plan(action(certain=False)), plan(), "Ruled out: Do a"),
        (plan(action(state=State.NO_LONGER_NEEDED)), plan(action()), "New: Do a"),
        (plan(), plan(cautions=(Caution("hiv", "Mind it.", True, ()),)), "Caution: Mind it."),
        (plan(), plan(contradictions=("They clash.",)), "They clash."),
        (
            plan(findings={"hiv_pep": finding(None, "recommended", "not_indicated")}),
            plan(findings={"hiv_pep": finding("not_indicated")}),
            "HIV prophylaxis: Not indicated (before: open)",
        ),
        (
            plan(findings={"hiv_pep": finding("not_indicated")}),
            plan(findings={"hiv_pep": finding(None, "recommended", "not_indicated")}),
            "HIV prophylaxis: open (before: Not indicated)",
        ),
    ],
)
def test_each_change_is_said_once_and_alters_the_fingerprint(before, after_, words):
    assert diff(before, after_).words(us().outputs) == (words,)
    assert fingerprint(before) != fingerprint(after_)


def test_an_action_that_waited_for_the_protocol_to_say_done_is_not_new():
    before, then = plan(action(state=State.DONE)), plan(action(state=State.DONE))
    assert not diff(before, then)


# -- the next thing -------------------------------------------------------------------------------


def window(earliest=None, target=None, latest=None, waits_for=""):
    def at(hours):
        return None if hours is None else NOW + timedelta(hours=hours)

    return Window(at(earliest), at(target), at(latest), waits_for)


def words(*actions, **more):
    return next_thing(plan(*actions, **more), us().vocabulary).words


def test_the_window_that_closes_first_comes_first():
    one = action("one", window=window(latest=9))
    other = action("other", window=window(latest=5))
    assert words(one, other) == "Do other: 5 h left"
    assert next_thing(plan(one, other), us().vocabulary).closes_at == NOW + timedelta(hours=5)


def test_a_target_comes_before_the_last_instant_and_is_said():
    dose = action("dose", window=window(-2, 1, 70))
    test = action("test", window=window(-2, None, 5))
    assert words(dose, test) == "Do dose: 1 h to the target, 2 days left"
    missed = action("dose", window=window(-2, -1, 70))
    assert words(missed, test) == "Do dose: 2 days left, past the target"


def test_what_is_late_comes_first_and_says_so():
    late = action("late", window=window(latest=-3), state=State.LATE)
    assert words(action("b", window=window(latest=1)), late) == "Do late: 3 h late"


def test_what_opens_later_comes_after_what_has_no_limit():
    later = action("later", window=window(earliest=30, latest=60))
    assert words(later, action("now")) == "Do now"
    assert words(later) == "Do later: opens in 30 h"


def test_what_waits_or_is_done_or_departed_is_no_next_thing():
    waiting = action("waiting", window=window(waits_for="other"))
    done = action("done", state=State.DONE)
    gone = action("gone", state=State.NO_LONGER_NEEDED)
    assert words(waiting, done, gone, action("left", state=State.DEPARTED)) == "Nothing to do now"


def test_a_possible_action_is_put_as_the_question_that_decides_it():
    maybe = action("hbig", window=window(latest=5), certain=False, open_facts=("source_hbsag",))
    questions = (Question("worker_hiv", ("hiv_pep",)), Question("source_hbsag", ("hbig_doses",)))
    found = next_thing(plan(maybe, questions=questions), us().vocabulary)
    asked = us().vocabulary["source_hbsag"].question
    assert found.words == f"{asked} It decides: Do hbig: 5 h left"
    assert (found.action, found.question) == (maybe, questions[1])
    # A certain one with the same limit goes first.
    sure = action("sure", window=window(latest=5))
    assert words(maybe, sure, questions=questions) == "Do sure: 5 h left"


def test_without_actions_the_first_question_is_next():
    assert (
        words(questions=(Question("route", ("significance",)),))
        == us().vocabulary["route"].question
    )


def test_a_possible_action_that_no_question_can_settle_does_not_hide_a_certain_one():
    maybe = action("maybe", window=window(latest=1), certain=False, open_facts=("worker_weight",))
    assert words(maybe, action("sure")) == "Do sure"
    assert words(maybe) == "Nothing to do now"
