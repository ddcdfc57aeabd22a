#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""How fast and how large, for parts: the rows that bench/run prints about meshes, each a ratio to a general-purpose library
that is timed in the same run, taking turns with ours; medians of 5 (3 with --quick).

usage: bench/parts.py [BUILD_FOLDER] [--quick] [NAME...]   (NAME: only the rows of those functions)
The yardsticks are the packages of `tools/setup --outside`; a row whose yardstick is not installed says so. Those in C++
are compiled with -O2 into the scratch folder (TMPDIR; about 0.7 GB), which is taken away at the end. Times on both sides
leave out starting the process: an interpreter's imports count for nobody."""
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import zipfile

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
OUTSIDE = os.path.join(ROOT, "bench", "outside")
PYTHON = "/usr/bin/python3" if os.path.exists("/usr/bin/python3") else "python3"  # that which Debian's packages are for
CONTENT_TYPES = ('<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
                 '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
                 '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>')
RELATIONS = ('<?xml version="1.0" encoding="UTF-8"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/'
             'relationships"><Relationship Target="/3D/3dmodel.model" Id="r0" Type="http://schemas.microsoft.com/'
             '3dmanufacturing/2013/01/3dmodel"/></Relationships>')


class Missing(Exception):
    """What a row needs is not there."""


def row(what, ratio, target, met, note=""):
    word = "" if met is None else "met" if met else "MISSED"
    print("%-64s %8.2f   %-16s %s" % (what, ratio, target, word))
    if note:
        print("    " + note)
    sys.stdout.flush()


def answer(args, huge=False):
    """Runs a program that prints one line of JSON, and reads it. huge: its malloc asks for large pages."""
    env = dict(os.environ, GLIBC_TUNABLES="glibc.malloc.hugetlb=1") if huge else None
    done = subprocess.run(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=env, check=False)
    words = done.stderr.decode(errors="replace").strip()
    if done.returncode == 77:
        raise Missing(words)
    if done.returncode != 0:
        raise RuntimeError("%s ended with status %s: %s" % (" ".join(args), done.returncode, words[-500:]))
    return json.loads(done.stdout)


def in_turns(times, *calls):
    """Each call in each round; a list of answers for each call."""
    found = [[] for _ in calls]
    for _ in range(times):
        for kept, call in zip(found, calls):
            kept.append(call())
    return found


def median(answers, *names):
    return statistics.median(sum(a[name] for name in names) for a in answers)


