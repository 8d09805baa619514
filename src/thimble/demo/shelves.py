"""The shelves of the invented hospital: something low, something that expires soon, one lot recalled."""

from __future__ import annotations

from datetime import datetime, timedelta

from thimble.actions import move_stock
from thimble.demo.stage import Stage
from thimble.ledger.stock.movements import Move, Movement

_MONTH = 30


def fill_shelves(stage: Stage, now: datetime) -> None:
    """Record what was received, moved and counted before `now`. Every lot is invented."""
    today = now.astimezone(stage.site.zone).date()
    by, _ = stage.accounts["nurse"]

    def tell(days_ago: float, move: Move, product: str, **more: object) -> None:
        movement = Movement(move, product, **more)  # type: ignore[arg-type]
        move_stock(
            stage.stock, movement, stocked=stage.site.stocked,
            now=now - timedelta(days=days_ago), by=by,
        )  # fmt: skip

    def received(product: str, place: str, lot: str, count: int, months: float) -> None:
        tell(
            40, Move.RECEIVED, product, place=place, lot=lot, quantity=count,
            expires=today + timedelta(days=round(months * _MONTH)),
        )  # fmt: skip

    received("hiv_starter", "emergency", "QH-2207", 4, 10)
    received("hiv_starter", "emergency", "QH-1988", 1, 1)
    received("hiv_starter", "occupational", "QH-2207", 2, 10)
    received("hiv_rest", "occupational", "QR-0410", 3, 14)
    received("hbv_vaccine", "occupational", "QV-771", 12, 8)
    received("hbv_vaccine", "emergency", "QV-770", 2, 3)
    received("hbv_vaccine", "occupational", "QV-655", 3, 6)
    received("mmr_vaccine", "occupational", "QM-52", 3, 11)
    received("hbig", "emergency", "QI-31", 1, 5)
    received("tetanus_vaccine", "emergency", "QT-18", 5, 18)
    received("tetanus_ig", "emergency", "QG-05", 2, 7)
    for place, product, minimum in (
        ("emergency", "hiv_starter", 3),
        ("occupational", "hiv_rest", 2),
        ("emergency", "hbv_vaccine", 3),
        ("emergency", "hbig", 2),
        ("emergency", "tetanus_ig", 1),
    ):
        tell(39, Move.LEVEL, product, place=place, quantity=minimum)
    tell(
        12,
        Move.MOVED,
        "hiv_starter",
        place="emergency",
        to_place="ward_4",
        lot="QH-2207",
        quantity=1,
    )
    tell(20, Move.COUNTED, "hiv_starter", place="emergency", lot="QH-2207", quantity=3)
    tell(
        12, Move.RECALLED, "hbv_vaccine", lot="QV-655",
        reason="Recalled by the maker in this invented story: the cold chain was broken.",
    )  # fmt: skip
