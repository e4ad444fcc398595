# SPDX-License-Identifier: GPL-3.0-or-later
"""House rules that a program can check. Usage: check.py RULE [BUILD-FOLDER]; no output when kept."""

import concurrent.futures
import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("core", "drivers", "daemon", "tools/gradus", "tools/standin", "tools/benchmark")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "LICENSE", "CMakeLists.txt",
             "daemon", "drivers", "core", "config", "tests", "tools"}
LONGEST_FUNCTION = 60
LONGEST_FILE = 500


def sources(*patterns):
    for room in ROOMS:
        for pattern in patterns:
            yield from sorted((ROOT / room).rglob(pattern))


def tracked():
    listing = subprocess.run(["git", "-C", ROOT, "ls-files"], capture_output=True, text=True)
    return listing.stdout.split("\n") if listing.returncode == 0 else []


def includes():
    """Calls go down the house only, as tools/directions has it; the build checks it too."""
    run = subprocess.run(["cmake", "-D", f"SOURCE={ROOT}", "-P", ROOT / "tools/directions.cmake"],
                         capture_output=True, text=True)
    yield from run.stderr.splitlines()


def modules():
    """Each module (a .c with its headers, private ones too) and those it includes."""
    includes = {}
    for path in sources("*.[ch]"):
        module = path.parent / re.sub(r"_priv$", "", path.stem)
        for name in re.findall(r'^#include "([^"]+)"', path.read_text(), re.MULTILINE):
            target = path.parent / name if "/" not in name else ROOT / name
            target = target.parent / re.sub(r"_priv$", "", target.stem)
            if target != module:
                includes.setdefault(module, set()).add(target)
    return includes


def reach(includes, start):
    found, left = set(), [start]
    while left:
        for target in includes.get(left.pop(), ()):
            if target not in found:
                found.add(target)
                left.append(target)
    return found


def circles():
    """No files include each other in a circle but two halves of one idea, which say so at their tops."""
    includes = modules()
    below = {module: reach(includes, module) for module in includes}
    for module in sorted(includes):
        others = sorted(other for other in below[module] if module in below.get(other, ()))
        others.remove(module) if module in others else None
        if not others:
            continue
        name = module.relative_to(ROOT)
        top = module.with_suffix(".h").read_text()[:1500]
        if len(others) > 1 or f"other half is {others[0].name}.h" not in re.sub(r"\s+\*?\s*", " ", top):
            yield f"{name}: in a circle with {', '.join(str(o.relative_to(ROOT)) for o in others)}"


def documented():
    """Every function in a header has a comment of its own or belongs to a commented group."""
    for path in sources("*.h"):
        lines = path.read_text().split("\n")
        for number, line in enumerate(lines):
            if not re.match(r"(?!typedef|static|return|#)[a-z][\w\s\*]*\b\w+\(", line):
                continue
            above = number - 1
            while above >= 0 and re.match(r"(?!\s*/?\*).*\S.*[;,]$", lines[above]):
                above -= 1
            if not lines[above].rstrip().endswith("*/"):
                yield f"{path.relative_to(ROOT)}:{number + 1}: function without a comment: {line}"


def sizes():
    """Functions short enough to see whole, files with one idea."""
    for path in sources("*.c"):
        lines = path.read_text().split("\n")
        if len(lines) > LONGEST_FILE:
            yield f"{path.relative_to(ROOT)}: {len(lines)} lines, {LONGEST_FILE} at most"
        start = None
        for number, line in enumerate(lines, 1):
            if line == "{":
                start = number
            elif line == "}" and start:
                if number - start - 1 > LONGEST_FUNCTION:
                    yield (f"{path.relative_to(ROOT)}:{start}: function of {number - start - 1} "
                           f"lines, {LONGEST_FUNCTION} at most")
                start = None


def layout():
    """The top level holds the agreed entries, and each file says its licence."""
    for name in {entry.split("/")[0] for entry in tracked() if entry}:
        if name not in TOP_LEVEL and not name.startswith("."):
            yield f"{name}: not one of the agreed entries of the top level"
    for entry in tracked():
        path = ROOT / entry
        if re.search(r"\.(c|h|py|cmake|sh)$", entry) and path.exists():
            if "SPDX-License-Identifier: GPL-3.0-or-later" not in path.read_text()[:300]:
                yield f"{entry}: no SPDX line at its top"


def waits():
    """Nothing sleeps in place of waiting for what it waits for."""
    sleeping = re.compile(r"\b(usleep|nanosleep|sleep)\s*\(|time\.sleep\(")
    for path in list(sources("*.c")) + sorted((ROOT / "tests").rglob("*.[c]")) + \
            sorted((ROOT / "tests").rglob("*.py")):
        if path == Path(__file__).resolve():
            continue
        for number, line in enumerate(path.read_text().split("\n"), 1):
            if sleeping.search(line):
                yield f"{path.relative_to(ROOT)}:{number}: sleeps: {line.strip()}"


CLOCKS = {"drivers/basics/deadline.c", "daemon/basics/wall_clock.c", "daemon/basics/thread.c",
          "daemon/burnin/burnin.c"}
TIMES = """#include "daemon/burnin/plan_time.h"
void test(struct moment m, struct wall_time w, struct duration d, struct plan_time p,
          struct steady_time s);
void test(struct moment m, struct wall_time w, struct duration d, struct plan_time p,
          struct steady_time s)
{ (void)m, (void)w, (void)d, (void)p, (void)s, (void)(%s); }
"""
GOOD_TIMES = ("moment_since(m, m)", "wall_time_plus(w, d)", "plan_time_since(p, p)",
              "steady_time_since(s, s)", "wall_time_since(w, plan_time_shown(p))")
