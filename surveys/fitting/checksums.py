"""Checksums of source texts, by what they do and not by how they are written."""

import ast
import hashlib
from collections.abc import Mapping


def software_checksum(sources: Mapping[str, str], libraries: Mapping[str, str]) -> str:
    """A checksum of source texts by name, and of library versions by name.

    Comments, docstrings and layout do not count. The syntax tree differs between versions of
    Python, so every fit is made again after an upgrade of Python too.
    """
    digest = hashlib.sha256()
    for name, source in sorted(sources.items()):
        code = _sql(source) if name.endswith(".sql") else _code(source)
        digest.update(f"{name}\n{code}\n".encode())
    for name, number in sorted(libraries.items()):
        digest.update(f"{name}=={number}\n".encode())
    return digest.hexdigest()[:12]


def _sql(source: str) -> str:
    """SQL without comments and layout. No text in it holds two hyphens."""
    return " ".join(" ".join(line.partition("--")[0] for line in source.splitlines()).split())


def _code(source: str) -> str:
    """The syntax tree of a source text without its docstrings."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                del node.body[0]
    return ast.dump(tree)
