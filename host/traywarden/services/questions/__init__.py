"""The grower's questions: each a function from what is stored to a frozen, JSON-able answer. No printing."""
