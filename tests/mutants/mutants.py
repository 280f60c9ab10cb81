"""Runs the mutants that cargo-mutants lists; see tests/mutants/run."""

import collections, hashlib, json, pathlib, random, re, subprocess, sys, time

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "tests" / "mutants"))
import hunt, woven  # noqa: E402

# the benches and the images for a chip are no part of what is tested
CORE = woven.Part(
    "core", "dosewright-core", "core/src", "core/src/",
    ["-p", "dosewright-core", "-p", "dosewright-sim", "-p", "dosewright-tests"],
)
AUDIT = woven.Part(
    "audit", "dosewright-sim", "sim/src", "sim/src/audit/",
    ["-p", "dosewright-sim", "--lib", "-p", "dosewright-tests"]
    + ["--test=conformance", "--test=regressions"],
)


def listed(part):
    words = ["cargo", "mutants", "--list", "--json", "-p", part.package]
    done = subprocess.run(words, cwd=ROOT, check=True, capture_output=True, text=True)
    return [
        mutant
        for mutant in json.loads(done.stdout)
        if mutant["file"].startswith(part.folder) and "tests" not in pathlib.Path(mutant["file"]).parts
    ]


def value(words, name, default):
    """The number of a word as `--sample=350`."""
    given = [word.removeprefix(name + "=") for word in words if word.startswith(name + "=")]
    return int(given[-1]) if given else default


def drawn(mutants, number, seed):
    """So many by chance, the same for a seed: a line more or less in a file changes few."""
    seen = collections.Counter()
    keys = {}
    for mutant in mutants:
        # without its line and column
        what = re.sub(r":\d+:\d+: ", ": ", mutant["name"])
        seen[what] += 1
        keys[mutant["name"]] = hashlib.sha256(f"{seed} {seen[what]} {what}".encode()).digest()
    return sorted(mutants, key=lambda mutant: keys[mutant["name"]])[:number]


def left(mutants, words):
    """Those that earlier samples did not draw, told as `--but=350:2,200:3`, size and seed."""
    for given in [word.removeprefix("--but=") for word in words if word.startswith("--but=")]:
        for earlier in given.split(","):
            size, _, seed = earlier.partition(":")
            if not (size.isdecimal() and seed.isdecimal()):
                raise SystemExit(f"tests/mutants: --but={given}: {earlier!r} is no SIZE:SEED, as 350:2")
            # each of what those before it left: never less than it drew of all
            gone = {mutant["name"] for mutant in drawn(mutants, int(size), int(seed))}
            mutants = [mutant for mutant in mutants if mutant["name"] not in gone]
    return mutants


def changed(part, commit):
    """Lines of each file that were changed since a commit."""
    words = ["git", "diff", "--unified=0", "--no-color", "--no-ext-diff", commit, "--", part.folder]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"tests/mutants: --since={commit}: {done.stderr.strip()}")
    lines, name = collections.defaultdict(set), None
    for line in done.stdout.splitlines():
        if line.startswith("+++ "):
            name = line.removeprefix("+++ b/")
        elif hunk := re.match(r"@@ -\S+ \+(\d+)(?:,(\d+))? @@", line):
            first, count = int(hunk[1]), int(hunk[2] or 1)
            lines[name].update(range(first, first + count))
    return lines


def since(part, mutants, words):
    """Those whose place was changed since the commit of `--since=`, where it is given."""
    for commit in [word.removeprefix("--since=") for word in words if word.startswith("--since=")]:
        lines = changed(part, commit)
        span = lambda m: range(m["span"]["start"]["line"], m["span"]["end"]["line"] + 1)
        mutants = [m for m in mutants if not lines[m["file"]].isdisjoint(span(m))]
    return mutants


def table(mutants, verdicts):
    """Counts by file, as Markdown."""
    rows = collections.defaultdict(collections.Counter)
    for mutant in mutants:
        verdict = verdicts.get(mutant["name"], {"verdict": "not run"})["verdict"]
        for row in (mutant["file"], "together"):
            rows[row]["mutants"] += 1
            rows[row][verdict] += 1
    print("| file | mutants | viable | caught | of them by time | missed | not run |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name in sorted(rows, key=lambda n: (n == "together", n)):
        r = rows[name]
        viable = r["mutants"] - r["unviable"] - r["not run"]
        caught = r["caught"] + r["timeout"]
        cells = [r["mutants"], viable, caught, r["timeout"], viable - caught, r["not run"]]
        print(f"| {name} | " + " | ".join(map(str, cells)) + " |")


def main():
    words = sys.argv[1:]
    part = CORE
    if words[:1] == ["audit"]:
        part, words = AUDIT, words[1:]
    work = ROOT / "target" / "mutants" / part.name
    work.mkdir(parents=True, exist_ok=True)
    kept = work / "verdicts.json"
    if "--again" in words:
        kept.unlink(missing_ok=True)
    wanted = [word for word in words if not word.startswith("--")]
    mutants = since(part, left(listed(part), words), words)
    sample = value(words, "--sample", len(mutants))
    if sample < len(mutants):
        mutants = drawn(mutants, sample, value(words, "--seed", 1))
    verdicts = json.loads(kept.read_text()) if kept.exists() else {}
    settled = {"caught", "timeout"} | ({"missed", "unreached"} if "--new" in words else set())
    unviable = woven.build(part, mutants, work)
    for number, why in unviable.items():
        verdicts[mutants[number]["name"]] = {"verdict": "unviable", "by": why}
    chosen = [
        number
        for number, mutant in enumerate(mutants)
        if number not in unviable
        and verdicts.get(mutant["name"], {}).get("verdict") not in settled
        and (not wanted or any(word in mutant["file"] for word in wanted))
    ]
    # by chance, so that what was run when it is stopped is a fair sample
    random.Random(0).shuffle(chosen)
    # and file by file in the order of the words
    place = lambda number: [word in mutants[number]["file"] for word in wanted].index(True)
    if wanted:
        chosen.sort(key=place)
    tests = hunt.tests(part, work)
    written = time.monotonic()
    for number, verdict in hunt.run(mutants, chosen, tests):
        verdicts[mutants[number]["name"]] = verdict
        if verdict["verdict"] not in ("caught", "timeout"):
            print(f"{verdict['verdict']}: {mutants[number]['name']}", flush=True)
        if time.monotonic() > written + 5:
            kept.write_text(json.dumps(verdicts, indent=0))
            written = time.monotonic()
    kept.write_text(json.dumps(verdicts, indent=0))
    shown = [m for m in mutants if not wanted or any(word in m["file"] for word in wanted)]
    table(shown, verdicts)
    missed = [m for m in shown if verdicts.get(m["name"], {}).get("verdict") in ("missed", "unreached")]
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
