"""Reads what callgrind has counted, and compares it with what is written down.

counts.py CALLGRIND_OUT WRITTEN_DOWN [--write]
"""

import re
import sys

# what is counted, and how many units of it one call of the function makes
PIECES = {
    "measured_next_due": ("next due over 32 entries", 256),
    "measured_idle_wake": ("a call that has nothing to do", 256),
    "measured_pulse_edges": ("a pump edge, with its share of the ledger", 16384),
    "measured_appends": ("an append to the ledger", 256),
    "measured_boot": ("a start from a full store", 1),
}
RISE = 1.05


def inclusive(path):
    """Instructions of each function with all that it calls, and how often it is called."""
    names, total, calls = {}, {}, {}

    def name(text):
        number, _, rest = text.partition(" ")
        if rest:
            names[number] = rest
        return names[number]

    function = callee = None
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            line = line.rstrip("\n")
            if line.startswith("fn="):
                function = name(line[3:])
            elif line.startswith("cfn="):
                callee = name(line[4:])
            elif line.startswith("calls="):
                count = int(line[6:].split()[0])
                calls[callee] = calls.get(callee, 0) + count
                figures = next(lines).split()
                total[function] = total.get(function, 0) + int(figures[1])
            elif re.match(r"[+\-*\d]", line) and function:
                figures = line.split()
                if len(figures) > 1:
                    total[function] = total.get(function, 0) + int(figures[1])
    return total, calls


def counted(path):
    total, calls = inclusive(path)
    found = {}
    for piece, (_, units) in PIECES.items():
        functions = [name for name in total if piece in name and "{" not in name]
        if len(functions) != 1:
            sys.exit(f"counts.py: {piece} is there {len(functions)} times: {functions}")
        times = max(calls.get(functions[0], 1), 1)
        found[piece] = round(total[functions[0]] / (units * times))
    return found


def main():
    path, written, *options = sys.argv[1:]
    found = counted(path)
    if options == ["--write"]:
        with open(written, "w", encoding="utf-8") as out:
            out.write("# Instructions of each piece, as tests/bench/guard counts them.\n")
            for piece, (what, _) in PIECES.items():
                out.write(f"{piece:<22} {found[piece]:>8}  {what}\n")
    known = {}
    with open(written, encoding="utf-8") as lines:
        for line in lines:
            if not line.startswith("#"):
                piece, count, _ = line.split(maxsplit=2)
                known[piece] = int(count)
    risen = False
    print(f"{'instructions of':<44} {'written':>9} {'now':>9} {'change':>8}")
    for piece, (what, _) in PIECES.items():
        before, now = known.get(piece), found[piece]
        if before is None:
            sys.exit(f"counts.py: {piece} is not written down in {written}")
        mark = "  RISEN" if now > before * RISE else ""
        risen |= bool(mark)
        print(f"{what:<44} {before:>9} {now:>9} {now / before - 1:>+8.1%}{mark}")
    if risen:
        print("A piece costs over 5 % more. Where that is meant: bash tests/bench/guard --write")
    sys.exit(1 if risen else 0)


main()
