"""HTML put together so that nothing is forgotten: every text is escaped unless it is ``Html``."""

from __future__ import annotations

from html import escape

_EMPTY = ("meta", "br")


class Html(str):
    """Text that is HTML already; only ``tag`` and a picture's own writer make it."""

    __slots__ = ()


def tag(name: str, /, *inside: str, **attributes: str) -> Html:
    """Return one element; ``inside`` that is no ``Html`` is escaped.

    Parameters
    ----------
    name : str
    *inside : str
    **attributes : str
        A trailing underscore goes (``class_``), others become hyphens (``aria_label``).
    """
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value, quote=True)}"'
        for key, value in attributes.items()
    )
    if name in _EMPTY:
        return Html(f"<{name}{said}>")
    body = "".join(one if isinstance(one, Html) else escape(one) for one in inside)
    return Html(f"<{name}{said}>{body}</{name}>")


def together(*parts: str) -> Html:
    """Return parts one below the other; those that are no ``Html`` are escaped."""
    return Html("\n".join(one if isinstance(one, Html) else escape(one) for one in parts if one))
