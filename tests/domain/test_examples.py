"""Every example in the domain's docstrings runs and gives what it shows."""

import doctest
import importlib
import pkgutil

import pytest

import traywarden.domain

MODULES = sorted(m.name for m in pkgutil.iter_modules(traywarden.domain.__path__))


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_docstrings_run_as_shown(name: str) -> None:
    failed, _ = doctest.testmod(importlib.import_module(f"traywarden.domain.{name}"))
    assert failed == 0


@pytest.mark.parametrize(
    "name",
    [
        "waterings",
        "rain",
        "wetting",
        "dry_down",
        "exponential",
        "mixes",
        "places",
        "alignment",
        "daylight",
        "bootstrap",
        "demand",
        "drying",
        "drying_speed",
        "usual_drying",
        "foresight",
        "spread",
        "outlook_cases",
        "dry_outlook",
        "stretches",
        "trend",
        "plateaus",
        "temperature_effect",
        "moisture_scale",
        "mix_drying",
        "mix_comparison",
        "mix_advice",
        "media",
    ],
)
def test_modules_that_compute_have_examples(name: str) -> None:
    """Or the test above would pass on nothing."""
    assert doctest.testmod(importlib.import_module(f"traywarden.domain.{name}")).attempted > 0
