"""Numbers as they are written in SVG."""


def short(value: float) -> str:
    """A number with one decimal at most."""
    return f"{value:.1f}".removesuffix(".0")
