"""Numbers in addresses and in fields that have no form of Django."""


def whole_number(text: str) -> int | None:
    """None for what is no number, or has more digits than any number of ours."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None
