"""Elements of the picture as escaped markup, without any style of their own."""

from __future__ import annotations

from html import escape


def tag(name: str, content: str = "", **attributes: object) -> str:
    """An element. `content` is markup; attributes are escaped; `class_` is `class`."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(number(value), quote=True)}"'
        for key, value in attributes.items()
    )
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def number(value: object) -> str:
    """An attribute: a length with two digits after the point at most."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def words(text: str, x: float, y: float, size: float, *classes: str, anchor: str = "") -> str:
    """A line of text."""
    more = {"text_anchor": anchor} if anchor else {}
    names = " ".join(("tl-text", *classes))
    return tag("text", escape(text), x=x, y=y, font_size=size, class_=names, **more)


LETTER = 0.53
"""The width of a letter on average, as a share of its size: to keep words inside the picture."""


def fitted(text: str, width: float, size: float) -> str:
    """A text cut to what fits a width, at a word, with … where something is left out.

    The whole of it stands in the text beside the picture.
    """
    most = max(8, int(width / (size * LETTER)))
    if len(text) <= most:
        return text
    cut = text[: most - 1].rsplit(" ", 1)[0].rstrip(" ,;:(·")
    return f"{cut}…"
