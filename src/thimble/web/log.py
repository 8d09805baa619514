"""One line an event: what, which case, which account. Never a name, an address or typed text."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime

_EVENTS = logging.getLogger("thimble.events")


def event(name: str, *, case: str = "", account: str = "", **numbers: int) -> None:
    """Write one event. `numbers` are counts or entry numbers; text has no place here."""
    _EVENTS.info(name, extra={"case": case, "account": account, "numbers": numbers})


class Line(logging.Formatter):
    """A log record as one JSON object on one line."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        for name in ("case", "account"):
            if value := getattr(record, name, ""):
                line[name] = value
        line.update(getattr(record, "numbers", {}))
        if failure := getattr(record, "failure", ""):
            line["failure"] = failure
        return json.dumps(line, ensure_ascii=False)


class NoIdentities(logging.Filter):
    """Keeps what Django would write about a request out of the log.

    A traceback prints values (a name in a database error), a path may hold what a person typed: of
    a failure there remain its type and the place in the code.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        if record.exc_info and record.exc_info[0]:
            kind, _, trace = record.exc_info
            while trace is not None and trace.tb_next is not None:
                trace = trace.tb_next
            where = ""
            if trace is not None:
                code = trace.tb_frame.f_code
                where = f" at {code.co_name}:{trace.tb_lineno}"
            record.failure = f"{kind.__name__}{where}"
            record.exc_info = None
            record.exc_text = None
        if record.name.startswith("django"):
            status = getattr(record, "status_code", "")
            record.msg = f"{record.name} {status}".strip()
            record.args = ()
            record.stack_info = None
        if record.name.startswith("gunicorn"):
            _of_the_server(record)
        return True


def _of_the_server(record: logging.LogRecord) -> None:
    """What gunicorn says of itself stays; what it says of a request names its path or address."""
    failure = getattr(record, "failure", "")
    if failure or str(record.msg).startswith(("Error handling request", "Invalid request")):
        words = " ".join(str(record.msg).split()[:3]) if isinstance(record.msg, str) else ""
        record.msg = " ".join(
            part for part in (record.name, _KNOWN.get(words, ""), failure) if part
        )
        record.args = ()


_KNOWN = {
    "Error handling request": "error handling request",
    "Invalid request from": "invalid request",
}
