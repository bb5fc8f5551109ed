"""The looks of the desk application. Blue means cold, amber warm; a word or a shape always says the same.

"terminal" uses the terminal's own sixteen colours, for screens whose owner has already chosen.
"""

from __future__ import annotations

from textual.theme import Theme

LIGHT = Theme(
    name="flour",
    primary="#1f5fa8",
    secondary="#5c4b37",
    accent="#8a5a00",
    foreground="#1d1d1b",
    background="#faf7f1",
    surface="#f2ede3",
    panel="#e7dfd0",
    success="#2c6e49",
    warning="#b26a00",
    error="#a4161a",
    dark=False,
    variables={"band": "#d9e7d5", "probe": "#8a2c0d", "bench": "#6b6b66"},
)
DARK = Theme(
    name="night-oven",
    primary="#7fb2e6",
    secondary="#c9b8a0",
    accent="#e0a84a",
    foreground="#ece6da",
    background="#17181a",
    surface="#1f2124",
    panel="#2a2d31",
    success="#7cc49a",
    warning="#e8a33d",
    error="#ff7b72",
    dark=True,
    variables={"band": "#26382c", "probe": "#ffb38a", "bench": "#a8a49c"},
)
CONTRAST = Theme(
    name="high-contrast",
    primary="#ffffff",
    secondary="#ffffff",
    accent="#ffff00",
    foreground="#ffffff",
    background="#000000",
    surface="#000000",
    panel="#1a1a1a",
    success="#ffffff",
    warning="#ffff00",
    error="#ffffff",
    dark=True,
    variables={
        "band": "#303030", "probe": "#ffff00", "bench": "#b8b8b8",
        "text-muted": "#d8d8d8", "text-disabled": "#b8b8b8",  # 14 and 10 to 1 on black; grey words are words too
    },  # fmt: skip
)
TERMINAL = Theme(
    name="terminal",
    primary="ansi_blue",
    secondary="ansi_default",
    accent="ansi_yellow",
    foreground="ansi_default",
    background="ansi_default",
    surface="ansi_default",
    panel="ansi_default",
    success="ansi_green",
    warning="ansi_yellow",
    error="ansi_red",
    dark=True,
    boost="ansi_default",
    variables={
        "band": "ansi_default", "probe": "ansi_yellow", "bench": "ansi_default",
        # Textual's own widgets ask for these when colours are the terminal's; black on cyan reads on dark and light.
        "ansi-background": "ansi_default", "ansi-foreground": "ansi_default", "border-blurred": "ansi_bright_black",
        "block-cursor-foreground": "ansi_black", "block-cursor-background": "ansi_cyan",
        "input-cursor-background": "ansi_cyan", "input-cursor-foreground": "ansi_black",
        "input-selection-background": "ansi_cyan", "input-selection-foreground": "ansi_black",
        "screen-selection-background": "ansi_cyan", "screen-selection-foreground": "ansi_black",
    },  # fmt: skip
    ansi=True,
)
THEMES = (LIGHT, DARK, CONTRAST, TERMINAL)
