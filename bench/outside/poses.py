#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Down-facing area by numpy: a yardstick for bench_poses.
usage: poses.py [--ours PROGRAM] [--triangles N] [--kind curved|flat] [--rounds N] [--file FILE.f64]
Runs bench_poses (2,000 poses with all scores; it writes normals and areas to FILE) and, in the same rounds, numpy on the
same normals and areas: only the area that faces down beyond 45 degrees, for 1,000 directions, (normals @ directions) < c
times areas, in blocks, as single and as double numbers; the faster one counts. Prints one line of JSON. Exit status 77
where numpy is not installed."""
import argparse
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time

try:
    import numpy as np
except ImportError:
    print("numpy (Debian package python3-numpy) is not installed", file=sys.stderr)
    sys.exit(77)


def directions(n):
    i = np.arange(n)
    z = 1 - (2 * i + 1) / n
    r, u = np.sqrt(1 - z * z), 2.39996322972865332 * i
    return np.stack([r * np.cos(u), r * np.sin(u), z], axis=1)


def areas_facing_down(normals, areas, ups, bound, block):
    total = np.zeros(len(ups), dtype=areas.dtype)
    for begin in range(0, len(normals), block):
        total += areas[begin:begin + block] @ ((normals[begin:begin + block] @ ups.T) < bound)
    return total


def main():
    args = argparse.ArgumentParser()
    args.add_argument('--ours')
    args.add_argument('--triangles', type=int, default=1000000)
    args.add_argument('--kind', default='curved')
    args.add_argument('--rounds', type=int, default=3)
    args.add_argument('--file')
    args = args.parse_args()
    path = args.file or os.path.join(tempfile.gettempdir(), f'poses-{os.getpid()}.f64')
    ours, numpy_s = [], {}
    if args.ours:
        report = json.loads(subprocess.run([args.ours, str(args.triangles), args.kind, path], check=True,
                                           capture_output=True, text=True).stdout)
        ours.append(report['seconds'])
    four = np.fromfile(path).reshape(-1, 4)
    if not args.file:
        os.unlink(path)
    bound, ups = -math.sin(math.radians(45.05)), directions(1000)
    for name, kind in (('f32', np.float32), ('f64', np.float64)):
        normals, areas = np.ascontiguousarray(four[:, :3], dtype=kind), np.ascontiguousarray(four[:, 3], dtype=kind)
        turned = np.ascontiguousarray(ups, dtype=kind)
        for block in (2048, 16384):
            times = []
            for _ in range(args.rounds):
                begun = time.perf_counter()
                areas_facing_down(normals, areas, turned, kind(bound), block)
                times.append(time.perf_counter() - begun)
            numpy_s[f'{name}/{block}'] = statistics.median(times)
    for _ in range(args.rounds - 1 if args.ours else 0):
        ours.append(json.loads(subprocess.run([args.ours, str(args.triangles), args.kind], check=True,
                                              capture_output=True, text=True).stdout)['seconds'])
    best = min(numpy_s, key=numpy_s.get)
    print(json.dumps({'bench': 'poses/numpy', 'kind': args.kind, 'triangles': len(four), 'directions': len(ups),
                      'numpy': np.__version__, 'numpy_s': {k: round(v, 4) for k, v in numpy_s.items()}, 'best': best,
                      'ours_2000_poses_s': statistics.median(ours) if ours else None,
                      'ours_over_numpy': round(statistics.median(ours) / numpy_s[best], 4) if ours else None}))


if __name__ == '__main__':
    main()
