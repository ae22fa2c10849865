"""Names of layouts, with what has to be known of them."""


def marks(layout: str, present: str | None, *, impossible: bool) -> str:
    """What stands behind a layout: that it is there today, that it is impossible; empty for any other.

    Examples
    --------
    >>> marks("hoist", "hoist", impossible=False)
    ' (today)'
    """
    words = [*(["today"] if layout == present else []), *(["impossible"] if impossible else [])]
    return f" ({', '.join(words)})" if words else ""


def marked(layout: str, present: str | None, *, impossible: bool) -> str:
    """Name of a layout with its marks; one that is called `today` says so already."""
    return layout + marks(layout, None if layout == "today" else present, impossible=impossible)
