"""How soon a notice wants somebody, in three steps."""

SEVERITIES = ("info", "warning", "urgent")
"""As they stand in settings.toml; what they mean to a grower says `notices.severity_words`."""
