"""Lists the licences of everything that is built into faydeck, and checks that each is allowed.

python ci/licences.py           writes ci/licences.txt
python ci/licences.py --check   fails when the list is out of date or a licence is not allowed
"""
import json
import pathlib
import re
import subprocess
import sys

LIST = pathlib.Path(__file__).with_name("licences.txt")
# permissive licences that ask for their notice and nothing of our own source
ALLOWED = {"MIT", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "0BSD", "ISC", "Zlib",
           "Unicode-3.0", "CC0-1.0", "Unlicense", "BSL-1.0"}


def allowed(expression):
    """Whether an SPDX expression can be met with allowed licences: every part of an AND, one part of an OR."""
    expression = expression.replace("/", " OR ").strip()
    depth, parts, start = 0, [], 0
    for word in (" OR ", " AND "):
        depth, parts, start = 0, [], 0
        for i, c in enumerate(expression):
            depth += (c == "(") - (c == ")")
            if depth == 0 and expression.startswith(word, i):
                parts.append(expression[start:i])
                start = i + len(word)
        if parts:
            parts.append(expression[start:])
            return (any if word == " OR " else all)(allowed(p) for p in parts)
    if expression.startswith("(") and expression.endswith(")"):
        return allowed(expression[1:-1])
    return re.sub(r"\s+", " ", expression) in ALLOWED


def main():
    out = subprocess.run(["cargo", "metadata", "--format-version", "1", "--locked"], capture_output=True, text=True, check=True)
    data = json.loads(out.stdout)
    packages = {p["id"]: p for p in data["packages"]}
    nodes = {n["id"]: n for n in data["resolve"]["nodes"]}
    root = data["resolve"]["root"]
    seen, stack = set(), [root]
    while stack:
        for d in nodes[stack.pop()]["deps"]:
            # what only tests use is not handed out
            if any(k["kind"] != "dev" for k in d["dep_kinds"]) and d["pkg"] not in seen:
                seen.add(d["pkg"])
                stack.append(d["pkg"])
    rows = sorted((packages[i]["name"], packages[i]["version"], packages[i]["license"] or "none") for i in seen)
    refused = [r for r in rows if not allowed(r[2])]
    text = "".join(f"{n} {v}: {l}\n" for n, v, l in rows)
    for r in refused:
        print("not allowed:", *r, file=sys.stderr)
    if "--check" not in sys.argv:
        LIST.write_text(text)
    elif LIST.read_text() != text:
        print(f"{LIST.name} is out of date: run python ci/licences.py", file=sys.stderr)
        sys.exit(1)
    sys.exit(bool(refused))


main()
