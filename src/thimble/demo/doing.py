"""How each kind of action of a plan is carried out."""

from __future__ import annotations

from thimble import actions
from thimble.demo.stage import Moment
from thimble.ledger.plan import Action
from thimble.ledger.prophylaxis.record import STOP


def carry_out(moment: Moment, action: Action) -> None:
    """Record that an action was done, as whoever does it would."""
    told, store, case = moment.told, moment.stage.store, moment.case
    if action.id == "assess":
        actions.assessed(store, case, **told)
    elif action.kind == "sample":
        actions.take_sample(store, case, action.id, **told)
    elif action.kind == "dose":
        product = moment.doses.get(action.id, "invented product")
        actions.give_dose(
            store, case, action.id, product=product, amount=action.amount,
            batch="DEMO-01", **told,
        )  # fmt: skip
    elif action.kind == "ask":
        actions.ask_source(store, case, action=action.id, **told)
    elif action.id == STOP:
        actions.stop_course(store, case, reason="source_negative", action=action.id, **told)
    elif action.kind == "advice":
        actions.seek_advice(
            store, case, action=action.id, of=moment.stage.site.expert_phone.name,
            advice="Told of the facts; agrees with the plan.", **told,
        )  # fmt: skip
    elif action.kind == "first_aid":
        actions.give_first_aid(store, case, steps=["as shown"], action=action.id, **told)
    else:
        actions.counsel(store, case, action.id, **told)
