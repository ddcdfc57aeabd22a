/* A 3MF read by lib3mf, the consortium's reference library: a yardstick. SPDX-License-Identifier: Apache-2.0
 * usage: threemf_read FILE. Prints one line of JSON: seconds, triangles. */
#include <chrono>
#include <cstdio>
#include <Model/COM/NMR_DLLInterfaces.h>

using namespace NMR;

int main(int argc, char **argv)
{
    if (argc < 2) {
        return 2;
    }
    auto begun = std::chrono::steady_clock::now();
    PLib3MFModel *model = nullptr;
    PLib3MFModelReader *reader = nullptr;
    if (lib3mf_createmodel(&model) != LIB3MF_OK || lib3mf_model_queryreader(model, "3mf", &reader) != LIB3MF_OK ||
        lib3mf_reader_readfromfileutf8(reader, argv[1]) != LIB3MF_OK) {
        fprintf(stderr, "threemf_read: can't be read\n");
        return 3;
    }
    double read = std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
    PLib3MFModelResourceIterator *meshes = nullptr;
    unsigned long long triangles = 0;
    BOOL more = 0;
    if (lib3mf_model_getmeshobjects(model, &meshes) == LIB3MF_OK) {
        while (lib3mf_resourceiterator_movenext(meshes, &more) == LIB3MF_OK && more) {
            PLib3MFModelResource *resource = nullptr;
            DWORD count = 0;
            lib3mf_resourceiterator_getcurrent(meshes, &resource);
            lib3mf_meshobject_gettrianglecount(resource, &count);
            triangles += count;
            lib3mf_release(resource);
        }
        lib3mf_release(meshes);
    }
    lib3mf_release(reader);
    lib3mf_release(model);
    printf("{\"triangles\": %llu, \"read\": %.6f}\n", triangles, read);
    return 0;
}
