"""Small mistakes to make in a source file: where each one is, and what the file looks like with it."""

from __future__ import annotations

import ast
import difflib
from dataclasses import dataclass
from typing import Final

SWAPS: Final[dict[type[ast.AST], str]] = {
    ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.Pow: "*", ast.FloorDiv: "/", ast.Mod: "*",
    ast.BitAnd: "|", ast.BitOr: "&", ast.MatMult: "*", ast.And: "or", ast.Or: "and",
    ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "==",
    ast.Is: "is not", ast.IsNot: "is", ast.In: "not in", ast.NotIn: "in",
}  # fmt: skip
OPPOSITES: Final = {
    "minimum": "maximum",
    "fmin": "fmax",
    "min": "max",
    "argmin": "argmax",
    "any": "all",
    "floor": "ceil",
}
CALLS: Final = OPPOSITES | {other: name for name, other in OPPOSITES.items()}

NOT_CODE: Final = frozenset(
    {
        "Example",
        "Reference",
        "DeclarationError",
        "errstate",
        "TypeVar",
        "lru_cache",
        "cache",
        "CurveChart",
        "BarChart",
        "WaterfallChart",
        "TimeSeriesChart",
    }
)
"""Calls whose arguments are texts, data of tests, the range that a chart shows, or have no effect on any result."""
NOT_ARGUMENTS: Final = frozenset({"strict", "maxsize", "stacklevel", "err_msg", "rtol"})


@dataclass(frozen=True, slots=True)
class Mutant:
    """One mistake: the bytes ``start`` to ``end`` of a module are replaced."""

    module: str
    operator: str
    line: int
    last_line: int
    start: int
    end: int
    replacement: str

    def apply(self, source: bytes) -> bytes:
        """Return the source with the mistake in it."""
        return source[: self.start] + self.replacement.encode() + source[self.end :]

    def diff(self, source: bytes) -> str:
        """Return the mistake as a unified diff without context."""
        before, after = (text.decode().splitlines() for text in (source, self.apply(source)))
        lines = difflib.unified_diff(before, after, self.module, self.module, n=0, lineterm="")
        return "\n".join(lines)

    def change(self, source: bytes) -> tuple[str, str]:
        """Return the changed lines before and after, without indentation: they identify a mutant when lines move."""
        lines = self.diff(source).splitlines()[3:]
        before, after = (" ".join(line[1:].strip() for line in lines if line.startswith(sign)) for sign in "-+")
        return before, after


def find_mutants(module: str, source: bytes) -> list[Mutant]:
    """Return every mutant of a module, in order of place."""
    found = _Finder(module, source)
    found.visit(ast.parse(source))
    return sorted(set(found.mutants), key=lambda each: (each.start, each.end, each.replacement))


