/* The same no-fit polygons by CGAL's minkowski_sum_2 (reduced convolution): prints one line of JSON.
 * SPDX-License-Identifier: Apache-2.0
 * usage: cgal_nfp FILE, as bench_nfp wrote it. Exact constructions, CGAL's own choice for Minkowski sums. */
#include <CGAL/Exact_predicates_exact_constructions_kernel.h>
#include <CGAL/Polygon_2.h>
#include <CGAL/Polygon_with_holes_2.h>
#include <CGAL/minkowski_sum_2.h>
#include <cstdio>
#include <ctime>
#include <fstream>
#include <sstream>
#include <string>

using K = CGAL::Exact_predicates_exact_constructions_kernel;
using Polygon = CGAL::Polygon_2<K>;

static Polygon read(const std::string &line, int sign)
{
    Polygon p;
    std::istringstream in(line);
    long x, y;
    while (in >> x >> y) {
        p.push_back(K::Point_2(sign * x, sign * y));
    }
    return p;
}

int main(int argc, char **argv)
{
    std::ifstream in(argc == 2 ? argv[1] : "");
    std::string first, second;
    double area = 0, seconds = 0;
    long pairs = 0;
    while (std::getline(in, first) && std::getline(in, second)) {
        const Polygon a = read(first, 1), b = read(second, -1);
        const std::clock_t begun = std::clock();
        const auto sum = CGAL::minkowski_sum_by_reduced_convolution_2(a, b);
        seconds += double(std::clock() - begun) / CLOCKS_PER_SEC;
        area += CGAL::to_double(sum.outer_boundary().area());
        for (auto hole = sum.holes_begin(); hole != sum.holes_end(); ++hole) {
            area += CGAL::to_double(hole->area()); /* clockwise: below 0 */
        }
        pairs++;
    }
    if (!pairs) {
        std::fprintf(stderr, "usage: cgal_nfp FILE\n");
        return 4;
    }
    std::printf("{\"bench\": \"cgal nfp\", \"pairs\": %ld, \"ms_each\": %.4f, \"area\": %.6f}\n", pairs, 1e3 * seconds / double(pairs), area * 1e-6);
    return 0;
}
