#!/usr/bin/env python3
"""table.py MEASURED BUDGET PAGE COMPILER [--write]

Holds what tests/on-target/run has measured against the budget, and against the tables
of the page, which have to be right to one in a hundred where the compiler is the one
that the page names. With --write the page is written anew instead.
"""

import re
import sys

TARGETS = {"thumbv7m-none-eabi": "Cortex-M3", "thumbv6m-none-eabi": "Cortex-M0+"}
FIELDS = [".text", ".rodata", ".data", ".bss", "stack"]


def number(value):
    return "-" if value is None else f"{value:,}".replace(",", " ")


def table(head, rows):
    lines = ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    return "\n".join(lines + ["| " + " | ".join(row) + " |" for row in rows])


def value(text):
    return None if text == "none" else int(text)


def main():
    measured, budget, page, compiler = sys.argv[1:5]
    sizes, calls = {}, {}
    for line in open(measured):
        kind, target, name, *values = line.split()
        (sizes if kind == "size" else calls)[target, name] = [value(text) for text in values]
    failed = False
    for line in open(budget):
        parts = line.split()
        if not parts or parts[0].startswith("#"):
            continue
        target, *variant, field, most = parts
        most, at = int(most), FIELDS.index(field)
        found = sizes[target, *(variant or ["inbox"])][at]
        if variant:
            # what the image has more with it than with the least there is
            found -= sizes[target, "inbox"][at]
            field = f"{variant[0]} {field}"
        print(f"{number(found):>8} of {number(most):>8} bytes  {target} {field}")
        if found is None or found > most:
            print(f"{target}: {field} is over its budget", file=sys.stderr)
            failed = True

    names = {"inbox": "the least: ledger, loop, inbox", "hal": "and `hal`", "line": "and settings by line",
             "panel": "and the panel, in English", "panel-all": "and the panel, in five languages",
             "log": "and `log`, with a logger", "defmt": "and `defmt`, with a logger"}
    size_rows = [
        [TARGETS[target], names[name], *map(number, sizes[target, name])]
        for target in TARGETS for name in names if (target, name) in sizes
    ]
    call_rows = [
        [TARGETS[target], name, *map(number, found)]
        for (target, name), found in sorted(calls.items(), key=lambda item: (item[0][0] != "thumbv7m-none-eabi", int(item[0][1])))
    ]
    blocks = {
        "sizes": table(["processor", "with", *(f"`{f}`" if f[0] == "." else f for f in FIELDS)], size_rows),
        "calls": table(["processor", "entries", "wake", "with a roll", "late by weeks", "setting", "timetable", "start"], call_rows),
        "compiler": f"Compiler: {compiler}.",
    }
    text = open(page).read()
    said = {name: re.search(f"<!-- {name} -->\n(.*?)\n<!-- end -->", text, re.S).group(1) for name in blocks}
    if "--write" in sys.argv:
        for name, block in blocks.items():
            text = text.replace(f"<!-- {name} -->\n{said[name]}\n<!-- end -->", f"<!-- {name} -->\n{block}\n<!-- end -->")
        open(page, "w").write(text)
        print(f"{page} is written")
    elif said["compiler"].split(" (")[0] != blocks["compiler"].split(" (")[0]:
        print(f"{page} is of another compiler, and is not compared: {said['compiler']}")
    else:
        for name in ("sizes", "calls"):
            failed |= not alike(page, said[name], blocks[name])
    return 1 if failed else 0


def alike(page, said, found):
    """Whether two tables say the same, each number to one in a hundred."""
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in said.splitlines()]
    others = [[cell.strip() for cell in line.strip("|").split("|")] for line in found.splitlines()]
    good = [len(row) for row in cells] == [len(row) for row in others]
    for row, other in zip(cells, others):
        for left, right in zip(row, other):
            numbers = [cell.replace(" ", "") for cell in (left, right)]
            if all(cell.isdigit() for cell in numbers):
                good &= abs(int(numbers[0]) - int(numbers[1])) * 100 <= int(numbers[1])
            else:
                good &= left == right
    if not good:
        print(f"{page} says:\n{said}\nmeasured:\n{found}\n"
              "Write it anew: bash tests/on-target/run --write", file=sys.stderr)
    return good


if __name__ == "__main__":
    sys.exit(main())
