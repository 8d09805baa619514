"""What can have happened, as a worker says it, and the facts that each choice states."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thimble.protocol.vocabulary import Value


@dataclass(frozen=True, slots=True)
class Choice:
    """One door of the first page. `facts` are what the choice itself says, no more."""

    slug: str
    label: str
    hint: str
    icon: str
    facts: Mapping[str, Value]


CHOICES = (
    Choice(
        "needle-or-sharp",
        "Needle or other sharp",
        "Stuck, cut or scratched through the skin",
        "needle",
        {"route": "percutaneous"},
    ),
    Choice(
        "eye",
        "Splash in the eye",
        "Also with glasses or lenses",
        "eye",
        {"route": "mucous_membrane", "splash_site": "eye"},
    ),
    Choice(
        "mouth",
        "Splash in the mouth",
        "Or on the lips",
        "mouth",
        {"route": "mucous_membrane", "splash_site": "mouth"},
    ),
    Choice(
        "nose",
        "Splash in the nose",
        "On the inner lining",
        "nose",
        {"route": "mucous_membrane", "splash_site": "nose"},
    ),
    Choice(
        "broken-skin",
        "On broken skin",
        "A cut, hangnail, rash or chapped skin",
        "broken",
        {"route": "non_intact_skin"},
    ),
    Choice(
        "intact-skin",
        "On intact skin",
        "No cut, no rash that you can see",
        "skin",
        {"route": "intact_skin"},
    ),
    Choice("bite", "Human bite", "Skin broken or not", "bite", {"route": "human_bite"}),
    Choice("other", "Another way, or not sure", "You need not know the word", "other", {}),
)

BY_SLUG: Mapping[str, Choice] = {choice.slug: choice for choice in CHOICES}


@dataclass(frozen=True, slots=True)
class Reached:
    """One place that blood can have reached, for whoever does not know the word for it. Places with
    the same `begins` may share one heading: "If it went in the mouth or the nose"."""

    begins: str
    place: str
    ways: tuple[tuple[str, Mapping[str, Value]], ...]
    """The ways that it can have come there, in a word each, and the facts that each states."""


_IN = "If it went in "
REACHED = (
    Reached(
        "If ",
        "the skin was broken",
        (
            ("needle, cut", {"route": "percutaneous"}),
            ("broken skin", {"route": "non_intact_skin"}),
            ("bite", {"route": "human_bite"}),
        ),
    ),
    Reached(_IN, "the eye", (("eye", {"route": "mucous_membrane", "splash_site": "eye"}),)),
    Reached(_IN, "the mouth", (("mouth", {"route": "mucous_membrane", "splash_site": "mouth"}),)),
    Reached(_IN, "the nose", (("nose", {"route": "mucous_membrane", "splash_site": "nose"}),)),
    Reached(
        _IN, "anywhere else", (("elsewhere", {"route": "mucous_membrane", "splash_site": "other"}),)
    ),
    Reached("If ", "the skin was whole", (("whole skin", {"route": "intact_skin"}),)),
)
"""Every route and every place of a splash; what bleeds and the eye come first."""