class Bench:
    def __init__(self, build, scratch, times, quick):
        self.build, self.scratch, self.times, self.quick = build, scratch, times, quick

    def ours(self, name):
        done = subprocess.run(["ninja", "-C", self.build, "--quiet", "bench/" + name], stdout=subprocess.PIPE,
                              stderr=subprocess.STDOUT, check=False)
        if done.returncode != 0:
            raise Missing("%s was not built: %s" % (name, done.stdout.decode(errors="replace").strip()[-200:]))
        return os.path.join(self.build, "bench", name)

    def mesh(self, triangles, kind):
        path = os.path.join(self.scratch, "%d-%s" % (triangles, kind))
        if not os.path.exists(path):
            with open(path, "wb") as f:
                subprocess.run([self.ours("make_mesh"), str(triangles), kind], stdout=f, check=True)
        # into the cache; not through this process, whose own size a child would inherit as its peak
        subprocess.run(["cat", path], stdout=subprocess.DEVNULL, check=True)
        return path

    def model(self, triangles):
        path = os.path.join(self.scratch, "%d.3mf" % triangles)
        if not os.path.exists(path):
            xml = self.mesh(triangles, "model")
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as z:
                z.writestr("[Content_Types].xml", CONTENT_TYPES)
                z.writestr("_rels/.rels", RELATIONS)
                z.write(xml, "3D/3dmodel.model")
            os.unlink(xml)
        return path

    def compiled(self, source, header, package, extra):
        if not os.path.exists(header):
            raise Missing("%s is not installed" % package)
        compiler = shutil.which(os.environ.get("CXX", "c++"))
        if not compiler:
            raise Missing("there is no C++ compiler")
        path = os.path.join(self.scratch, os.path.splitext(source)[0])
        if not os.path.exists(path):
            subprocess.run([compiler, "-O2", "-DNDEBUG", "-w", "-o", path, os.path.join(OUTSIDE, source)] + extra, check=True)
        return path

    # ---- the rows ----

    def facts(self):
        """Reading, welding, all topology, volume: of a binary STL, beside VTK's reader, edges, mass, connectivity."""
        ring, part = self.mesh(1000000, "binary"), self.ours("bench_part")
        vtk = [PYTHON, os.path.join(OUTSIDE, "vtk_mesh.py")]
        bare = answer(vtk + ["--bare"])["peak_mb"]
        mine, theirs = in_turns(self.times, lambda: answer([part, ring]), lambda: answer(vtk + [ring]))
        for what in ("triangles", "open_edges"):
            if mine[0][what] != theirs[0][what]:
                raise RuntimeError("%s: %s, by VTK %s" % (what, mine[0][what], theirs[0][what]))
        a, b = median(mine, "read", "facts"), median(theirs, "all")
        row("binary STL to facts, 1 M: times as fast as VTK", b / a, ">= 6", b >= 6 * a,
            "ours %.3f s (read %.3f, facts %.3f), VTK %.3f s" % (a, median(mine, "read"), median(mine, "facts"), b))
        peak, whole = max(m["peak_mb"] for m in mine), statistics.median(t["peak_mb"] for t in theirs)
        row("  memory: share of VTK's, less a bare interpreter", peak / (whole - bare), "< 0.7", peak < 0.7 * (whole - bare),
            "ours %.0f MB, all of the process; VTK %.0f MB with Python, which takes %.0f MB with the same imports: of all "
            "of VTK's process %.2f" % (peak, whole, bare, peak / whole))
        mine, theirs = in_turns(self.times, lambda: answer([part, ring], huge=True), lambda: answer(vtk + [ring], huge=True))
        a, b = median(mine, "read", "facts"), median(theirs, "all")
        row("  with large pages for both", b / a, ">= 3", b >= 3 * a, "ours %.3f s, VTK %.3f s" % (a, b))
        if not self.quick:
            shuffled = self.mesh(1000000, "shuffled")
            mine, theirs = in_turns(self.times, lambda: answer([part, shuffled]), lambda: answer(vtk + [shuffled]))
            a, b = median(mine, "read", "facts"), median(theirs, "all")
            row("  its triangles in no order", b / a, "", None, "ours %.3f s, VTK %.3f s" % (a, b))
            os.unlink(shuffled)

    def large(self):
        """Five million triangles in a GiB."""
        part = self.ours("bench_part")
        for kind in ("binary",) if self.quick else ("binary", "shuffled"):
            ring = self.mesh(5000000, kind)
            mine = [answer([part, ring]) for _ in range(self.times)]
            peak = max(m["peak_mb"] for m in mine)
            row("5 M triangles%s: share of 1 GiB" % ("" if kind == "binary" else " in no order"), peak / 1024, "< 1",
                peak < 1024, "%.0f MB, %.3f s" % (peak, median(mine, "read", "facts")))
            os.unlink(ring)

    def text(self):
        """A text STL, beside VTK's reader."""
        ring, part = self.mesh(1000000, "text"), self.ours("bench_part")
        vtk = [PYTHON, os.path.join(OUTSIDE, "vtk_mesh.py"), ring, "read"]
        mine, theirs = in_turns(self.times, lambda: answer([part, ring]), lambda: answer(vtk))
        a, b = median(mine, "read"), median(theirs, "read")
        row("text STL read and welded, 1 M: times as fast as VTK's reader", b / a, ">= 6", b >= 6 * a,
            "ours %.3f s, %.0f MB/s; VTK %.3f s" % (a, os.path.getsize(ring) * 1e-6 / a, b))
        os.unlink(ring)

    def threemf(self):
        """A 3MF, beside lib3mf."""
        lib3mf = self.compiled("threemf_read.cpp", "/usr/include/lib3mf/Model/COM/NMR_DLLInterfaces.h", "lib3mf-dev",
                               ["-I/usr/include/lib3mf", "-l3MF"])
        ring, part = self.model(1000000), self.ours("bench_part")
        mine, theirs = in_turns(self.times, lambda: answer([part, ring]), lambda: answer([lib3mf, ring]))
        if mine[0]["triangles"] != theirs[0]["triangles"]:
            raise RuntimeError("%s triangles, by lib3mf %s" % (mine[0]["triangles"], theirs[0]["triangles"]))
        a, b = median(mine, "read"), median(theirs, "read")
        row("3MF read, 1 M: times as fast as lib3mf", b / a, ">= 7", b >= 7 * a, "ours %.3f s, lib3mf %.3f s" % (a, b))

    def cuts(self):
        """All self cuts, beside CGAL, which has no more to say here than that there are none."""
        cgal = self.compiled("cgal_mesh.cpp", "/usr/include/CGAL/Polygon_mesh_processing/self_intersections.h", "libcgal-dev",
                             ["-lgmp", "-lmpfr"])
        ring, part = self.mesh(1000000, "binary"), self.ours("bench_part")
        mine, theirs = in_turns(self.times, lambda: answer([part, ring, "0", "cuts"]), lambda: answer([cgal, ring]))
        if (mine[0]["self_cuts"] > 0) != theirs[0]["cuts_itself"]:
            raise RuntimeError("self cuts: %s, by CGAL %s" % (mine[0]["self_cuts"], theirs[0]["cuts_itself"]))
        one = answer([part, ring, "1", "cuts"])["cuts"]
        a, b = median(mine, "cuts"), median(theirs, "cuts")
        row("self cuts, 1 M: times as fast as CGAL", b / a, ">= 2", b >= 2 * a,
            "ours %.3f s (%.3f s on one thread), CGAL %.3f s (one thread)" % (a, one, b))

    def sections(self):
        """500 level sections as closed outlines with area and perimeter, beside VTK."""
        found = answer([PYTHON, os.path.join(OUTSIDE, "sections.py"), os.path.join(self.scratch, "sections.stl"), "--rounds",
                        str(self.times), "--only", "plane_cutter,cutter_at_once", "--ours", self.ours("bench_sections"),
                        "1000000", "ring"])
        two, one, cutter = found["ours_two_threads"], found["ours_one_thread"], found["cutter_at_once"]
        if abs(two["area_mm2"] - cutter["area_mm2"]) > 1e-5 * cutter["area_mm2"] or two["loops"] != cutter["loops"]:
            raise RuntimeError("sections: %s, by VTK %s" % (two, cutter))
        for name, way, most in (("vtkPlaneCutter (loose segments)", "plane_cutter", 10),
                                ("vtkCutter with stripper", "cutter_at_once", 35)):
            ratio = found[way]["median_s"] / two["median_s"]
            row("500 sections, 1 M: times as fast as " + name, ratio, ">= %d" % most, ratio >= most,
                "ours %.3f s on two threads; %.3f s on one, which is %.1f times as fast; VTK %.2f s, %d threads allowed" %
                (two["median_s"], one["median_s"], found[way]["median_s"] / one["median_s"], found[way]["median_s"],
                 found["threads"]))

    def poses(self):
        """2,000 ways up with all scores but rays, beside numpy's down-facing area alone for 1,000 directions."""
        for kind in ("curved", "flat"):
            found = answer([PYTHON, os.path.join(OUTSIDE, "poses.py"), "--ours", self.ours("bench_poses"), "--rounds",
                            str(self.times), "--kind", kind, "--file", os.path.join(self.scratch, "poses.f64")])
            numpy, mine = found["numpy_s"][found["best"]], found["ours_2000_poses_s"]
            row("2,000 ways up, 1 M (%s): share of numpy's time" % kind, mine / numpy, "< 0.5", mine < 0.5 * numpy,
                "ours %.3f s; numpy %.3f s for the down-facing area of 1,000 (%s)" % (mine, numpy, found["best"]))

    def walls(self):
        """Tree and a million rays, beside Embree's own in mesh order."""
        found = answer([self.ours("bench_walls"), "1000000"])
        for name, ours, ratio in (("in mesh order", "walls_s", "ratio"), ("in no order", "walls_shuffled_s", "ratio_shuffled")):
            row("walls, a million rays, 1 M %s: share of Embree's time" % name, found[ratio], "<= 1.1", found[ratio] <= 1.1,
                "ours %.3f s with both sides of every wall; Embree's tree and rays in mesh order %.3f s (tree %.3f s), %d threads"
                % (found[ours], found["yardstick_s"], found["yardstick_build_s"], found["threads"]))

    def loops(self):
        """Offsets and clips of section outlines, beside GEOS."""
        found = answer([self.ours("bench_loops"), str(self.times)])
        row("offsets and clips: times as fast as GEOS, all cases together", found["ratio"], ">= 1", found["ratio"] >= 1,
            "ours %.3f s, GEOS %.3f s" % (found["ours_s"], found["geos_s"]))
        for what, names in (("clips", ("union", "common", "less")), ("offsets", ("grow", "shrink", "far"))):
            cases = [c for c in found["cases"] if c["what"] in names]
            slow = min((c for c in cases if c["out"] > 0), key=lambda c: c["ratio"])
            gone = min((c for c in cases if c["out"] == 0), key=lambda c: c["ratio"], default=None)
            row("  %s: the slowest case" % what, slow["ratio"], ">= 1", slow["ratio"] >= 1, "%s of %s, %d points%s" %
                (slow["what"], slow["shape"], slow["points"], "" if gone is None else "; where nothing remains, which GEOS "
                 "sees from the bounds: %.2f, %.0f us" % (gone["ratio"], gone["ours_s"] * 1e6)))
        row("  clips: areas differ by (parts in a million)", found["clips_differ"] * 1e6, "<= 1", found["clips_differ"] <= 1e-6)

    def estimate(self):
        """What a part will take; no outside yardstick does that, so beside 500 of our own sections of the same part."""
        found = answer([self.ours("bench_estimate"), os.path.join(ROOT, "demo", "shop.yaml"), "1000000", "0"])
        row("estimate, 1 M, %d layers: times as long as 500 sections" % found["layers"], found["ratio"], "", None,
            "%.3f s, sections %.3f s; peak %.0f MB" % (found["median_s"], found["sections_500_s"], found["peak_kib"] / 1024))


