#!/usr/bin/env python3
"""What can be read out of a linked image for Cortex-M: a bound of its stack, and the
copies it makes.

    image.py stack IMAGE [--root FUNCTION]   bytes of stack at most
    image.py copies IMAGE MOST [NAME=MORE]... [--strict]
                                             every call of memcpy or memmove: its length
                                             is MOST bytes at most, or MORE in a function
                                             of that name; with --strict it is a constant
                                             each time (a Cortex-M0+ keeps some of them on
                                             the stack, where they are not followed)

The stack is the longest way through the calls, each function with the frame that the
compiler wrote down for it (.stack_sizes), or, for assembly, with all it pushes. Without
--root it is that of the reset handler and of the deepest interrupt handler on top of it.
A recursion has no bound and is an error. So is a call through a pointer, unless every
function whose address is taken anywhere can be the one that is called: then all of them
are counted, and listed.

Only the standard library, and arm-none-eabi-objdump and -nm.
"""

import re
import struct
import subprocess
import sys

# what an exception puts on the stack: eight words, and one to align it
EXCEPTION = 36
COPIES = re.compile(r"^(__aeabi_)?mem(cpy|move)[48]?$")


def run(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


class Image:
    def __init__(self, path):
        self.path = path
        with open(path, "rb") as file:
            self.data = file.read()
        self.sections = self._sections()
        self.frames = self._frames()
        self.names, self.at = {}, {}
        self._symbols()
        self.code = {}
        self._disassemble()

    def _sections(self):
        offset = struct.unpack_from("<I", self.data, 32)[0]
        size, count, names = struct.unpack_from("<HHH", self.data, 46)
        heads = [struct.unpack_from("<10I", self.data, offset + i * size) for i in range(count)]
        base = heads[names][4]

        def name(at):
            return self.data[base + at : self.data.index(b"\0", base + at)].decode()

        return {name(h[0]): (h[3], self.data[h[4] : h[4] + h[5]] if h[1] != 8 else b"") for h in heads}

    def _frames(self):
        """.stack_sizes: an address and a length, as often as there are functions."""
        frames, at = {}, 0
        data = self.sections.get(".stack_sizes", (0, b""))[1]
        while at + 4 < len(data):
            address = struct.unpack_from("<I", data, at)[0] & ~1
            at, shift, value = at + 4, 0, 0
            while True:
                byte = data[at]
                value |= (byte & 127) << shift
                at, shift = at + 1, shift + 7
                if byte < 128:
                    break
            frames[address] = value
        return frames

    def _symbols(self):
        self.ends = {}
        for line in run("arm-none-eabi-nm", "-C", self.path).splitlines():
            parts = line.split(None, 2)
            if len(parts) == 3 and parts[1] in "tTwW":
                address = int(parts[0], 16) & ~1
                # of several names of one function the first
                self.at.setdefault(address, parts[2])
                self.names.setdefault(parts[2], address)
        for line in run("arm-none-eabi-nm", "-S", self.path).splitlines():
            parts = line.split()
            if len(parts) == 4 and parts[2] in "tTwW":
                start = int(parts[0], 16) & ~1
                self.ends[start] = max(start + int(parts[1], 16), self.ends.get(start, 0))

    def _disassemble(self):
        """The instructions of each function, as (address, mnemonic, operands)."""
        current, end = None, 0
        for line in run("arm-none-eabi-objdump", "-d", "--no-show-raw-insn", self.path).splitlines():
            head = re.match(r"^([0-9a-f]+) <", line)
            if head:
                start = int(head.group(1), 16)
                # what fills the gap to the next function is no code
                current, end = self.code.setdefault(start, []), self.ends.get(start, 1 << 32)
                continue
            found = re.match(r"^\s+([0-9a-f]+):\t(\S+)\s*(.*)$", line)
            if found and current is not None and int(found.group(1), 16) < end:
                text = found.group(3).split("\t")[0].split("@")[0].strip()
                current.append((int(found.group(1), 16), found.group(2), text))

    def name(self, address):
        return self.at.get(address, hex(address))

    def calls(self, start):
        """Functions that one calls or jumps to, and where it calls any by a pointer: that
        is by blx or bx, or by a load of pc. A mov to pc is a jump by a table of its own."""
        code, to, pointers = self.code[start], set(), []
        end = code[-1][0] if code else start
        for address, mnemonic, operands in code:
            target = re.match(r"(?:\w+, )?([0-9a-f]+) <", operands)
            if re.match(r"^(bl|b|cbn?z|b(eq|ne|cs|cc|mi|pl|vs|vc|hi|ls|ge|lt|gt|le|hs|lo))(\.[nw])?$", mnemonic):
                if target:
                    other = int(target.group(1), 16)
                    # a Cortex-M0+ also jumps far inside a function by bl
                    if not start < other <= end and (other != start or mnemonic == "bl"):
                        to.add(self.function_of(other))
            elif mnemonic in ("blx", "bx") and operands != "lr":
                pointers.append(address)
            elif mnemonic.startswith("ldr") and operands.startswith("pc,"):
                pointers.append(address)
        return to, pointers

    def function_of(self, address):
        if address in self.code:
            return address
        return max(start for start in self.code if start <= address)

    def frame(self, start):
        """Its frame, as the compiler says; of assembly all that it pushes."""
        if start in self.frames:
            return self.frames[start]
        size = 0
        for _, mnemonic, operands in self.code[start]:
            if re.match(r"^(push|stmdb|stmfd)", mnemonic) and (mnemonic.startswith("push") or "sp!" in operands):
                for part in operands[operands.index("{") + 1 : operands.index("}")].split(","):
                    ends = [register(name) for name in part.strip().split("-")]
                    size += 4 * (ends[-1] - ends[0] + 1)
            found = re.match(r"^sp, (?:sp, )?#(\d+)$", operands)
            if mnemonic.startswith("sub") and found:
                size += int(found.group(1))
        return size

    def taken(self):
        """Functions whose address stands somewhere as a number."""
        code = {start | 1 for start in self.code}
        found = set()
        for name in (".text", ".rodata", ".data"):
            data = self.sections.get(name, (0, b""))[1]
            for (word,) in struct.iter_unpack("<I", data[: len(data) & ~3]):
                if word in code:
                    found.add(word & ~1)
        for instructions in self.code.values():
            low = {}
            for _, mnemonic, operands in instructions:
                parts = re.match(r"(\w+), #(\d+)", operands)
                if parts and mnemonic.startswith("movw"):
                    low[parts.group(1)] = int(parts.group(2))
                elif parts and mnemonic.startswith("movt"):
                    word = int(parts.group(2)) << 16 | low.get(parts.group(1), 0)
                    if word in code:
                        found.add(word & ~1)
        return found


def register(name):
    return {"sp": 13, "lr": 14, "pc": 15, "sb": 9, "sl": 10, "fp": 11, "ip": 12}.get(name) or int(name[1:])


class Depths:
    def __init__(self, image):
        self.image, self.known, self.way = image, {}, []
        self.taken = None
        self.by_pointer = []

    def of(self, start):
        """The deepest stack from a function on, and the way there."""
        if start in self.way:
            loop = " -> ".join(self.image.name(at) for at in self.way[self.way.index(start) :])
            sys.exit(f"{self.image.path}: a recursion has no bound: {loop}")
        if start not in self.known:
            self.way.append(start)
            to, pointers = self.image.calls(start)
            if pointers:
                if self.taken is None:
                    self.taken = self.image.taken()
                self.by_pointer += [(start, at) for at in pointers]
                to = to | self.taken
            deepest = max((self.of(other) for other in to), default=(0, []))
            self.known[start] = (self.image.frame(start) + deepest[0], [start, *deepest[1]])
            self.way.pop()
        return self.known[start]


def stack(image, root):
    depths = Depths(image)
    if root:
        deepest, way = depths.of(image.names[root])
        parts = [(root, deepest, way)]
    else:
        vectors = image.sections[".vector_table"][1]
        words = [word & ~1 for (word,) in struct.iter_unpack("<I", vectors)][1:]
        reset, handlers = words[0], {word for word in words[1:] if word in image.code}
        deepest, way = depths.of(reset)
        on_top, handler = max((depths.of(one) for one in handlers), default=(0, []))
        parts = [("reset", deepest, way), ("interrupt", on_top + EXCEPTION, handler)]
        deepest += on_top + EXCEPTION
    for name, size, way in parts:
        print(f"{name} {size}: the deepest way", file=sys.stderr)
        for start in way:
            print(f"{image.frame(start):6d}  {image.name(start)[:68]}", file=sys.stderr)
    for start, at in depths.by_pointer:
        print(f"by a pointer, at {at:#x}: {image.name(start)[:60]}", file=sys.stderr)
    print(deepest)


def copies(image, most, more, strict):
    """Goes back from each call to what put the length in r2."""
    wrong = count = longest = unknown = 0
    plain = {address: name for name, address in image.names.items()}
    for start, code in image.code.items():
        if COPIES.match(plain.get(start, "")):
            # the one by the other
            continue
        entered = ways_in(image, code)
        for index, (address, mnemonic, operands) in enumerate(code):
            target = re.match(r"([0-9a-f]+) <", operands)
            if mnemonic not in ("bl", "b.w", "b.n", "b") or not target:
                continue
            if not COPIES.match(plain.get(int(target.group(1), 16), "")):
                continue
            count += 1
            length = constant(image, code, entered, "r2", index)
            longest = max(longest, length or 0)
            unknown += length is None
            here = max([most] + [size for name, size in more.items() if name in image.name(start)])
            if strict and length is None or length is not None and length > here:
                wrong += 1
                what = "no constant" if length is None else f"{length} bytes"
                print(f"a copy of {what} at {address:#x}: {image.name(start)[:60]}", file=sys.stderr)
    print(f"{count} copies, the longest of {longest} bytes, {unknown} of a length not followed")
    return wrong == 0


def ways_in(image, code):
    """The places of a function that are entered from elsewhere than the instruction
    before, each with the indices of the branches that go there; a jump by a table has
    the index -1."""
    found = {}
    base, text = image.sections[".text"]
    for index, (address, mnemonic, operands) in enumerate(code):
        target = re.match(r"(?:\w+, )?([0-9a-f]+) <", operands)
        if target and mnemonic != "bl":
            found.setdefault(int(target.group(1), 16), []).append(index)
        if mnemonic in ("tbb", "tbh"):
            # its table of half distances ends where the nearest of its targets begins
            size, at, least = (1 if mnemonic == "tbb" else 2), address + 4, 1 << 32
            while at < least:
                entry = text[at - base : at - base + size]
                goal = address + 4 + 2 * int.from_bytes(entry, "little")
                found.setdefault(goal, []).append(-1)
                least, at = min(least, goal), at + size
    return found


CONDITIONAL = re.compile(r"^(b(eq|ne|cs|cc|mi|pl|vs|vc|hi|ls|ge|lt|gt|le|hs|lo)(\.[nw])?|cbn?z)$")


def constant(image, code, entered, register, index, seen=()):
    """The largest constant that a register can hold before an instruction; None where it
    can be something else on any way there."""
    address = code[index][0]
    if (address, register) in seen:
        # round a loop: what the other ways say
        return 0
    ways = [constant(image, code, entered, register, way, (*seen, (address, register)))
            if way >= 0 else None
            for way in entered.get(address, [])]
    if index == 0:
        return None
    before, mnemonic, operands = code[index - 1]
    falls = not re.match(r"^(b(\.[nw])?|bx|tb[bh]|pop.*pc|udf)$", mnemonic)
    if mnemonic.startswith(("pop", "ldm")) and re.search(r"\bpc\b", operands):
        falls = False
    if falls:
        ways.append(set_by(image, code, entered, register, index - 1, seen))
    return None if not ways or None in ways else max(ways)


def set_by(image, code, entered, register, index, seen):
    """What an instruction leaves in a register."""
    before, mnemonic, operands = code[index]
    if re.search(rf"\b{register}!|\[{register}\b[^]]*\]!|\[{register}\], #", operands):
        return None
    parts = [part.strip() for part in operands.split(",")]
    if mnemonic in ("bl", "blx"):
        if register in ("r0", "r1", "r2", "r3", "ip", "lr"):
            return None
    elif CONDITIONAL.match(mnemonic):
        # one that was not taken changes nothing
        pass
    elif mnemonic.startswith(("ldm", "ldrd", "pop", "umull", "smull")):
        if re.search(rf"\b{register}\b", operands) or "-" in operands:
            return None
    elif parts[0] == register and not mnemonic.startswith(("str", "cmp", "cmn", "tst", "stm", "push", "it")):
        if mnemonic in ("mov", "movs", "mov.w", "movs.w", "movw") and parts[1].startswith("#"):
            return int(parts[1][1:])
        if mnemonic in ("mov", "mov.w"):
            return constant(image, code, entered, parts[1], index, seen)
        if mnemonic == "lsls" and len(parts) == 3 and parts[2].startswith("#"):
            value = constant(image, code, entered, parts[1], index, seen)
            return None if value is None else value << int(parts[2][1:])
        literal = re.match(r"\w+, \[pc, #(\d+)\]", operands)
        if mnemonic.startswith("ldr") and literal:
            base, text = image.sections[".text"]
            return struct.unpack_from("<I", text, (before + 4 & ~3) + int(literal.group(1)) - base)[0]
        return None
    return constant(image, code, entered, register, index, seen)


def main():
    if len(sys.argv) == 5 and sys.argv[1] == "stack" and sys.argv[3] == "--root":
        stack(Image(sys.argv[2]), sys.argv[4])
    elif len(sys.argv) == 3 and sys.argv[1] == "stack":
        stack(Image(sys.argv[2]), None)
    elif len(sys.argv) >= 4 and sys.argv[1] == "copies":
        strict = "--strict" in sys.argv
        more = dict(part.rsplit("=", 1) for part in sys.argv[4:] if "=" in part)
        more = {name: int(size) for name, size in more.items()}
        return 0 if copies(Image(sys.argv[2]), int(sys.argv[3]), more, strict) else 1
    else:
        print(__doc__, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
