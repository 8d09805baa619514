"""Tell every story on one clock: entries of all cases interleave as they would have been written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from thimble.demo.scene import Scene
from thimble.demo.shelves import fill_shelves
from thimble.demo.stage import Stage
from thimble.demo.stories import STORIES, Step, Story


def build(stage: Stage, now: datetime, stories: Sequence[Story] = STORIES) -> dict[str, str]:
    """Append every case as of `now`; returns case references by story id.

    Raises:
        RuntimeError: a story asks for what the plan of that moment does not hold.
    """
    # Steps follow one another in elapsed time, whatever the clocks on the wall do that night.
    now = now.astimezone(UTC)
    fill_shelves(stage, now)
    scenes = {story.id: Scene(stage, now - story.ago, now) for story in stories}
    for at, story, step in _in_order(stories, now):
        scene = scenes[story.id]
        scene.now = at
        try:
            step(scene)
        except Exception as error:
            raise RuntimeError(f"the story {story.id!r} does not play at {at}: {error}") from error
    return {id_: scene.case for id_, scene in scenes.items()}


def _in_order(stories: Sequence[Story], now: datetime) -> Iterator[tuple[datetime, Story, Step]]:
    happenings: list[tuple[datetime, int, Story, Step]] = []
    for story in stories:
        for after, step in story.steps:
            at = now - story.ago + after
            if at <= now:
                happenings.append((at, len(happenings), story, step))
    for at, _, story, step in sorted(happenings, key=lambda h: (h[0], h[1])):
        yield at, story, step
