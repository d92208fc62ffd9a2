"""Docstrings of public functions are held against their signatures."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from typing import TYPE_CHECKING, Any

import pytest

import lungwort

if TYPE_CHECKING:
    from collections.abc import Iterator

# Words of a parameter's or result's name that say that it is a physical quantity.
_QUANTITY = re.compile(
    r"(?:^|_)(?:temperature|pressure|volume|density|molar_mass|duration|seconds)(?:_|$)"
    r"|_(?:s|c|k|bar_g|bar_a|kpa|pa|ppm|mg_m3|g_mol|l|us|bytes)$"
)
_UNIT = re.compile(r"\[[^\]]+\]")


def _modules() -> Iterator[Any]:
    for info in pkgutil.walk_packages(lungwort.__path__, "lungwort."):
        if not info.name.endswith("__main__"):
            yield importlib.import_module(info.name)


def _public() -> Iterator[tuple[str, Any]]:
    for module in _modules():
        if any(part.startswith("_") for part in module.__name__.split(".")):
            continue
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", "") != module.__name__:
                continue
            if inspect.isfunction(thing):
                yield f"{module.__name__}.{name}", thing


FUNCTIONS = dict(_public())


def test_there_are_functions_to_check() -> None:
    """The walk finds the rooms; an empty check would prove nothing."""
    assert len(FUNCTIONS) > 100
    assert "lungwort.verdict.judge.judge" in FUNCTIONS


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_docstring_names_every_parameter_in_order(name: str) -> None:
    """A docstring with a section of parameters lists all of them, in the order of the signature."""
    function = FUNCTIONS[name]
    doc = inspect.getdoc(function) or ""
    assert doc, f"{name} has no docstring"
    if "Parameters\n---" not in doc:
        return
    section = doc.split("Parameters\n", 1)[1]
    section = re.split(
        r"\n(?:Returns|Yields|Raises|Examples|References|Notes|See Also)\n-+", section
    )[0]
    listed = [
        part.strip()
        for line in re.findall(r"^(\*{0,2}[a-z_][\w, *]*) :", section, flags=re.MULTILINE)
        for part in line.replace("*", "").split(",")
    ]
    expected = [p for p in inspect.signature(function).parameters if p not in {"self", "cls"}]

    # A line such as 'date_order, decimal : str' may stand for several that follow one another.
    assert [one for one in expected if one not in listed] == []
    assert [one for one in listed if one not in expected] == []


@pytest.mark.parametrize("name", sorted(n for n in FUNCTIONS if n.startswith("lungwort.air.")))
def test_physics_states_units(name: str) -> None:
    """In the room of physics each physical parameter has its unit in brackets or in its name."""
    doc = inspect.getdoc(FUNCTIONS[name]) or ""
    for parameter in inspect.signature(FUNCTIONS[name]).parameters:
        if not _QUANTITY.search(parameter) or parameter.endswith("_unit"):
            continue
        match = re.search(
            rf"^[\w, ]*\b{parameter}\b[\w, ]* : .*(?:\n    .*|\n)*", doc, flags=re.MULTILINE
        )

        assert match is not None, f"{name}: {parameter} is not in the docstring"
        assert _UNIT.search(match.group(0)), f"{name}: {parameter} has no [unit]"
