#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""An STL read and measured by VTK, a general-purpose library: a yardstick. usage: vtk_mesh.py FILE [read] | --bare
Prints one line of JSON with seconds (imports left out), counts and peak MB. --bare: nothing but the imports,
so that an interpreter's memory can be told from VTK's. Exit status 77 where VTK is not installed."""
import json
import resource
import sys
import time

try:
    from vtkmodules.vtkFiltersCore import vtkFeatureEdges, vtkMassProperties, vtkPolyDataConnectivityFilter
    from vtkmodules.vtkIOGeometry import vtkSTLReader
except ImportError:
    print("VTK (Debian package python3-vtk9) is not installed", file=sys.stderr)
    sys.exit(77)


def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main():
    if sys.argv[1] == "--bare":
        print(json.dumps({"peak_mb": peak_mb()}))
        return
    begun = time.monotonic()
    reader = vtkSTLReader()
    reader.SetFileName(sys.argv[1])
    reader.Update()
    mesh = reader.GetOutput()
    found = {"read": time.monotonic() - begun, "triangles": mesh.GetNumberOfCells(), "vertices": mesh.GetNumberOfPoints()}
    if len(sys.argv) < 3:
        edges = vtkFeatureEdges()
        edges.SetInputData(mesh)
        edges.FeatureEdgesOff()
        edges.ManifoldEdgesOff()
        counts = []
        for open_edges in (True, False):
            edges.SetBoundaryEdges(open_edges)
            edges.SetNonManifoldEdges(not open_edges)
            edges.Update()
            counts.append(edges.GetOutput().GetNumberOfLines())
        mass = vtkMassProperties()
        mass.SetInputData(mesh)
        mass.Update()
        pieces = vtkPolyDataConnectivityFilter()
        pieces.SetInputData(mesh)
        pieces.SetExtractionModeToAllRegions()
        pieces.Update()
        found.update(open_edges=counts[0], crowded_edges=counts[1], volume=mass.GetVolume(), area=mass.GetSurfaceArea(),
                     shells=pieces.GetNumberOfExtractedRegions(), bounds=mesh.GetBounds())
    found["all"] = time.monotonic() - begun
    found["peak_mb"] = peak_mb()
    print(json.dumps(found))


if __name__ == "__main__":
    main()
