"""Text of a person's, made fit to be printed."""


def printable(text: str, instead: str = "?", besides: str = "") -> str:
    """The text without what would steer a terminal or break a line.

    instead: what stands for each letter left out; besides: letters kept all the same.
    """
    return "".join(each if each.isprintable() or each in besides else instead for each in text)
