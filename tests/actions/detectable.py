"""A needlestick from a source with detectable HIV, reported ten minutes later."""

from ledger.builders import NIGHT, SITE, after, us
from thimble import actions
from thimble.ledger.assess import assess
from thimble.ledger.fold import fold

VOCABULARY = us().vocabulary
RULES = {"protocol": us(), "site": SITE}
DETECTABLE = {
    "route": "percutaneous",
    "fluid": "blood",
    "source_hiv": "positive",
    "source_hiv_load": "detectable",
    "source_hiv_acute_illness": "no",
    "worker_hiv": "negative",
    "worker_on_prep": "no",
}


def opened(store, facts=None, at=None):
    return actions.report(
        store,
        facts=DETECTABLE if facts is None else facts,
        occurred_at=NIGHT,
        occurred_at_precision="minute",
        vocabulary=VOCABULARY,
        now=at or after(minutes=10),
    ).case


def plan(store, case, at):
    return assess(fold(store.entries(case), at, VOCABULARY), us(), at, SITE)
