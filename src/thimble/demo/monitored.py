"""Somebody of the invented register who is monitored without any exposure."""

from __future__ import annotations

from datetime import datetime, timedelta

from thimble import actions
from thimble.actions import people as acts

FACTS = {
    "rule_set": "us_shea_2020",
    "occasion": "clearance",
    "exposure_prone": "yes",
    "panel": "agreed",
    "hbsag": "positive",
    "hbv_dna_reported": "number",
    "hbv_dna": 35.0,
    "hbv_treatment": "on",
    "anti_hcv": "negative",
    "hiv": "negative",
}


def build(store: acts.People, person: str, by: str, role: str, now: datetime) -> None:
    """Monitor a person as of `now`, on behalf of the physician's account: the next sample is due soon."""
    today = now.date()
    actions.decide_fitness_of_person(
        store, person, actions.FitnessVerdict("fit", "none", today + timedelta(days=90), ""), facts=FACTS,
        days={"hbv_sample": today - timedelta(weeks=25)}, today=today, now=now, by=by, role=role,
    )  # fmt: skip
