"""Colours and the style sheet. A colour is named once here; charts use the light value and are mapped to the name."""

from __future__ import annotations

from pathlib import Path

#: Light and dark value of each colour. Slate for what is usual, one plum for a signal, no colour for a verdict.
COLOURS: dict[str, tuple[str, str]] = {
    "paper": ("#fcfbf7", "#11181b"),
    "panel": ("#f2efe6", "#1a2428"),
    "ink": ("#1c2a30", "#e7ebe8"),
    "faint": ("#54636a", "#a7b5b8"),
    "rule": ("#dcd8cc", "#2f3c41"),
    "brass": ("#7a5a17", "#dcb765"),
    "mark": ("#33484f", "#c3d1d3"),
    "calm": ("#7d9799", "#5f7f83"),
    "spread": ("#8c9ca0", "#73878c"),
    "band": ("#dbd5c6", "#3d4c52"),
    "signal": ("#8f1f6b", "#f29ad2"),
    "dark": ("#2a3a41", "#eef1ef"),
    "gold": ("#b07d22", "#d9a441"),
    "teal": ("#3f8079", "#5fb3a8"),
    "sand": ("#ad9f78", "#8d835f"),
    "mauve": ("#8a6f9c", "#b39ac6"),
    "hollow": ("#fbfaf5", "#141c1f"),
}

#: Colours that carry text, and those that carry a mark; tests hold them to 4.5:1 and 3:1 against the paper.
TEXT = ("ink", "faint", "brass", "signal")
MARKS = ("mark", "calm", "signal", "dark", "gold", "teal", "mauve")


def light(name: str) -> str:
    """Return the light value of a colour, as charts are drawn with."""
    return COLOURS[name][0]


def style_sheet() -> str:
    """Return the page's one style sheet."""
    tokens = [_tokens(0), _tokens(1)]
    rules = (Path(__file__).with_name("page.css")).read_text("utf-8")
    dark = f"@media screen and (prefers-color-scheme:dark){{:root{{{tokens[1]}}}}}"
    return f":root{{color-scheme:light dark;{tokens[0]}}}\n{dark}\n{rules}"


def _tokens(theme: int) -> str:
    return "".join(f"--{name}:{values[theme]};" for name, values in COLOURS.items())
