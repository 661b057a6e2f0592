"""Sizes of modules and functions at revisions of the repository, and how deep its packages stand on each other.

python benchmarks/code_sizes.py REVISION...                print the table of DEVELOPERS.md, a column a revision
"""

from __future__ import annotations

import ast
import io
import subprocess
import sys
import tarfile

import numpy as np


def modules(revision: str) -> dict[str, str]:
    """Return path -> source of the package's Python files at a revision."""
    packed = subprocess.run(["git", "archive", revision, "geoprune"], capture_output=True, check=True).stdout
    with tarfile.open(fileobj=io.BytesIO(packed)) as archive:
        members = [member for member in archive.getmembers() if member.isfile() and member.name.endswith(".py")]
        return {member.name: archive.extractfile(member).read().decode() for member in members}


def function_lengths(source: str) -> list[int]:
    """Return the lines of each function and method."""
    found = (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))
    return [node.end_lineno - node.lineno + 1 for node in found]


def parameters(source: str) -> list[int]:
    """Return the number of parameters of each function and method."""
    found = (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))
    return [len(node.args.args) + len(node.args.kwonlyargs) + len(node.args.posonlyargs) for node in found]


def figures(revision: str) -> dict[str, str]:
    """Return the rows of the table for a revision."""
    sources = modules(revision)
    lines = np.array([len(source.splitlines()) for source in sources.values()])
    lengths = np.array([length for source in sources.values() for length in function_lengths(source)])
    taken = np.array([number for source in sources.values() for number in parameters(source)])
    return {
        "modules": f"{len(lines)}",
        "lines in all": f"{lines.sum():,}",
        "lines of a module, median (most)": f"{np.median(lines):.0f} ({lines.max()})",
        "modules over 400 lines": f"{(lines > 400).sum()}",
        "functions": f"{len(lengths):,}",
        "lines of a function, median (most)": f"{np.median(lengths):.0f} ({lengths.max()})",
        "lines that 95 in 100 functions do not pass": f"{np.quantile(lengths, 0.95):.0f}",
        "functions over 60 lines": f"{(lengths > 60).sum()}",
        "most parameters of a function": f"{taken.max()}",
    }


if __name__ == "__main__":
    revisions = sys.argv[1:] or ["HEAD"]
    columns = [figures(revision) for revision in revisions]
    print("| | " + " | ".join(revisions) + " |\n|---" + "|---:" * len(columns) + "|")
    for name in columns[0]:
        print(f"| {name} | " + " | ".join(column[name] for column in columns) + " |")