ROWS = ("facts", "large", "text", "threemf", "cuts", "sections", "poses", "walls", "loops", "estimate")


def rows(build, quick, only=()):
    """Prints all rows about parts; the number of those that could not be measured."""
    scratch, failed = tempfile.mkdtemp(prefix="proveout-parts-"), 0
    try:
        bench = Bench(build, scratch, 3 if quick else 5, quick)
        for name in ROWS:
            if only and name not in only:
                continue
            try:
                getattr(bench, name)()
            except Missing as why:
                print("%-64s not measured: %s" % (name, why))
            except (RuntimeError, subprocess.CalledProcessError, KeyError, ValueError) as why:
                failed += 1
                print("%-64s FAILED: %s" % (name, why))
    finally:
        shutil.rmtree(scratch)
    return failed


def main():
    names = [a for a in sys.argv[1:] if not a.startswith("--")]
    only = [a for a in names if a in ROWS]
    folders = [a for a in names if a not in ROWS]
    build = folders[0] if folders else os.path.join(ROOT, "build")
    load = os.getloadavg()[0]
    print("%d cores, load %.1f%s" % (os.cpu_count(), load, ": not quiet, ratios are less sure" if load > 0.5 else ""))
    return 1 if rows(build, "--quick" in sys.argv, only) else 0


if __name__ == "__main__":
    sys.exit(main())