class _Finder(ast.NodeVisitor):
    def __init__(self, module: str, source: bytes) -> None:
        self.module, self.source, self.mutants = module, source, list[Mutant]()
        lengths = [len(line) for line in source.splitlines(keepends=True)]
        self._starts = [sum(lengths[:at]) for at in range(len(lengths) + 1)]
        self._in_default = False

    def _place(self, line: int, column: int) -> int:
        return self._starts[line - 1] + column

    def _span(self, node: ast.expr | ast.stmt) -> tuple[int, int]:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._place(node.lineno, node.col_offset), self._place(node.end_lineno, node.end_col_offset)

    def _add(self, operator: str, node: ast.expr | ast.stmt, start: int, end: int, replacement: str) -> None:
        if self.source[start:end].decode() != replacement:
            line = self.source.count(b"\n", 0, start) + 1
            last = node.end_lineno or line
            self.mutants.append(Mutant(self.module, operator, line, last, start, end, replacement))

    def _text(self, node: ast.expr) -> str:
        start, end = self._span(node)
        return self.source[start:end].decode()

    def _operator(self, name: str, parent: ast.expr | ast.stmt, left: ast.expr, right: ast.expr, old: ast.AST) -> None:
        """Swap the operator that is between two operands."""
        begin, end = self._span(left)[1], self._span(right)[0]
        between = self.source[begin:end].decode()
        words = {ast.And: "and", ast.Or: "or", ast.Is: "is", ast.IsNot: "is not", ast.In: "in", ast.NotIn: "not in"}
        signs = {
            ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/", ast.Pow: "**", ast.FloorDiv: "//", ast.Mod: "%",
            ast.BitAnd: "&", ast.BitOr: "|", ast.MatMult: "@", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">",
            ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=",
        }  # fmt: skip
        sign = words.get(type(old)) or signs.get(type(old))
        if sign is None or type(old) not in SWAPS or between.count(sign) != 1:
            return
        at = begin + len(between[: between.index(sign)].encode())
        self._add(name, parent, at, at + len(sign), SWAPS[type(old)])

    # What is not code

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Texts are left alone."""

    def visit_Import(self, node: ast.Import) -> None:
        """So are imports."""

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        """So are imports."""

    def visit_arg(self, node: ast.arg) -> None:
        """So are the types of parameters."""

    def _annotation(self, node: ast.expr) -> None:
        """Visit of a type only what it carries: ``Annotated[Array, Quantity("g", above=0)]``."""
        for inner in ast.walk(node):
            if isinstance(inner, ast.Subscript) and isinstance(inner.value, ast.Name) and inner.value.id == "Annotated":
                assert isinstance(inner.slice, ast.Tuple)
                for each in inner.slice.elts[1:]:
                    self.visit(each)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        """Visit a declaration and its value."""
        self._annotation(node.annotation)
        if isinstance(node.annotation, ast.Name) and node.annotation.id == "TypeAlias":
            if node.value is not None:
                self._annotation(node.value)
        elif node.value is not None:
            self.visit(node.value)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        """Visit a class without its decorators and bases."""
        for each in node.body:
            self.visit(each)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """Visit the defaults and the body of a function."""
        self._in_default = True
        for default in (*node.args.defaults, *node.args.kw_defaults):
            if default is not None:
                self.visit(default)
        self._in_default = False
        for each in node.body:
            self.visit(each)

    def visit_If(self, node: ast.If) -> None:
        """Negate a condition; what only type checkers read is left alone."""
        if "TYPE_CHECKING" in self._text(node.test):
            return
        self._add("condition", node.test, *self._span(node.test), f"not ({self._text(node.test)})")
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        """Negate the condition of an expression."""
        self._add("condition", node.test, *self._span(node.test), f"not ({self._text(node.test)})")
        self.generic_visit(node)

    # Operators

    def visit_BinOp(self, node: ast.BinOp) -> None:
        """Swap an arithmetic operator, or leave out one side of ``&`` and ``|``."""
        texts = [each for each in (node.left, node.right) if isinstance(each, ast.JoinedStr | ast.Constant)]
        if not any(isinstance(each, ast.JoinedStr) or isinstance(each.value, str) for each in texts):
            self._operator("arithmetic", node, node.left, node.right, node.op)
            if isinstance(node.op, ast.BitAnd | ast.BitOr):
                for rest in (node.left, node.right):
                    self._add("operand", node, *self._span(node), f"({self._text(rest)})")
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        """Swap the operator of ``+=``."""
        start, end = self._span(node.target)[1], self._span(node.value)[0]
        between = self.source[start:end].decode()
        if type(node.op) in SWAPS and not isinstance(node.op, ast.Pow | ast.FloorDiv):
            self._add("arithmetic", node, start, end, f" {SWAPS[type(node.op)]}={between.partition('=')[2]}")
        self._remove(node)
        self.visit(node.value)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        """Leave out ``-``, ``~`` and ``not``."""
        self._add("sign", node, *self._span(node), f"({self._text(node.operand)})")
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        """Swap ``and`` and ``or``, or leave out an operand."""
        for left, right in zip(node.values, node.values[1:], strict=False):
            self._operator("boolean", node, left, right, node.op)
        for at in range(len(node.values)):
            start = self._span(node.values[at])[0] if at == 0 else self._span(node.values[at - 1])[1]
            end = self._span(node.values[1])[0] if at == 0 else self._span(node.values[at])[1]
            if self.source[start:end].count(b"(") == self.source[start:end].count(b")"):
                self._add("operand", node, start, end, "")
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        """Move a boundary, or swap equality."""
        for left, op, right in zip((node.left, *node.comparators), node.ops, node.comparators, strict=False):
            self._operator("comparison", node, left, right, op)
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        """Change a number or a truth; texts are left alone."""
        name = "default" if self._in_default else "constant"
        match node.value:
            case bool():
                self._add(name, node, *self._span(node), str(not node.value))
            case int():
                self._add(name, node, *self._span(node), str(node.value + 1))
            case float():
                self._add(name, node, *self._span(node), repr(node.value * 1.25 or 1.0))

    def visit_Call(self, node: ast.Call) -> None:
        """Swap a function for its opposite; visit the arguments that matter."""
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in NOT_CODE or name.startswith("log"):
            return
        if name in CALLS:
            end = self._span(node.func)[1]
            self._add("call", node, end - len(name), end, CALLS[name])
        self.visit(node.func)
        for argument in node.args:
            self.visit(argument)
        for keyword in node.keywords:
            if keyword.arg not in NOT_ARGUMENTS:
                self.visit(keyword.value)

    # Statements

    def _remove(self, node: ast.stmt) -> None:
        self._add("statement", node, *self._span(node), "pass")

    def visit_Expr(self, node: ast.Expr) -> None:
        """Leave out a call that stands alone; docstrings stay."""
        if not isinstance(node.value, ast.Constant):
            self._remove(node)
            self.visit(node.value)

    def visit_Assign(self, node: ast.Assign) -> None:
        """Leave out what changes an object; without a first binding nothing would run."""
        if any(isinstance(target, ast.Subscript | ast.Attribute) for target in node.targets):
            self._remove(node)
        self.generic_visit(node)

    def visit_Raise(self, node: ast.Raise) -> None:
        """Leave out an error."""
        self._remove(node)

    def visit_Continue(self, node: ast.Continue) -> None:
        """Leave out a jump."""
        self._remove(node)

    def visit_Break(self, node: ast.Break) -> None:
        """Leave out a jump."""
        self._remove(node)
