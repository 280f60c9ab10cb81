"""One build that holds every mutant that compiles."""

import collections, json, os, pathlib, re, shutil, subprocess

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
HERE = ROOT / "tests" / "mutants"
NICE = ["nice", "-n", os.environ.get("MUTANTS_NICE", "15")]
# what is changed: a crate, and of its files those in a folder (without their tests); and
# the tests that are run, as words for cargo
Part = collections.namedtuple("Part", "name package src folder tests")


def environment(part, work):
    return dict(
        os.environ,
        CARGO_TARGET_DIR=str(work.parent / "build"),
        CARGO_TERM_COLOR="never",
        CARGO_PROFILE_DEV_DEBUG="0",
        CARGO_PROFILE_TEST_DEBUG="0",
        # the switch asks whether the compiler or the machine works out a value
        RUSTC_BOOTSTRAP=part.package.replace("-", "_"),
        RUSTFLAGS="--cap-lints allow",
    )


def copy_tree(tree):
    """The files that git knows, as they are in the working tree; those that are the same stay."""
    names = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout.split("\0")
    for name in filter(None, names):
        here, there = ROOT / name, tree / name
        if here.is_symlink() or not here.is_file():
            continue
        text = here.read_bytes()
        pristine = tree.parent / "pristine" / name
        if not pristine.exists() or pristine.read_bytes() != text or not there.exists():
            for path in (pristine, there):
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(text)
                shutil.copymode(here, path)


def write(path, text):
    if not path.exists() or path.read_text() != text:
        path.write_text(text)


def unweave(part, mutants, tree):
    """Files that hold none of these mutants as they are: another list may have been woven into them."""
    pristine = tree.parent / "pristine"
    woven = {mutant["file"] for mutant in mutants}
    for path in (pristine / part.folder).rglob("*.rs"):
        name = str(path.relative_to(pristine))
        if name not in woven:
            write(tree / name, path.read_text())


def add_switch(part, tree):
    lib = tree / part.src / "lib.rs"
    text = (tree.parent / "pristine" / part.src / "lib.rs").read_text()
    text = "#![feature(core_intrinsics, const_eval_select)]\n" + text
    text = re.sub(r"^((pub )?mod )", r"mod mutant_switch;\n\1", text, count=1, flags=re.M)
    write(lib, text)
    write(tree / part.src / "mutant_switch.rs", (HERE / "weave/src/switch.rs.in").read_text())


def blamed(message, stretches, mutants):
    """The mutants to which an error of the compiler belongs."""
    spans = sorted(message["spans"], key=lambda span: not span["is_primary"])
    for own in (True, False):
        for span in spans:
            around = [
                s
                for s in stretches.get(span["file_name"], [])
                if s["own"] == own and s["start"] <= span["byte_start"] and span["byte_end"] <= s["end"]
            ]
            if around:
                return min(around, key=lambda s: s["end"] - s["start"])["mutants"]
    if (message["code"] or {}).get("code") == "E0308" and spans:
        # a function returns "some" type, which its own body decides after the mutant did
        before = [
            s
            for s in stretches.get(spans[0]["file_name"], [])
            if s["end"] <= spans[0]["byte_start"]
            and "impl " in (mutants[s["mutants"][0]]["function"] or {}).get("return_type", "")
        ]
        if before:
            return max(before, key=lambda s: s["end"])["mutants"]
    if (message["code"] or {}).get("code") == "E0004" and spans:
        # a match that does not hold without one of its arms: the arms of that function
        named = [int(n) for n in re.findall(r"mutant_switch::on\((\d+)\)", message["rendered"])]
        if named:
            return named
        after = sorted(
            (s["start"], s["mutants"][0])
            for s in stretches.get(spans[0]["file_name"], [])
            if s["start"] > spans[0]["byte_end"] and mutants[s["mutants"][0]]["genre"] == "MatchArm"
        )
        of = lambda number: (mutants[number]["function"] or {}).get("span")
        return [n for _, n in after if of(n) == of(after[0][1])]
    return []


def build(part, mutants, work):
    """Weaves, builds the tests, and gives the mutants that do not compile, with the reason."""
    tree = work / "tree"
    copy_tree(tree)
    subprocess.run(
        [*NICE, "cargo", "build", "--quiet", "--locked", "--target-dir", str(work.parent / "weave")],
        cwd=HERE / "weave",
        check=True,
    )
    (work / "list.json").write_text(json.dumps(mutants))
    known = work / "unviable.json"
    # by name: numbers change with the list
    before = json.loads(known.read_text()) if known.exists() else {}
    unviable = {n: before[m["name"]] for n, m in enumerate(mutants) if m["name"] in before}
    unweave(part, mutants, tree)
    add_switch(part, tree)
    while True:
        (work / "skip.json").write_text(json.dumps(sorted(unviable)))
        weave = str(work.parent / "weave" / "debug" / "dosewright-weave")
        done = subprocess.run(
            [weave, work / "pristine", tree, work / "list.json", work / "skip.json"],
            check=True, capture_output=True, text=True,
        )
        woven = json.loads(done.stdout)
        for number in woven["lost"]:
            unviable.setdefault(number, "no || beside a let")
        done = subprocess.run(
            [*NICE, "cargo", "test", "--no-run", "--locked", *part.tests, "--message-format=json"],
            cwd=tree, env=environment(part, work), stdout=subprocess.PIPE, text=True,
        )
        lines = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
        new = {}
        for line in lines:
            message = line.get("message", {})
            if line["reason"] == "compiler-message" and message["level"] == "error":
                for number in blamed(message, woven["files"], mutants):
                    if number not in unviable:
                        code = (message["code"] or {}).get("code") or "error"
                        new[number] = f"{code}: {message['message']}"
        unviable |= new
        known.write_text(json.dumps({mutants[n]["name"]: why for n, why in unviable.items()}, indent=0))
        if done.returncode == 0:
            break
        if not new:
            raise SystemExit("tests/mutants: the woven tree does not build, and no mutant is to blame")
    artifacts = [line for line in lines if line["reason"] == "compiler-artifact" and line["executable"]]
    home = lambda artifact: str(pathlib.Path(artifact["manifest_path"]).parent)
    programs = []
    for a in artifacts:
        if a["profile"]["test"]:
            # with those that the tests of its package may run
            of_package = [b for b in artifacts if home(b) == home(a) and not b["profile"]["test"]]
            beside = [b["executable"] for b in of_package]
            programs.append((a["executable"], home(a), a["target"]["name"], beside))
    (work / "programs.json").write_text(json.dumps(programs))
    return unviable
