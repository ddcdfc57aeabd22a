#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""What VTK, a general-purpose library, says of meshes, for outside_test.py.
usage: vtk_facts.py < QUESTIONS > ANSWERS, both lists in JSON. A question: {"file": a binary or text STL, "weld": mm within
which points are one (0: only equal ones), "heights": [z, ...]}. The answer: counts, edges used once and more than twice,
volume and area (vtkMassProperties; the volume without sign), bounds, shells, and for each height area, length and pieces
of the cut. Exit status 77 where VTK is not installed."""
import json
import sys

try:
    import numpy as np
    from vtkmodules.util.numpy_support import numpy_to_vtk, vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkVersion
    from vtkmodules.vtkCommonDataModel import vtkPlane
    from vtkmodules.vtkFiltersCore import (vtkCleanPolyData, vtkCutter, vtkFeatureEdges, vtkMassProperties,
                                           vtkPolyDataConnectivityFilter)
    from vtkmodules.vtkIOGeometry import vtkSTLReader
except ImportError:
    print("VTK (Debian packages python3-vtk9, python3-numpy) is not installed", file=sys.stderr)
    sys.exit(77)


def read(path, weld):
    reader = vtkSTLReader()
    reader.SetFileName(path)
    reader.Update()
    mesh = reader.GetOutput()
    if weld > 0:
        clean = vtkCleanPolyData()
        clean.SetInputData(mesh)
        clean.ToleranceIsAbsoluteOn()
        clean.SetAbsoluteTolerance(weld)
        clean.ConvertPolysToLinesOff()
        clean.ConvertLinesToPointsOff()
        clean.Update()
        mesh = clean.GetOutput()
    return mesh


def count_edges(mesh, open_ones):
    edges = vtkFeatureEdges()
    edges.SetInputData(mesh)
    edges.FeatureEdgesOff()
    edges.ManifoldEdgesOff()
    edges.SetBoundaryEdges(open_ones)
    edges.SetNonManifoldEdges(not open_ones)
    edges.Update()
    return edges.GetOutput().GetNumberOfLines()


def count_pieces(mesh):
    pieces = vtkPolyDataConnectivityFilter()
    pieces.SetInputData(mesh)
    pieces.SetExtractionModeToAllRegions()
    pieces.Update()
    return pieces.GetNumberOfExtractedRegions()


def add_normals(mesh):
    """Normals of the triangles as cell data, which the cutter hands on to the segments that it cuts from them."""
    points = vtk_to_numpy(mesh.GetPoints().GetData()).astype(float)
    a, b, c = points[vtk_to_numpy(mesh.GetPolys().GetConnectivityArray()).reshape(-1, 3)].transpose(1, 0, 2)
    array = numpy_to_vtk(np.cross(b - a, c - a), deep=1)
    array.SetName("normal")
    mesh.GetCellData().AddArray(array)


def sections(mesh, heights):
    add_normals(mesh)
    cutter, plane, answers = vtkCutter(), vtkPlane(), []
    cutter.SetInputData(mesh)
    cutter.GenerateCutScalarsOff()
    cutter.SetOutputPointsPrecision(1)  # double
    plane.SetNormal(0, 0, 1)
    cutter.SetCutFunction(plane)
    for z in heights:
        plane.SetOrigin(0, 0, z)
        cutter.Update()
        cut = cutter.GetOutput()
        if cut.GetNumberOfLines() == 0:
            answers.append([0, 0, 0])
            continue
        ends = vtk_to_numpy(cut.GetLines().GetConnectivityArray()).reshape(-1, 2)
        points = vtk_to_numpy(cut.GetPoints().GetData())[:, :2].astype(float)
        points = points - points[0]
        a, b = points[ends[:, 0]], points[ends[:, 1]]
        normal = vtk_to_numpy(cut.GetCellData().GetArray("normal"))
        along = (b - a)[:, 1] * normal[:, 0] - (b - a)[:, 0] * normal[:, 1]  # > 0: the outside lies on the right
        area = (np.sign(along) * (a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1])).sum() / 2
        answers.append([area, np.hypot(*(b - a).T).sum(), count_pieces(cut)])
    return answers


def answer(question):
    mesh = read(question["file"], question.get("weld", 0))
    mass = vtkMassProperties()
    mass.SetInputData(mesh)
    mass.Update()
    return {"triangles": mesh.GetNumberOfPolys(), "vertices": mesh.GetNumberOfPoints(), "open_edges": count_edges(mesh, True),
            "crowded_edges": count_edges(mesh, False), "shells": count_pieces(mesh), "volume": mass.GetVolume(),
            "area": mass.GetSurfaceArea(), "bounds": mesh.GetBounds(), "sections": sections(mesh, question.get("heights", []))}


def main():
    json.dump({"version": vtkVersion.GetVTKVersion(), "answers": [answer(q) for q in json.load(sys.stdin)]}, sys.stdout)


if __name__ == "__main__":
    main()
