/* Rays against a mesh, by Embree. SPDX-License-Identifier: Apache-2.0
 *
 * Embree 3 (I. Wald, S. Woop, C. Benthin, G. Johnson, M. Ernst, "Embree: a kernel framework for efficient CPU ray
 * tracing", ACM Transactions on Graphics 33(4), 2014) builds the tree and follows the rays. It is opened by name when
 * the first tree is wanted and not linked: 40 MB of code and a task scheduler are nothing that the check of a job
 * should load. The functions used stand in one table, filled from the prototypes in Embree's headers, so the compiler
 * still checks every call. It stays loaded (RTLD_NODELETE): its worker threads outlive a tree.
 *
 * Embree computes with floats. The mesh is moved so that the middle of its bounds is at 0, and scaled by a power of two
 * so that it fits into the cube from -1 to 1: parts far from the origin, tiny and huge ones are met equally well, and
 * what is lost is one rounding of each coordinate, 6e-8. SLACK is some thirty times that.
 *
 * All triangles along a ray come through the filter that Embree calls for each occlusion it finds: the filter notes the
 * triangle and refuses it, so the search goes on; once there is no more room it lets one stand, and the search ends. */
#include "part/rays.h"

#include <dlfcn.h>
#include <embree3/rtcore.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double SLACK = 2e-6;     /* of the scaled mesh */
static const double MOST_AWAY = 1e15; /* scaled */
static const double MOST_ALONG = 2;   /* directions have length 1 */

/* clang-format off */
#define FUNCTIONS(F) \
    F(AttachGeometry) F(CommitGeometry) F(CommitScene) F(GetDeviceError) F(Intersect16) F(NewDevice) F(NewGeometry) \
    F(NewScene) F(Occluded1) F(ReleaseDevice) F(ReleaseGeometry) F(ReleaseScene) F(SetGeometryBuildQuality) \
    F(SetGeometryOccludedFilterFunction) F(SetSceneBuildQuality) F(SetSceneFlags) F(SetSharedGeometryBuffer)
/* clang-format on */

struct po_rays {
    void *library;
#define F(name) __typeof__(rtc##name) *name;
    FUNCTIONS(F)
#undef F
    RTCDevice device;
    RTCScene scene;
    float *points;
    double middle[3], scale; /* scaled = (mm - middle) * scale */
};

static po_status open_library(po_rays *rays, po_err *err)
{
    rays->library = dlopen("libembree3.so.3", RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE);
    if (!rays->library) {
        return po_fail(err, PO_E_UNSUPPORTED,
                       "walls and gaps need the ray library libembree3.so.3 (Debian package libembree3-3), which is "
                       "not there; everything else is measured without it");
    }
    /* POSIX says that a function's address fits the pointer that dlsym gives; copying bytes keeps ISO C content. */
#define F(name)                                                                                                        \
    {                                                                                                                  \
        void *symbol = dlsym(rays->library, "rtc" #name);                                                              \
        if (!symbol) {                                                                                                 \
            return po_fail(err, PO_E_UNSUPPORTED, "the installed libembree3.so.3 lacks rtc" #name);                    \
        }                                                                                                              \
        memcpy(&rays->name, &symbol, sizeof symbol);                                                                   \
    }
    FUNCTIONS(F)
#undef F
    return PO_OK;
}

typedef struct all_hits {
    struct RTCIntersectContext context; /* first, so that Embree's pointer to it is one to all of it */
    uint32_t *triangles;
    size_t n, most;
} all_hits;

static void note_and_refuse(const struct RTCFilterFunctionNArguments *args)
{
    all_hits *hits = (all_hits *)args->context;
    if (args->N != 1 || !args->valid[0]) { /* only single rays ask for all */
        return;
    }
    if (hits->n < hits->most) {
        hits->triangles[hits->n] = ((const struct RTCHit *)args->hit)->primID; /* N = 1: laid out as a single hit */
    }
    hits->n++;
    args->valid[0] = hits->n > hits->most ? -1 : 0;
}

static bool fill_points(po_rays *rays, const po_mesh *mesh)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY}, half = 0;
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        for (int k = 0; k < 3; k++) {
            double x = mesh->xyz[3 * v + (size_t)k];
            low[k] = x < low[k] ? x : low[k];
            high[k] = x > high[k] ? x : high[k];
        }
    }
    for (int k = 0; k < 3; k++) {
        rays->middle[k] = low[k] / 2 + high[k] / 2;
        half = fmax(half, high[k] / 2 - low[k] / 2);
    }
    int exponent = 0;
    frexp(half, &exponent); /* half < 2^exponent */
    rays->scale = half > 0 ? ldexp(1, -exponent < 1000 ? -exponent : 1000) : 1;
    rays->points = malloc((3 * mesh->n_vertices + 4) * sizeof *rays->points); /* Embree reads 16 bytes a point */
    if (!rays->points) {
        return false;
    }
    for (size_t v = 0; v < mesh->n_vertices; v++) {
        for (size_t k = 0; k < 3; k++) {
            rays->points[3 * v + k] = (float)((mesh->xyz[3 * v + k] - rays->middle[k]) * rays->scale);
        }
    }
    memset(rays->points + 3 * mesh->n_vertices, 0, 4 * sizeof *rays->points);
    return true;
}

