"""What changed between two plans."""

from dataclasses import replace

import pytest

from ledger.builders import after, us
from thimble.ledger.compare import diff, fingerprint
from thimble.ledger.plan import Action, Caution, Plan, State, Window
from thimble.protocol.finding import Finding

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
