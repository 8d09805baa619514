"""What a certificate states, in terms of work alone: fixed words, so that nothing clinical can be typed."""

from __future__ import annotations

import re
from dataclasses import dataclass

from thimble.ledger.bodies import FITNESS_RESTRICTIONS
from thimble.people import choices

RESTRICTIONS = FITNESS_RESTRICTIONS
"""A restriction in terms of work, `none` among them."""

NOT_STATED, CLEARED = "not_stated", "cleared"

NUMBER = re.compile(r"C-[2-9A-Z]{4}-[2-9A-Z]{4}")
"""The number of a certificate, as written."""

_PRONE = re.compile(r"cleared(?::(?P<scheme>[a-z0-9_]+):(?P<category>[0-9IV]+))?")


@dataclass(frozen=True, slots=True)
class Statement:
    """What somebody is cleared for.

    Args:
        restriction: an id of `RESTRICTIONS`.
        exposure_prone: `not_stated`; `cleared`; or `cleared:SCHEME:CATEGORY` with a scheme and a category
            of `choices.SCHEMES`.

    Raises:
        ValueError: the parts are none of these, or contradict each other. One sentence.
    """

    restriction: str = "none"
    exposure_prone: str = NOT_STATED

    def __post_init__(self) -> None:
        """Refuse what cannot be said in words of work."""
        if self.restriction not in RESTRICTIONS:
            raise ValueError(
                f"a restriction is one of {', '.join(RESTRICTIONS)}; found {self.restriction!r}"
            )
        if self.exposure_prone == NOT_STATED:
            return
        found = _PRONE.fullmatch(self.exposure_prone)
        scheme = found["scheme"] if found else None
        if found is None or (
            scheme and found["category"] not in choices.SCHEMES.get(scheme, ("", ()))[1]
        ):
            raise ValueError(
                "exposure_prone is not_stated, cleared, or cleared with a scheme and its category, such as "
                f"cleared:uk:3; found {self.exposure_prone!r}"
            )
        if self.restriction != "none":
            raise ValueError(
                "nobody is cleared for exposure-prone procedures and restricted from them at once"
            )

    @property
    def standard(self) -> bool:
        """Whether it says nothing that only a physician decides."""
        return self == Statement()

    @property
    def words(self) -> str:
        """The result, without a full stop."""
        if self.restriction == "none":
            return "Cleared for work with patients"
        return (
            f"Cleared for work with patients, with a restriction: {RESTRICTIONS[self.restriction]}"
        )

    @property
    def about_exposure_prone(self) -> str:
        """What is said of exposure-prone procedures, or "" where nothing is.

        >>> Statement(exposure_prone="cleared:uk:3").about_exposure_prone
        'Cleared for exposure-prone procedures, United Kingdom category 3'
        """
        found = _PRONE.fullmatch(self.exposure_prone)
        if found is None:
            return ""
        said = "Cleared for exposure-prone procedures"
        if found["scheme"] is None:
            return said
        return f"{said}, {choices.SCHEMES[found['scheme']][0]} category {found['category']}"
