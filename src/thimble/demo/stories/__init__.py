"""The cases of the invented hospital. Each shows one thing; `demo/README.md` lists them.

A story says how long ago the exposure was and what happened how long after it. Nobody in it exists.
"""

from thimble.demo.stories.exposures import (
    BITE,
    CORRECTED,
    INTACT_SKIN,
    JUST_NOW,
    NEEDLE_IN_A_BIN,
    SPLASH,
)
from thimble.demo.stories.months import (
    CLOSED_ALL_CLEAR,
    COURSE_IN_PROGRESS,
    DID_NOT_COME,
)
from thimble.demo.stories.sources import (
    AWAITING_HBIG,
    LATE,
    SOURCE_REFUSES,
    SOURCE_TURNED_NEGATIVE,
)
from thimble.demo.stories.telling import Step, Story
from thimble.demo.stories.workers import (
    CANNOT_BE_KNOWN,
    FIT_FOR_THEATRE,
    KIDNEY,
    PREGNANT,
    SECOND_HBIG,
)

__all__ = ["STORIES", "Step", "Story"]

STORIES: tuple[Story, ...] = (
    JUST_NOW,
    AWAITING_HBIG,
    SOURCE_REFUSES,
    LATE,
    PREGNANT,
    SPLASH,
    BITE,
    NEEDLE_IN_A_BIN,
    SOURCE_TURNED_NEGATIVE,
    CLOSED_ALL_CLEAR,
    INTACT_SKIN,
    KIDNEY,
    SECOND_HBIG,
    CANNOT_BE_KNOWN,
    CORRECTED,
    DID_NOT_COME,
    COURSE_IN_PROGRESS,
    FIT_FOR_THEATRE,
)
