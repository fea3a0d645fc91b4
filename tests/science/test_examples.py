"""The examples in the documentation of the science layer run and are right."""

import doctest
import importlib
import pkgutil

import pytest

import hilum.science

MODULES = [f"hilum.science.{found.name}" for found in pkgutil.iter_modules(hilum.science.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_are_right(name: str) -> None:
    """Every example of a module gives what is printed below it."""
    outcome = doctest.testmod(importlib.import_module(name))
    assert outcome.failed == 0
