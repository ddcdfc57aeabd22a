/* An STL read and measured by CGAL, a general-purpose library: a yardstick and an outside check.
 * SPDX-License-Identifier: Apache-2.0
 * usage: cgal_mesh FILE [pairs]. Prints one line of JSON: seconds of each step, closed, volume, area, self intersection;
 * with pairs: how many pairs of triangles meet (CGAL leaves out pairs that share a corner and meet only there), and how
 * many of them share no corner and meet in more than a point, by exact intersection (pairs_apart). */
#include <CGAL/Exact_predicates_exact_constructions_kernel.h>
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Polygon_mesh_processing/orient_polygon_soup.h>
#include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
#include <CGAL/Polygon_mesh_processing/repair_polygon_soup.h>
#include <CGAL/Polygon_mesh_processing/self_intersections.h>
#include <CGAL/Surface_mesh.h>
#include <array>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <iterator>
#include <map>
#include <vector>

using K = CGAL::Exact_predicates_inexact_constructions_kernel;
using E = CGAL::Exact_predicates_exact_constructions_kernel;
using Mesh = CGAL::Surface_mesh<K::Point_3>;
namespace PMP = CGAL::Polygon_mesh_processing;

/* By coordinates: the soup's points are doubled where too many triangles meet. */
static bool share_a_corner(const Mesh &mesh, Mesh::Face_index f, Mesh::Face_index g)
{
    for (auto v : CGAL::vertices_around_face(mesh.halfedge(f), mesh)) {
        for (auto w : CGAL::vertices_around_face(mesh.halfedge(g), mesh)) {
            if (mesh.point(v) == mesh.point(w)) {
                return true;
            }
        }
    }
    return false;
}

static E::Triangle_3 triangle(const Mesh &mesh, Mesh::Face_index f)
{
    std::vector<E::Point_3> p;
    for (auto v : CGAL::vertices_around_face(mesh.halfedge(f), mesh)) {
        p.emplace_back(mesh.point(v).x(), mesh.point(v).y(), mesh.point(v).z());
    }
    return E::Triangle_3(p[0], p[1], p[2]);
}

static bool meet_apart(const Mesh &mesh, Mesh::Face_index f, Mesh::Face_index g)
{
    if (share_a_corner(mesh, f, g)) {
        return false;
    }
    const E::Triangle_3 a = triangle(mesh, f), b = triangle(mesh, g);
    if (a.is_degenerate() || b.is_degenerate()) {
        return false;
    }
    const auto common = CGAL::intersection(a, b);
    return common && !boost::get<E::Point_3>(&*common);
}

static double now()
{
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        return 2;
    }
    double begun = now();
    std::ifstream in(argv[1], std::ios::binary);
    std::vector<char> bytes((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
    uint32_t count = 0;
    if (bytes.size() < 84) {
        return 3;
    }
    memcpy(&count, bytes.data() + 80, 4);
    if (bytes.size() != 84 + 50ull * count) {
        return 3; /* binary STL alone */
    }
    std::vector<K::Point_3> points;
    std::vector<std::vector<std::size_t>> triangles;
    std::map<std::array<float, 3>, std::size_t> known; /* equal corners are one */
    for (uint32_t t = 0; t < count; t++) {
        std::vector<std::size_t> corners;
        for (int c = 0; c < 3; c++) {
            std::array<float, 3> p;
            memcpy(p.data(), bytes.data() + 84 + 50ull * t + 12 + 12 * c, 12);
            auto at = known.emplace(p, points.size());
            if (at.second) {
                points.emplace_back(p[0], p[1], p[2]);
            }
            corners.push_back(at.first->second);
        }
        if (corners[0] != corners[1] && corners[1] != corners[2] && corners[2] != corners[0]) {
            triangles.push_back(corners);
        }
    }
    double read = now() - begun;
    begun = now();
    bool soup_cuts = false;
    std::size_t pairs = 0, apart = 0;
    double cut = 0;
    Mesh mesh;
    PMP::orient_polygon_soup(points, triangles);
    PMP::polygon_soup_to_polygon_mesh(points, triangles, mesh);
    bool closed = CGAL::is_closed(mesh);
    double volume = closed ? CGAL::to_double(PMP::volume(mesh)) : 0, area = CGAL::to_double(PMP::area(mesh));
    double facts = now() - begun;
    begun = now();
    if (argc > 2) {
        std::vector<std::pair<Mesh::Face_index, Mesh::Face_index>> found;
        PMP::self_intersections(mesh, std::back_inserter(found));
        pairs = found.size();
        soup_cuts = pairs > 0;
        for (const auto &pair : found) {
            apart += meet_apart(mesh, pair.first, pair.second);
        }
    } else {
        soup_cuts = PMP::does_self_intersect(mesh);
    }
    cut = now() - begun;
    printf("{\"triangles\": %zu, \"vertices\": %zu, \"closed\": %s, \"volume\": %.12g, \"area\": %.12g, "
           "\"cuts_itself\": %s, "
           "\"pairs\": %zu, \"pairs_apart\": %zu, \"read\": %.4f, \"facts\": %.4f, \"cuts\": %.4f}\n",
           triangles.size(), points.size(), closed ? "true" : "false", volume, area, soup_cuts ? "true" : "false",
           pairs, apart, read, facts, cut);
    return 0;
}
