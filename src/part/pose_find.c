/* The best ways up. SPDX-License-Identifier: Apache-2.0 */
#include "proveout/solid.h"

po_status po_pose_find(const po_mesh *mesh, const po_pose_setup *setup, const double *keep, size_t most, int threads,
                       bool (*progress)(uint64_t done, uint64_t total, void *user), void *user, po_arena *arena,
                       const po_pose **ret_poses, size_t *ret_n, size_t *ret_as_is, po_err *err)
{
    (void)mesh;
    (void)setup;
    (void)keep;
    (void)most;
    (void)threads;
    (void)progress;
    (void)user;
    (void)arena;
    (void)ret_poses;
    (void)ret_n;
    (void)ret_as_is;
    return po_fail(err, PO_E_UNSUPPORTED, "not built yet");
}
