"""One helper to write SVG elements, so that drawings are code and not string puzzles."""

from __future__ import annotations

from html import escape


def tag(name: str, inner: str = "", /, **attributes: object) -> str:
    """An SVG element. Floats are written with two places at most, `_` in a name becomes `-`, values are escaped.

    `inner` is taken as it is: pass text through html.escape first.
    """
    written = []
    for key, value in attributes.items():
        text = f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
        written.append(f'{key.replace("_", "-")}="{escape(text)}"')
    head = " ".join([name, *written])
    return f"<{head}>{inner}</{name}>" if inner else f"<{head}/>"
