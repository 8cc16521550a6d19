"""Which programs and shared libraries the sources start or load, read from the code."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

SELF = "the Python process itself"
"""``sys.executable`` or ``CDLL(None)``: it is there, as it runs the code."""

_EXEC = ("execl", "execle", "execlp", "execlpe", "execv", "execve", "execvp", "execvpe")
_SPAWN = ("spawnl", "spawnle", "spawnlp", "spawnlpe", "spawnv", "spawnve", "spawnvp", "spawnvpe")
# What starts a program or loads a library: position and name of the argument that says which.
_PROGRAMS = {
    **{f"subprocess.{each}": (0, "args") for each in
       ("run", "Popen", "call", "check_call", "check_output")},
    **{f"os.{each}": (0, "path") for each in (*_EXEC, "posix_spawn", "posix_spawnp")},
    **{f"os.{each}": (1, "path") for each in _SPAWN},
    "pty.spawn": (0, "argv"),
    "asyncio.create_subprocess_exec": (0, "program"),
    "shutil.which": (0, "cmd"),
    "selenium.webdriver.chrome.service.Service": (0, "executable_path"),
}  # fmt: skip
_LIBRARIES = {
    "ctypes.CDLL": (0, "name"),
    "ctypes.PyDLL": (0, "name"),
    "ctypes.cdll.LoadLibrary": (0, "name"),
    "ctypes.pydll.LoadLibrary": (0, "name"),
    "ctypes.util.find_library": (0, "name"),
}
_ARGUMENTS = _PROGRAMS | _LIBRARIES
_LOOKED_FOR = ("shutil.which", "ctypes.util.find_library")
_SHELL = ("os.system", "os.popen", "asyncio.create_subprocess_shell")
_DRIVEN = "selenium.webdriver.Chrome"
_WATCHED = ("subprocess", "ctypes", "pty")
"""All that is used of these modules has to be known: it starts something, or is harmless."""
_MODULES = {each.partition(".")[0] for each in (*_ARGUMENTS, *_SHELL, *_WATCHED, _DRIVEN)}
_MENTIONED = re.compile(rf"\b(?:binary_location|{'|'.join(_MODULES)})\b")
"""Without one of these modules a source starts nothing, and need not be followed."""
_HARMLESS = (
    *(f"subprocess.{each}" for each in ("PIPE", "DEVNULL", "CompletedProcess", "TimeoutExpired")),
    "ctypes.util",
)
_FUNCTION = ast.FunctionDef | ast.AsyncFunctionDef
_COMPREHENSION = ast.ListComp | ast.SetComp | ast.DictComp | ast.GeneratorExp
_SCOPE = _FUNCTION | _COMPREHENSION | ast.Lambda | ast.Module

Needs = frozenset[frozenset[str]]
"""All of these are needed; of each, any one name will do."""


@dataclass(frozen=True)
class Start:
    """A place that starts a program or loads a library.

    Attributes
    ----------
    place : str
        File and line.
    library : bool
        A shared library; else a program.
    names : frozenset of str
        Any one of them will do; empty: cannot be read from the code.
    """

    place: str
    library: bool
    names: frozenset[str]


class UnreadableError(Exception):
    """The code does not show which program or library is meant."""


@cache
def starts_of_the_project() -> tuple[Start, ...]:
    """All of `zcd`, of the tests and of the notebooks that the tests run."""
    result: list[Start] = []
    for folder in ("zcd", "tests"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            result += starts(str(path.relative_to(ROOT)), path.read_text(encoding="utf-8"))
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        code = ["".join(each["source"]) for each in cells if each["cell_type"] == "code"]
        result += starts(str(path.relative_to(ROOT)), "\n".join(code))
    return tuple(result)


def starts(place: str, text: str) -> list[Start]:
    """Each start in a source text, and in the code that it holds as strings."""
    try:
        tree = ast.parse(text)
    except SyntaxError:
        return [Start(place, False, frozenset())]
    return list(_Source(place, tree).starts()) if _MENTIONED.search(text) else []


class _Source:
    def __init__(self, place: str, tree: ast.Module) -> None:
        self.place, self.tree = place, tree
        self.parents = {
            child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)
        }

    def starts(self) -> Iterator[Start]:
        for node in ast.walk(self.tree):
            place = f"{self.place}:{getattr(node, 'lineno', 0)}"
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield from _starts_of_a_string(place, node.value)
                continue
            library = self.qualified(node) in _LIBRARIES
            try:
                needs = self.needs_of(node)
            except (UnreadableError, RecursionError):
                needs = frozenset({frozenset()})
            for names in needs:
                yield Start(place, library, names)

    def needs_of(self, node: ast.AST) -> Needs:
        """What a node starts or loads; empty for most."""
        match node:
            case ast.Assign(targets=[ast.Attribute(attr="binary_location")], value=value):
                return self.needs(value)  # the browser that selenium's driver starts
        name = self.qualified(node)
        if name in _ARGUMENTS:
            return self.needs_of_starter(node, name)
        if self.hides(node, name):
            raise UnreadableError
        return frozenset()

    def needs_of_starter(self, node: ast.AST, name: str) -> Needs:
        match self.parents[node]:
            case ast.Subscript(value=value) if value is node:
                return frozenset()  # a type, as Popen[str]
            case ast.Call(func=function) as call if function is node:
                return self.needs(self.chain(call) if name in _LOOKED_FOR else _which(call, name))
        raise UnreadableError  # handed on, to be called elsewhere

    def hides(self, node: ast.AST, name: str) -> bool:
        """Whether it may start what no argument tells."""
        above = self.parents.get(node)
        if name == _DRIVEN:  # without a service it looks for a driver by itself
            served = isinstance(above, ast.Call) and "service" in {e.arg for e in above.keywords}
            return isinstance(above, ast.Call) and above.func is node and not served
        known = name in _HARMLESS or (isinstance(above, ast.Attribute) and self.qualified(above))
        return name in _SHELL or (name.partition(".")[0] in _WATCHED and not known)

    def chain(self, node: ast.expr) -> ast.expr:
        """The whole of ``one or another``."""
        above = self.parents[node]
        while isinstance(above, ast.BoolOp) and isinstance(above.op, ast.Or):
            node, above = above, self.parents[above]
        return node

    def needs(self, node: ast.AST) -> Needs:
        """Which programs or libraries an expression may mean, of a command the first word."""
        match node:
            case (
                ast.List(elts=[inner, *_]) | ast.Tuple(elts=[inner, *_]) | ast.Starred(value=inner)
            ):
                result = self.needs(inner)
            case ast.IfExp(body=one, orelse=other):
                result = self.needs(one) | self.needs(other)
            case ast.BoolOp(op=ast.Or(), values=values):
                result = frozenset({frozenset().union(*map(self.any_of, values))})
            case ast.Call():
                result = self.needs_of_call(node)
            case ast.Attribute(value=ast.Name(id="self"), attr=attr):
                result = self.union(self.attributes.get(attr, []))
            case ast.Name(id=name):
                result = self.union(self.bound(node, name))
            case _:
                result = frozenset({frozenset({self.literal(node)})})
        return result

    def literal(self, node: ast.AST) -> str:
        """A name that stands there as such."""
        match node:
            case ast.Constant(value=str(text)):
                return _bare_name(text)
            case ast.Constant(value=None):
                return SELF
        if self.qualified(node) == "sys.executable":
            return SELF
        raise UnreadableError

    def any_of(self, node: ast.expr) -> frozenset[str]:
        """One side of an ``or``; what a person's own variable names needs nothing."""
        if isinstance(node, ast.Call) and self.qualified(node.func) == "os.environ.get":
            return frozenset()
        needs = self.needs(node)
        if len(needs) != 1:
            raise UnreadableError
        return next(iter(needs))

    def needs_of_call(self, node: ast.Call) -> Needs:
        name = self.qualified(node.func)
        if name in _LOOKED_FOR:
            return self.needs(_which(node, name))
        if name in ("str", "pathlib.Path") and len(node.args) == 1:
            return self.needs(node.args[0])
        return self.union(self.returned.get(name, []))

    def union(self, values: list[ast.expr | None]) -> Needs:
        if not values or None in values:
            raise UnreadableError
        return frozenset().union(*(self.needs(each) for each in values if each is not None))

    def bound(self, node: ast.AST, name: str) -> list[ast.expr | None]:
        """All that the nearest scope binds to a name; None for what cannot be followed."""
        while node in self.parents:
            node = self.parents[node]
            if isinstance(node, _SCOPE) and (result := self.bindings.get((node, name))):
                return result
        return []

    @cached_property
    def bindings(self) -> dict[tuple[ast.AST, str], list[ast.expr | None]]:
        result: dict[tuple[ast.AST, str], list[ast.expr | None]] = {}
        for node in ast.walk(self.tree):
            match node:
                case ast.Name(id=name, ctx=ast.Store()):
                    result.setdefault((self.scope(node), name), []).append(self.assigned(node))
                case ast.arg(arg=name):
                    result.setdefault((self.scope(node), name), []).append(None)
        return result

    @cached_property
    def attributes(self) -> dict[str, list[ast.expr | None]]:
        """All that is assigned to an attribute of that name."""
        result: dict[str, list[ast.expr | None]] = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
                result.setdefault(node.attr, []).append(self.assigned(node))
        return result

    @cached_property
    def returned(self) -> dict[str, list[ast.expr | None]]:
        """What the functions of this source return."""
        result: dict[str, list[ast.expr | None]] = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Return) and isinstance(scope := self.scope(node), _FUNCTION):
                result.setdefault(scope.name, []).append(node.value)
        return result

    def assigned(self, target: ast.AST) -> ast.expr | None:
        """What an assignment gives to its target; None where it is taken apart, looped over, ..."""
        above = self.parents[target]
        if isinstance(above, ast.Assign | ast.AnnAssign | ast.NamedExpr):
            return above.value
        return None

    def scope(self, node: ast.AST) -> ast.AST:
        above = self.parents[node]
        while not isinstance(above, _SCOPE):
            above = self.parents[above]
        return above

    def qualified(self, node: ast.AST) -> str:
        """Name with its module, as ``subprocess.run``; empty for what is no name."""
        match node:
            case ast.Name(id=name):
                return self.imported.get(name, name)
            case ast.Attribute(value=value, attr=attr) if owner := self.qualified(value):
                name = f"{owner}.{attr}"
                # the module that another module imported
                return next((each for each in _ARGUMENTS if name.endswith(f".{each}")), name)
        return ""

    @cached_property
    def imported(self) -> dict[str, str]:
        """Local name of what is imported -> its full name."""
        result = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Import):
                for each in node.names:
                    top = each.name.partition(".")[0]
                    result[each.asname or top] = each.name if each.asname else top
            elif isinstance(node, ast.ImportFrom):
                for each in node.names:
                    result[each.asname or each.name] = f"{node.module}.{each.name}"
        return result


def _which(call: ast.Call, name: str) -> ast.expr:
    """The argument that says which program or library."""
    index, keyword = _ARGUMENTS[name]
    by_name = {each.arg: each.value for each in call.keywords}
    if None in by_name or "shell" in by_name or "executable" in by_name:
        raise UnreadableError
    if keyword in by_name:
        return by_name[keyword]
    if len(call.args) <= index:
        raise UnreadableError
    return call.args[index]


def _bare_name(text: str) -> str:
    """Name of a program or library without its folder, and without ``lib`` and ``.so``."""
    name = Path(text).name
    library = re.fullmatch(r"lib(.+?)\.so(\.\d+)*", name)
    return library[1] if library else name


def _starts_of_a_string(place: str, text: str) -> list[Start]:
    """Code that is handed to another interpreter: a string that imports something."""
    if "import" not in text:
        return []
    try:
        tree = ast.parse(text)
    except SyntaxError:
        named = re.search(rf"\bimport\b.*\b({'|'.join(_WATCHED)})\b", text)
        return [Start(place, False, frozenset())] if named else []
    if not any(isinstance(node, ast.Import | ast.ImportFrom) for node in ast.walk(tree)):
        return []
    return list(_Source(f"{place}, a string", tree).starts())
