#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Sections by VTK, a general-purpose library: a yardstick for bench_sections.
usage: sections.py FILE.stl [--sections N] [--rounds N] [--only WAY[,WAY]] [--ours PROGRAM [TRIANGLES KIND]]
Reads a binary STL that bench_sections wrote (welded as VTK does, not timed) and times level sections at the middles of
equal slabs between its bounds:
  plane_cutter      vtkPlaneCutter with its tree, plane after plane: loose segments, no outlines, no area
  cutter_stripper   vtkCutter and vtkStripper, plane after plane: closed outlines, area and perimeter (numpy)
  cutter_at_once    the same with all planes in one go
--ours: runs bench_sections (which writes FILE.stl anew) before each round and gives the ratios of the medians.
Prints one line of JSON with seconds, smallest and median of the rounds. Exit status 77 where VTK is not installed."""
import argparse
import json
import statistics
import subprocess
import sys
import time

try:
    import numpy as np
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkSMPTools, vtkVersion
    from vtkmodules.vtkCommonDataModel import vtkPlane
    from vtkmodules.vtkFiltersCore import vtkCutter, vtkPlaneCutter, vtkStripper
    from vtkmodules.vtkIOGeometry import vtkSTLReader
except ImportError:
    print("VTK (Debian packages python3-vtk9, python3-numpy) is not installed", file=sys.stderr)
    sys.exit(77)


def plane_at(z):
    plane = vtkPlane()
    plane.SetNormal(0, 0, 1)
    plane.SetOrigin(0, 0, z)
    return plane


def measure(poly):
    """Outlines, area (of all as they are turned) and perimeter of closed polylines."""
    lines = poly.GetLines()
    if lines.GetNumberOfCells() == 0:
        return 0, 0.0, 0.0
    points = vtk_to_numpy(poly.GetPoints().GetData())[:, :2].astype(float)
    ends = vtk_to_numpy(lines.GetOffsetsArray())
    walk = points[vtk_to_numpy(lines.GetConnectivityArray())] - points[0]
    within = np.ones(len(walk) - 1, bool)
    within[ends[1:-1] - 1] = False  # from the end of one outline to the next
    a, b = walk[:-1][within], walk[1:][within]
    area = (a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]).sum() / 2
    return lines.GetNumberOfCells(), abs(area), np.hypot(*(b - a).T).sum()


def plane_cutter(mesh, heights):
    cutter = vtkPlaneCutter()
    cutter.SetInputData(mesh)
    cutter.ComputeNormalsOff()
    cutter.InterpolateAttributesOff()
    cutter.BuildTreeOn()  # kept from plane to plane
    segments = 0
    for z in heights:
        cutter.SetPlane(plane_at(z))
        cutter.Update()
        out = cutter.GetOutputDataObject(0)
        if out.IsA("vtkCompositeDataSet"):
            parts = out.NewIterator()
            parts.InitTraversal()
            while not parts.IsDoneWithTraversal():
                segments += parts.GetCurrentDataObject().GetNumberOfCells()
                parts.GoToNextItem()
        else:
            segments += out.GetNumberOfCells()
    return {"segments": segments}


def cutter_and_stripper(mesh):
    cutter, stripper = vtkCutter(), vtkStripper()
    cutter.SetInputData(mesh)
    stripper.SetInputConnection(cutter.GetOutputPort())
    stripper.SetMaximumLength(1 << 30)
    stripper.JoinContiguousSegmentsOn()
    return cutter, stripper


def cutter_stripper(mesh, heights):
    cutter, stripper = cutter_and_stripper(mesh)
    found = np.zeros(3)
    for z in heights:
        cutter.SetCutFunction(plane_at(z))
        stripper.Update()
        found += measure(stripper.GetOutput())
    return {"loops": int(found[0]), "area_mm2": found[1], "length_mm": found[2]}


def cutter_at_once(mesh, heights):
    cutter, stripper = cutter_and_stripper(mesh)
    cutter.SetCutFunction(plane_at(0))
    for i, z in enumerate(heights):
        cutter.SetValue(i, z)
    stripper.Update()
    loops, area, length = measure(stripper.GetOutput())
    return {"loops": loops, "area_mm2": area, "length_mm": length}


WAYS = {way.__name__: way for way in (plane_cutter, cutter_stripper, cutter_at_once)}


def read(path, n):
    reader = vtkSTLReader()
    reader.SetFileName(path)
    reader.Update()
    mesh = reader.GetOutput()
    low, high = mesh.GetBounds()[4:]
    return mesh, [low + (high - low) * (i + 0.5) / n for i in range(n)]


def main():
    parser = argparse.ArgumentParser(usage=__doc__)
    parser.add_argument("file")
    parser.add_argument("--sections", type=int, default=500)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--only", default=",".join(WAYS))
    parser.add_argument("--ours", nargs="+")
    args = parser.parse_args()
    ways = args.only.split(",")
    seconds, found, ours, mesh = {way: [] for way in ways}, {}, [], None
    for _ in range(args.rounds):
        if args.ours:
            triangles, kind = (args.ours + ["1000000", "ring"][len(args.ours) - 1:])[1:3]
            run = [args.ours[0], triangles, kind, args.file, str(args.sections), "1"]
            ours.append(json.loads(subprocess.run(run, check=True, stdout=subprocess.PIPE).stdout))
        if mesh is None:
            mesh, heights = read(args.file, args.sections)
        for way in ways:
            begun = time.monotonic()
            found[way] = WAYS[way](mesh, heights)
            seconds[way].append(time.monotonic() - begun)
    answer = {"bench": "sections", "by": "VTK " + vtkVersion().GetVTKVersion(), "triangles": mesh.GetNumberOfPolys(),
              "sections": args.sections, "threads": vtkSMPTools.GetEstimatedNumberOfThreads()}
    for way in ways:
        answer[way] = dict(found[way], smallest_s=round(min(seconds[way]), 4),
                           median_s=round(statistics.median(seconds[way]), 4))
    for threads in ("one_thread", "two_threads") if ours else ():
        median = statistics.median(run[threads]["median_s"] for run in ours)
        answer["ours_" + threads] = {
            "loops": ours[0]["loops"], "area_mm2": ours[0]["area_mm2"], "length_mm": ours[0]["length_mm"],
            "median_s": round(median, 4),
            "times_faster_than": {way: round(answer[way]["median_s"] / median, 1) for way in ways}}
    print(json.dumps(answer))


main()
