"""Instants in words, as every screen says them."""

from __future__ import annotations

from datetime import datetime, tzinfo

from thimble.clinical.saying import day, elapsed, minute


def moment(at: datetime, now: datetime | None, zone: tzinfo) -> str:
    """`02:40 · 35 min ago`; `Tue 24 Nov 2026, 23:10 · 3 h 30 min ago`; `14:00 · in 2 h`.

    The day is left out where it is today's. Without `now` there is only day and time.
    """
    local = at.astimezone(zone)
    if now is None:
        return minute(at, zone)
    clock = f"{local:%H:%M}"
    if local.date() != now.astimezone(zone).date():
        clock = f"{day(at, zone)}, {clock}"
    if abs((now - at).total_seconds()) < 60:
        return f"{clock} · just now"
    if at <= now:
        return f"{clock} · {elapsed(at, now)} ago"
    return f"{clock} · in {elapsed(now, at)}"
