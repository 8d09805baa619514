"""When the window of a row opens, is best and closes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, tzinfo
from functools import lru_cache

from thimble.clinical.durations import add, parse
from thimble.ledger.clocks import Moment
from thimble.ledger.plan import Follows, Window
from thimble.ledger.prophylaxis.course import FIRST_DOSE
from thimble.ledger.series import Series
from thimble.ledger.situation import Situation
from thimble.protocol.model import COURSE_CLOCKS

FROM_EXPOSURE = "exposure"
NONE = "-"


def window_of(
    outputs: Mapping[str, str],
    situation: Situation,
    moment: Moment,
    zone: tzinfo,
    instants: Mapping[str, datetime],
    share_within: str,
) -> Window:
    """The window of a row of an action table."""
    counted_from = outputs["counted_from"]
    start: datetime | None
    if counted_from in (FROM_EXPOSURE, NONE):
        start, waits_for = moment.first, ""
    elif counted_from in COURSE_CLOCKS:
        start = instants.get(counted_from)
        waits_for = "" if instants else FIRST_DOSE
    else:
        done = situation.done.get(counted_from)
        start, waits_for = (None, counted_from) if done is None else (done.at, "")
    if start is None:
        return Window(None, None, None, waits_for, follows=_follows(outputs, situation, zone))

    def limit(column: str) -> datetime | None:
        text = outputs[column]
        return None if text == NONE else add(start, _duration(text), zone)

    window = Window(limit("earliest"), limit("target"), limit("latest"), waits_for)
    window = _not_before(window, outputs.get("not_before", NONE), situation, zone)
    if window.target is None or window.latest is not None:
        return window
    if outputs["kind"] == "dose" or window.earliest != window.target:
        # What can be done before its best day shares a visit before it: nobody is left without tablets.
        return replace(window, put_off_to=window.target)
    if not share_within:
        return window
    return replace(window, put_off_to=add(window.target, _duration(share_within), zone))


def counted_from_series(outputs: Mapping[str, str], series: Series | None) -> Mapping[str, str]:
    """A row that counts from the last dose of a series counts from the one that completes it."""
    if series is None or not series.ends_with or outputs["counted_from"] != series.names.last:
        return outputs
    return {**outputs, "counted_from": series.ends_with}


def of_series(id_: str, window: Window, series: Series | None) -> Window:
    """The window of a dose of a series; the first dose keeps its own, and waits until it counts."""
    own = None if series is None else series.windows.get(id_)
    if own is None or series is None:
        return window
    if id_ != series.names.first:
        return own
    opens = own.earliest
    if opens is None or (window.earliest is not None and window.earliest >= opens):
        return window
    target = opens if window.target is None or window.target < opens else window.target
    return replace(window, earliest=opens, target=target, put_off_to=target)


def _follows(outputs: Mapping[str, str], situation: Situation, zone: tzinfo) -> Follows | None:
    """How a row will follow what it waits for; None where it counts in hours."""
    least, most = (
        None if outputs[column] == NONE else _duration(outputs[column])
        for column in ("earliest", "latest")
    )
    if least is None or least.unit == "hours" or (most is not None and most.unit == "hours"):
        return None
    held = _not_before(Window(None, None, None), outputs.get("not_before", NONE), situation, zone)
    opens = held.earliest
    # As for a window: a last instant before the waiting time of another action is over falls away.
    return Follows(least, None if opens is not None else most, opens)


def _not_before(window: Window, cell: str, situation: Situation, zone: tzinfo) -> Window:
    """The window moved behind another action's own waiting time, if that action was done.

    A last instant that would lie before it falls away: what cannot be done in time is not late.
    """
    action, _, duration = cell.partition(" ")
    done = situation.done.get(action)
    if cell == NONE or done is None:
        return window
    opens = add(done.at, _duration(duration), zone)
    if window.earliest is not None and window.earliest >= opens:
        return window
    late = window.latest is not None and window.latest < opens
    target = opens if window.target is None or window.target < opens else window.target
    return Window(opens, target, None if late else window.latest, window.waits_for)


_duration = lru_cache(maxsize=256)(parse)