static po_status build(po_rays *rays, const po_mesh *mesh, bool quick, int threads, po_err *err)
{
    char config[32];
    snprintf(config, sizeof config, "threads=%d", threads);
    rays->device = rays->NewDevice(config);
    if (!rays->device) {
        return po_fail(err, PO_E_UNSUPPORTED, "the ray library libembree3.so.3 cannot start on this computer");
    }
    enum RTCBuildQuality quality = quick ? RTC_BUILD_QUALITY_LOW : RTC_BUILD_QUALITY_MEDIUM;
    RTCGeometry geometry = rays->NewGeometry(rays->device, RTC_GEOMETRY_TYPE_TRIANGLE);
    rays->scene = rays->NewScene(rays->device);
    if (geometry && rays->scene) {
        rays->SetSharedGeometryBuffer(geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, rays->points, 0,
                                      3 * sizeof *rays->points, mesh->n_vertices);
        rays->SetSharedGeometryBuffer(geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, mesh->corners, 0,
                                      3 * sizeof *mesh->corners, mesh->n_triangles);
        rays->SetGeometryBuildQuality(geometry, quality);
        rays->SetGeometryOccludedFilterFunction(geometry, note_and_refuse);
        rays->CommitGeometry(geometry);
        rays->SetSceneBuildQuality(rays->scene, quality);
        rays->SetSceneFlags(rays->scene, RTC_SCENE_FLAG_ROBUST); /* no ray slips through between two triangles */
        rays->AttachGeometry(rays->scene, geometry);
        rays->CommitScene(rays->scene);
    }
    if (geometry) {
        rays->ReleaseGeometry(geometry); /* the scene holds it */
    }
    if (!geometry || !rays->scene || rays->GetDeviceError(rays->device) != RTC_ERROR_NONE) {
        return po_fail(err, PO_E_NOMEM, "no memory for the ray tree of %zu triangles", mesh->n_triangles);
    }
    return PO_OK;
}

po_status po_rays_open(const po_mesh *mesh, bool quick, int threads, po_rays **ret_rays, po_err *err)
{
    if (mesh->n_triangles >= UINT32_MAX || mesh->n_vertices > SIZE_MAX / 3 / sizeof(double)) {
        return po_fail(err, PO_E_RANGE, "%zu triangles are more than a ray tree holds", mesh->n_triangles);
    }
    po_rays *rays = calloc(1, sizeof *rays);
    if (!rays) {
        return po_fail(err, PO_E_NOMEM, "no memory for rays");
    }
    po_status s = open_library(rays, err);
    if (s == PO_OK && !fill_points(rays, mesh)) {
        s = po_fail(err, PO_E_NOMEM, "no memory for the corners of %zu triangles", mesh->n_triangles);
    }
    if (s == PO_OK) {
        s = build(rays, mesh, quick, threads, err);
    }
    if (s != PO_OK) {
        po_rays_close(rays);
        return s;
    }
    *ret_rays = rays;
    return PO_OK;
}

