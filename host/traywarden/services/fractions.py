"""Parts of a whole as a grower writes them: “85%”, “85” or “0.85”."""

from traywarden.errors import UsageError


def fraction_from_text(text: str, what: str = "germination") -> float | None:
    """“85%”, “85” and “0.85” as 0.85; nothing as None. Raises UsageError for what is no part."""
    if not text.strip():
        return None
    try:
        value = float(text.strip().removesuffix("%").replace(",", "."))
    except ValueError:
        value = -1.0
    if text.strip().endswith("%") or value > 1.0:
        value /= 100.0
    if not 0.0 <= value <= 1.0:
        raise UsageError(f"A {what} of “{text}” cannot be; write it like 85% or 0.85.")
    return value
