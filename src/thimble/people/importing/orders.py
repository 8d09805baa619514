"""Columns whose dates contradict each other, or the answer, about which of day and month is first."""

from __future__ import annotations

from collections.abc import Iterator

from thimble.exchange.sheets import Sheet
from thimble.exchange.sheets.model import column_name
from thimble.people.dates import Order, order_of
from thimble.people.importing.columns import Columns
from thimble.people.importing.evidence_columns import DAY, DOSE

_DAYS = ("birth_date", "starts_on", "ends_on", "date")
_WORDS = {"day_first": "day first", "month_first": "month first"}


def contradictions(sheet: Sheet, columns: Columns) -> tuple[str, ...]:
    """A caution, in sentences, for every column with dates that can only be read in one order and others
    that can only be read in the other, or with none but such as contradict the answer: its dates that can
    be read in two ways are not to be trusted."""
    days = (c for c, name in sorted(columns.fields.items()) if _holds_days(name))
    return tuple(told for column in days for told in _of(sheet, columns, column))


def _holds_days(name: str) -> bool:
    return name in _DAYS or name.startswith((DAY, DOSE))


def _of(sheet: Sheet, columns: Columns, column: int) -> Iterator[str]:
    shown: dict[Order, str] = {}
    for number in sheet.rows:
        cell = sheet.cell(number, column)
        if number > columns.header and cell.kind == "text" and (order := order_of(cell.text)):
            shown.setdefault(order, f"{column_name(column)}{number}, {cell.text}")
    if len(shown) == 2:
        what = (
            f"has dates with the day first ({shown['day_first']}) and with the month first "
            f"({shown['month_first']})"
        )
    elif columns.order is not None and shown and columns.order not in shown:
        ((order, where),) = shown.items()
        what = f"has dates with the {_WORDS[order]} ({where}), and you said {_WORDS[columns.order]}"
    else:
        return
    rest = (
        "those that can be read in two ways are refused"
        if columns.order is None
        else f"those that can be read in two ways are read with the {_WORDS[columns.order]}"
    )
    yield f"Column {column_name(column)} {what}: {rest}. Look at them before anything is written."