void po_rays_close(po_rays *rays)
{
    if (!rays) {
        return;
    }
    if (rays->scene) {
        rays->ReleaseScene(rays->scene);
    }
    if (rays->device) {
        rays->ReleaseDevice(rays->device);
    }
    if (rays->library) {
        dlclose(rays->library);
    }
    free(rays->points);
    free(rays);
}

double po_rays_slack(const po_rays *rays)
{
    return SLACK / rays->scale;
}

/* The library ends the process over rays that are no numbers or beyond 1.8e18 (its checks are on in Debian). */
static bool is_sound(const po_rays *rays, const double from[3], const double along[3], double near, double far)
{
    bool sound = near >= 0 && near * rays->scale < MOST_AWAY && far >= near;
    for (int k = 0; k < 3; k++) {
        sound = sound && fabs((from[k] - rays->middle[k]) * rays->scale) < MOST_AWAY && fabs(along[k]) <= MOST_ALONG;
    }
    return sound;
}

void po_rays_first(const po_rays *rays, po_ray_batch *batch, int n)
{
    struct RTCIntersectContext context;
    rtcInitIntersectContext(&context);
    context.flags = RTC_INTERSECT_CONTEXT_FLAG_COHERENT;
    _Alignas(64) int valid[16];
    _Alignas(64) struct RTCRayHit16 hit;
    const double *m = rays->middle, scale = rays->scale;
    for (int i = 0; i < PO_RAYS_AT_ONCE; i++) {
        static const double up[3] = {0, 0, 1};
        bool sound = i < n && is_sound(rays, batch->from[i], batch->along[i], batch->near[i], batch->far[i]);
        const double *from = sound ? batch->from[i] : m, *along = sound ? batch->along[i] : up;
        valid[i] = sound ? -1 : 0;
        hit.ray.org_x[i] = (float)((from[0] - m[0]) * scale);
        hit.ray.org_y[i] = (float)((from[1] - m[1]) * scale);
        hit.ray.org_z[i] = (float)((from[2] - m[2]) * scale);
        hit.ray.dir_x[i] = (float)along[0];
        hit.ray.dir_y[i] = (float)along[1];
        hit.ray.dir_z[i] = (float)along[2];
        hit.ray.tnear[i] = sound ? (float)(batch->near[i] * scale) : 0;
        hit.ray.tfar[i] = sound ? (float)(batch->far[i] * scale) : 0;
        hit.ray.time[i] = 0;
        hit.ray.mask[i] = UINT32_MAX;
        hit.ray.id[i] = 0;
        hit.ray.flags[i] = 0;
        hit.hit.geomID[i] = RTC_INVALID_GEOMETRY_ID;
        hit.hit.primID[i] = RTC_INVALID_GEOMETRY_ID;
    }
    rays->Intersect16(valid, rays->scene, &context, &hit);
    for (int i = 0; i < n; i++) {
        bool met = hit.hit.geomID[i] != RTC_INVALID_GEOMETRY_ID;
        batch->triangle[i] = met ? hit.hit.primID[i] : PO_RAY_MISSED;
        batch->distance[i] = met ? (double)hit.ray.tfar[i] / scale : (double)INFINITY;
    }
}

size_t po_rays_all(const po_rays *rays, const double from[3], const double along[3], double near, double far,
                   uint32_t *ret_triangles, size_t most)
{
    all_hits hits = {.triangles = ret_triangles, .most = most};
    if (!is_sound(rays, from, along, near, far)) {
        return 0;
    }
    rtcInitIntersectContext(&hits.context);
    const double *m = rays->middle, scale = rays->scale, start = near * scale - SLACK;
    struct RTCRay ray = {.org_x = (float)((from[0] - m[0]) * scale),
                         .org_y = (float)((from[1] - m[1]) * scale),
                         .org_z = (float)((from[2] - m[2]) * scale),
                         .dir_x = (float)along[0],
                         .dir_y = (float)along[1],
                         .dir_z = (float)along[2],
                         .tnear = start > 0 ? (float)start : 0,
                         .tfar = (float)(far * scale + SLACK),
                         .mask = UINT32_MAX};
    rays->Occluded1(rays->scene, &hits.context, &ray);
    return hits.n;
}
