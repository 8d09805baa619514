"""A table of counts that can be shown without showing anybody: small counts are kept back.

A count from 1 to 9 is not shown, nor can it be computed from what is. Categories with small counts are
put together, with those that are empty, and only their sum is shown. Where that sum would still give a
count away, the next smallest category joins them. What could be computed is bounded as by somebody
who knows this method, the total, and which categories were small; each hidden count must keep a range.

Source of the rule: counts 1 to 9 are suppressed, with complementary suppression so that they cannot be
recovered (Washington State Department of Health, small-number standard, 2018; the same bounds are in
use elsewhere). Rates are not shown at all: there are no denominators.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

THRESHOLD = 10
"""The smallest count that is shown, but for 0 where no category is small."""


@dataclass(frozen=True, slots=True)
class Published:
    """What may be shown of a table.

    `total` is None where it is itself small. `shown` are categories with their counts, in the order
    given; `together` are categories of which only the sum, `sum_together`, is shown. With
    `sum_together` None nothing but the total is shown.
    """

    total: int | None
    shown: tuple[tuple[str, int], ...]
    together: tuple[str, ...]
    sum_together: int | None


def publish(counts: Mapping[str, int], threshold: int = THRESHOLD) -> Published:
    """The table that may be shown for these counts.

    Raises:
        ValueError: a negative count, or a threshold below 2.
    """
    if any(count < 0 for count in counts.values()):
        raise ValueError("a count is 0 or more")
    if threshold < 2:
        raise ValueError(f"a threshold is 2 or more; found {threshold}")
    total = sum(counts.values())
    if 0 < total < threshold:
        return Published(None, (), tuple(counts), None)
    small = [name for name, count in counts.items() if 0 < count < threshold]
    if not small:
        return Published(total, tuple(counts.items()), (), None)
    hidden = [name for name, count in counts.items() if count < threshold]
    joined: list[str] = []
    others = sorted((n for n in counts if n not in hidden), key=lambda n: counts[n])
    while not _safe(counts, hidden, joined, others, threshold):
        if not others:
            break
        joined.append(others.pop(0))
    if not others:
        return Published(total, (), tuple(counts), None)
    group = {*hidden, *joined}
    return Published(
        total=total,
        shown=tuple((name, count) for name, count in counts.items() if name not in group),
        together=tuple(name for name in counts if name in group),
        sum_together=sum(counts[name] for name in group),
    )


def _safe(
    counts: Mapping[str, int],
    hidden: Sequence[str],
    joined: Sequence[str],
    others: Sequence[str],
    threshold: int,
) -> bool:
    """Whether every count of the group keeps a range, whatever somebody knows of the method.

    They know that each of `hidden` lies below the threshold, and that each of `joined` lies between
    the threshold and the smallest count that is shown.
    """
    summed = sum(counts[name] for name in (*hidden, *joined))
    if len(hidden) + len(joined) < 2 or summed < threshold:
        return False
    least, most = 0, threshold - 1
    most_joined = min((counts[name] for name in others), default=summed)
    width = threshold // 2
    rest_low = least * (len(hidden) - 1) + threshold * len(joined)
    rest_high = most * (len(hidden) - 1) + most_joined * len(joined)
    if min(most, summed - rest_low) - max(least, summed - rest_high) < width:
        return False
    if not joined:
        return True
    rest_low = least * len(hidden) + threshold * (len(joined) - 1)
    rest_high = most * len(hidden) + most_joined * (len(joined) - 1)
    return min(most_joined, summed - rest_low) - max(threshold, summed - rest_high) >= width