MIXED_TIMES = ("m - m", "m + d", "moment_since(m, w)", "moment_since(m, s)", "moment_plus(m, m)",
               "moment_plus(m, 5)", "moment_before(w, m)", "wall_time_since(w, p)",
               "plan_time_before(p, w)", "duration_shorter(d, m)", "steady_time_since(s, m)")


def compiles(expression):
    run = subprocess.run([os.environ.get("CC", "cc"), "-std=gnu17", "-D_GNU_SOURCE", "-I", ROOT,
                          "-fsyntax-only", "-x", "c", "-"], input=TIMES % expression,
                         capture_output=True, text=True)
    return run.returncode == 0


def clocks():
    """Each clock is read in one place, and its times mix with no other's."""
    reading = re.compile(r"\b(clock_gettime|gettimeofday)\s*\((?!\d\))|\btime\s*\(NULL\)")
    for path in sources("*.[ch]"):
        name = str(path.relative_to(ROOT))
        if not name.startswith(("core/", "drivers/", "daemon/")) or name in CLOCKS:
            continue
        for number, line in enumerate(path.read_text().split("\n"), 1):
            if reading.search(line):
                yield f"{name}:{number}: reads a clock by itself: {line.strip()}"
    yield from (f"core/basics/moment.h: {good} does not compile"
                for good in GOOD_TIMES if not compiles(good))
    yield from (f"core/basics/moment.h: {mixed} compiles"
                for mixed in MIXED_TIMES if compiles(mixed))


def leftovers():
    """Nothing is left for later in the code."""
    words = re.compile(r"\b(TO" r"DO|FIX" r"ME|XX" r"X|HA" r"CK)\b")
    for entry in tracked():
        path = ROOT / entry
        if not re.search(r"\.(c|h|py|md|cfg|txt)$", entry) or not path.exists():
            continue
        for number, line in enumerate(path.read_text(errors="replace").split("\n"), 1):
            if words.search(line):
                yield f"{entry}:{number}: left for later: {line.strip()}"


SOURCE = re.compile(
    r"JCGM \d|EA-4/02|ILAC-G8|Z540|ISO(/IEC)? \d|IEC \d|IEEE (Std )?\d|NIST|SI Brochure|SCPI-1999|USBTMC|RFC \d|"
    r"JSON-RPC 2\.0|libconfig 1\.5|scipy|numpy|Python's complex|\bpp?\. \d|common practice, no source|"
    r"from memory|own derivation|own figure|own rule|Source of all:", re.IGNORECASE)
NOTE_NUMBER = re.compile(r"\b[LM]\d{2,3}\b|\([LM]\d\)|\bm\d{1,2}_[a-z]|\bm\d{2}\b|\b(checks?|facts?) [LMm]\d|"
                         r"(links|metrology|statistics) reference|reference (page|notes)\b")


def tests_without_source(path):
    """Test functions with no source in their comments, those of their tables included; all of a
    file that says "Source of all:" at its top have one."""
    text = path.read_text()
    if "Source of all:" in text.split("#include", 1)[0]:
        return
    for piece in re.split(r"^}$", text[text.rindex("#include"):], flags=re.MULTILINE):
        test = re.search(r"^static void (\w+)\(void \*\*state\)", piece, re.MULTILINE)
        if test and not SOURCE.search(re.sub(r"\s+\*?\s*", " ", piece)):
            yield test[1]


def sourced():
    """Tests against the outside name the outside; nothing cites notes that are not in the tree."""
    for entry in tracked():
        path = ROOT / entry
        if not re.search(r"\.(c|h|py|md|cfg|json|txt)$", entry) or "/corpus_" in entry or not path.is_file():
            continue
        text = path.read_text(errors="replace")
        if path != Path(__file__).resolve():
            for number, line in enumerate(text.split("\n"), 1):
                if NOTE_NUMBER.search(line):
                    yield f"{entry}:{number}: cites a number of notes that are not here: {line.strip()}"
        if re.match(r"tests/reference/test_", entry):
            yield from (f"{entry}: {name}: no source named" for name in tests_without_source(path))
        elif re.match(r"tests/reference/[^/]*$", entry) and not SOURCE.search(text):
            yield f"{entry}: no source named"


def files_to_format():
    found = list(sources("*.[ch]"))
    for folder in ("core", "drivers", "daemon", "tools", "reference", "fuzz"):
        found += sorted((ROOT / "tests" / folder).rglob("*.[ch]"))
    return [str(path) for path in found]


def formatted():
    """clang-format has nothing to say."""
    run = subprocess.run(["clang-format", "--dry-run", "--Werror", *files_to_format()], cwd=ROOT,
                         capture_output=True, text=True)
    yield from (line for line in run.stderr.split("\n") if "error:" in line)


def tidy(path):
    run = subprocess.run(["clang-tidy", "--quiet", "-p", sys.argv[2], path], cwd=ROOT,
                         stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    found = [line for line in run.stdout.split("\n") if re.search(r"(warning|error):", line)]
    return found or ([f"{path}: clang-tidy failed without saying why"] if run.returncode else [])


def tidied():
    """clang-tidy has nothing to say; a process a file, for it mixes up va_lists of several."""
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        for found in pool.map(tidy, [str(path) for path in sources("*.c")]):
            yield from found


RULES = {rule.__name__: rule
         for rule in (includes, circles, documented, sizes, layout, waits, clocks, leftovers, sourced, formatted,
                      tidied)}

if __name__ == "__main__":
    found = list(RULES[sys.argv[1]]())
    print("\n".join(found))
    sys.exit(1 if found else 0)
