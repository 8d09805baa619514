"""What is chosen before letters are made: the kind, how they go out, and the session of an invitation."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django import forms

from thimble.clinical.neutral import telling_words
from thimble.clinical.saying import calendar_day
from thimble.people.choices import LETTERS
from thimble.people.sessions import PURPOSES, Session

BY_MAIL, ALL_PAPER, MAIL_ONLY = "mail", "paper", "mail_only"
WAYS = (
    (BY_MAIL, "By e-mail where an address is on record, on paper otherwise"),
    (MAIL_ONLY, "By e-mail only"),
    (ALL_PAPER, "All on paper"),
)


class LetterForm(forms.Form):
    """A kind of letter; an invitation is to one of the sessions that are planned."""

    about = forms.ChoiceField(
        label="What for", choices=list(LETTERS.items()), widget=forms.RadioSelect, initial="missing"
    )
    session = forms.ChoiceField(
        label="To which session", required=False, help_text="For an invitation only."
    )
    booked_too = forms.BooleanField(
        label="Also to those who are booked in it already",
        required=False,
        help_text="Left out otherwise.",
    )
    way = forms.ChoiceField(label="How", choices=WAYS, widget=forms.RadioSelect, initial=BY_MAIL)

    def __init__(self, *args: Any, sessions: Sequence[Session], **more: Any) -> None:
        super().__init__(*args, **more)
        self._sessions = {str(each.id): each for each in sessions}
        field = self.fields["session"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [("", ""), *((id_, _words(s)) for id_, s in self._sessions.items())]

    def clean(self) -> dict[str, Any]:
        """An invitation has a session, in a place that may stand in a mail."""
        told = super().clean() or {}
        if told.get("about") != "invitation" or "session" in self.errors:
            return told
        if not told.get("session"):
            planned = "Choose the session." if self._sessions else "Plan a session first."
            self.add_error("session", planned)
        elif words := telling_words(self._sessions[told["session"]].place):
            self.add_error(
                "session",
                "Whoever is invited is told the place of the session, and its name may not tell what "
                f"it is for; this place says {', '.join(f'“{word}”' for word in words)}. "
                "Make the session at a place that is called otherwise.",
            )
        return told

    @property
    def session_id(self) -> int | None:
        """The session of an invitation; None for any other letter."""
        invites = self.cleaned_data["about"] == "invitation"
        return int(self.cleaned_data["session"]) if invites else None

    def said(self) -> str:
        """The session as JSON; `{}` where there is none."""
        if self.cleaned_data["about"] != "invitation":
            return "{}"
        session = self._sessions[self.cleaned_data["session"]]
        return json.dumps(
            {
                "day": session.day.isoformat(),
                "opens": f"{session.opens:%H:%M}",
                "closes": f"{session.closes:%H:%M}",
                "place": session.place,
            }
        )


def _words(session: Session) -> str:
    hours = f"{session.opens:%H:%M} to {session.closes:%H:%M}"
    room = session.capacity * len(session.times)
    what = PURPOSES[session.purpose]
    return f"{calendar_day(session.day)}, {hours}, {session.place}: {what}, for {room} people"
