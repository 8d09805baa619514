"""A site's settings on source patients: whose law, whom to call, how long an identity is kept."""

from __future__ import annotations

from dataclasses import dataclass

from thimble.clinical.durations import Duration, parse
from thimble.clinical.settings import Settings
from thimble.clinical.source_law import NOT_LISTED, jurisdictions


@dataclass(frozen=True, slots=True)
class SourceRules:
    """`registrar` and `registrar_phone` are "" where the site names none; the expert's number then
    stands in. `keep` is None where the site leaves it to the tables. `hold` are references of cases
    whose source is not erased until the site takes them off."""

    jurisdiction: str = NOT_LISTED
    registrar: str = ""
    registrar_phone: str = ""
    keep: Duration | None = None
    hold: tuple[str, ...] = ()


def read_source_rules(read: Settings) -> SourceRules:
    """The table `source_patient`, which may be left out; so may each of its keys."""
    if not read.has("source_patient"):
        read.allow("source_patient")
        return SourceRules()
    table = read.table("source_patient")
    if table is None:
        return SourceRules()
    rules = SourceRules(
        jurisdiction=table.one_of("jurisdiction", jurisdictions())
        if table.has("jurisdiction")
        else NOT_LISTED,
        registrar=table.text("registrar", may_be_empty=True),
        registrar_phone=table.phone("registrar_phone") if table.has("registrar_phone") else "",
        keep=_keep(table),
        hold=table.texts("hold", may_be_empty=True),
    )
    table.allow("jurisdiction", "registrar_phone", "keep_identity")
    if bool(rules.registrar) != bool(rules.registrar_phone):
        table.fault("registrar", "and registrar_phone belong together: give both or neither")
    table.refuse_the_rest()
    return rules


def _keep(table: Settings) -> Duration | None:
    if not table.has("keep_identity"):
        return None
    found = table.text("keep_identity")
    try:
        kept = parse(found)
    except ValueError:
        kept = None
    if kept is None or kept.unit in ("hours", "minutes") or kept.count < 1:
        table.fault(
            "keep_identity",
            f"is a time in days, weeks, months or years, such as P1Y; found {found!r}",
        )
        return None
    return kept
