"""What the project promises about itself: documented science, small files, tests that say why."""

import ast
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import hilum.science

ROOT = Path(__file__).resolve().parent.parent
SOURCES = sorted(
    path for part in ("service", "tests") for path in (ROOT / part).rglob("*.py") if path.is_file()
)
MOST_LINES = 500
LONGEST_BODY = 60

Function = ast.FunctionDef | ast.AsyncFunctionDef

NUMERIC = re.compile(r"\bfloat|ndarray")  # a whole number is a count and has no unit
UNIT = re.compile(r"\[[^\]]+\]")
RANGE = re.compile(r"\d\S* to |\binf\b|\babove\b|\bbelow\b|\bat least\b|or more|\bany\b|\bfinite\b")
SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}\n", re.MULTILINE)


def public_functions() -> Iterator[tuple[str, Callable[..., Any], type | None]]:
    """Every public function of the science layer and every public method that is new there.

    A method may leave example and references to its class.
    """
    for found in pkgutil.iter_modules(hilum.science.__path__):
        if found.name.startswith("_"):
            continue
        module = importlib.import_module(f"hilum.science.{found.name}")
        for name, item in vars(module).items():
            if name.startswith("_") or getattr(item, "__module__", None) != module.__name__:
                continue
            if inspect.isclass(item):
                inherited = {each for base in item.__mro__[1:] for each in vars(base)}
                for method, function in vars(item).items():
                    if inspect.isfunction(function) and method not in inherited:
                        yield f"{found.name}.{name}.{method}", function, item
            elif inspect.isfunction(inspect.unwrap(item)):
                yield f"{found.name}.{name}", inspect.unwrap(item), None


FUNCTIONS = {
    name: (function, owner)
    for name, function, owner in public_functions()
    if not name.rsplit(".", 1)[-1].startswith("_")
}


def sections(function: object) -> dict[str, str]:
    """Read a numpydoc docstring: the text under each heading; the summary under ""."""
    pieces = SECTION.split(inspect.getdoc(function) or "")
    return {"": pieces[0], **dict(zip(pieces[1::2], pieces[2::2], strict=True))}


def described(text: str) -> dict[str, str]:
    """Read a Parameters section: the type and words of each argument by its name."""
    entries = re.split(r"^(?=\S)", text, flags=re.MULTILINE)
    heads = [(entry.split(" : ", 1)[0], entry) for entry in entries if " : " in entry]
    return {name.strip(): entry for names, entry in heads for name in names.split(",")}


def numeric(annotation: object) -> bool:
    """Whether an argument or result holds numbers with a unit."""
    words = annotation.__name__ if isinstance(annotation, type) else str(annotation)
    return bool(NUMERIC.search(words)) and "bool" not in words


def is_formula(function: Callable[..., Any]) -> bool:
    """Whether numbers go in and come out: such a function needs an example and a source."""
    signature = inspect.signature(function)
    takes = any(numeric(each.annotation) for each in signature.parameters.values())
    return takes and signature.return_annotation is not None


def argument_complaints(signature: inspect.Signature, arguments: dict[str, str]) -> list[str]:
    """Name the arguments that are missing, too many, or without unit or range."""
    wrong = [f"{name} is no argument" for name in arguments if name not in signature.parameters]
    for name, parameter in signature.parameters.items():
        text = arguments.get(name)
        if text is None:
            wrong += [f"argument {name} is missing"] * (name != "self")
        elif numeric(parameter.annotation):
            wrong += [f"{name} has no [unit]"] * (not UNIT.search(text))
            wrong += [f"{name} has no range"] * (not RANGE.search(text))
    return wrong


def complaints(function: Callable[..., Any], owner: type | None = None) -> list[str]:
    """Name everything the docstring of a science function, or of its class, lacks."""
    parts = sections(function)
    for name in ("Examples", "References"):
        parts.setdefault(name, sections(owner).get(name, "") if owner else "")
    parts.setdefault("Returns", parts.get("Yields", ""))
    signature = inspect.signature(function)
    wanted = ["Returns", *(["Examples", "References"] if is_formula(function) else [])]
    wrong = [f"no {name}" for name in wanted if not parts.get(name)]
    if not parts[""].strip():
        wrong.append("no summary")
    wrong += argument_complaints(signature, described(parts.get("Parameters", "")))
    if numeric(signature.return_annotation) and not UNIT.search(parts.get("Returns", "")):
        wrong.append("the result has no [unit]")
    if is_formula(function) and ">>>" not in parts.get("Examples", ""):
        wrong.append("no example")
    for error in raised(function):
        if error not in parts.get("Raises", ""):
            wrong.append(f"{error} is raised but not named")
    return wrong


def raised(function: Callable[..., Any]) -> set[str]:
    """Names of the errors a function raises itself, or by checking its arguments."""
    nodes = list(ast.walk(ast.parse(textwrap.dedent(inspect.getsource(function)))))
    calls = [
        node.exc.func
        for node in nodes
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call)
    ]
    names = {call.id for call in calls if isinstance(call, ast.Name)}
    if any(isinstance(node, ast.Name) and node.id == "checked" for node in nodes):
        names.add("OutOfRangeError")
    return names


@pytest.mark.parametrize("name", FUNCTIONS)
def test_science_is_documented(name: str) -> None:
    """Every public science function names arguments, units, ranges, errors, example and source."""
    assert complaints(*FUNCTIONS[name]) == []


def test_the_reader_of_docstrings_sees_what_is_missing() -> None:
    """A docstring that lacks everything gets every complaint."""

    def bare(temp_c: float, wrap: str) -> float:
        """Do something.

        Parameters
        ----------
        temp_c : float
            Temperature.
        """
        if wrap:
            raise ValueError(wrap)
        return temp_c

    assert set(complaints(bare)) == {
        "no Returns",
        "no Examples",
        "no References",
        "temp_c has no [unit]",
        "temp_c has no range",
        "argument wrap is missing",
        "the result has no [unit]",
        "no example",
        "ValueError is raised but not named",
    }


def functions_of(path: Path) -> list[Function]:
    """Every function of a file, nested ones too."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]


def body_lines(function: Function) -> int:
    """Length of a function without its docstring."""
    body = function.body
    if ast.get_docstring(function) is not None:
        body = body[1:]
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_every_test_says_what_it_shows() -> None:
    """Each test function has a docstring that begins with one sentence."""
    silent = []
    for path in SOURCES:
        if path.is_relative_to(ROOT / "tests"):
            for function in functions_of(path):
                said = (ast.get_docstring(function) or "").split("\n\n")[0]
                if function.name.startswith("test_") and not said.endswith((".", "?", "!")):
                    silent.append(f"{path.relative_to(ROOT)}: {function.name}")
    assert silent == []


def test_files_are_short() -> None:
    """No file of Python passes 500 lines."""
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in SOURCES}
    assert len(lengths) > 20
    long = {str(path.relative_to(ROOT)): n for path, n in lengths.items() if n > MOST_LINES}
    assert long == {}


def test_functions_fit_on_a_screen() -> None:
    """No function body passes 60 lines."""
    long = [
        f"{path.relative_to(ROOT)}: {function.name} {body_lines(function)}"
        for path in SOURCES
        for function in functions_of(path)
        if body_lines(function) > LONGEST_BODY
    ]
    assert long == []
