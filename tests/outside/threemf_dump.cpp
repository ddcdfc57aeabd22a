/* A 3MF as lib3mf, the consortium's reference library, reads it: each build item as a binary STL and as a count.
 * SPDX-License-Identifier: Apache-2.0
 * usage: threemf_dump FILE [FOLDER]. Prints one line of JSON: triangles of each build item, components resolved. With FOLDER
 * each item is left there as 0.stl, 1.stl ..., placed, in the file's unit. Exit status 3: lib3mf refuses the file. */
#include <Model/COM/NMR_DLLInterfaces.h>
#include <array>
#include <cstdio>
#include <cstring>
#include <string>
#include <vector>

using namespace NMR;

typedef std::array<double, 12> Matrix; /* rows x, y, z, shift: p' = p M (3MF core, section 3.3) */
typedef std::vector<std::array<double, 9>> Soup;
static const Matrix AS_IT_IS = {1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0};

/* lib3mf keeps columns of numbers: fields[column][row] */
static Matrix matrix(const MODELTRANSFORM &t)
{
    Matrix m;
    for (int row = 0; row < 4; row++) {
        for (int k = 0; k < 3; k++) {
            m[3 * row + k] = t.m_fFields[k][row];
        }
    }
    return m;
}

static std::array<double, 3> placed(const float *p, const Matrix &m)
{
    std::array<double, 3> q;
    for (int k = 0; k < 3; k++) {
        q[k] = p[0] * m[k] + p[1] * m[3 + k] + p[2] * m[6 + k] + m[9 + k];
    }
    return q;
}

static Matrix then(const Matrix &a, const Matrix &b)
{
    Matrix m;
    for (int row = 0; row < 4; row++) {
        for (int k = 0; k < 3; k++) {
            m[3 * row + k] = a[3 * row] * b[k] + a[3 * row + 1] * b[3 + k] + a[3 * row + 2] * b[6 + k] +
                             (row == 3 ? b[9 + k] : 0);
        }
    }
    return m;
}

static bool add(PLib3MFModelObjectResource *object, const Matrix &m, int depth, Soup &soup)
{
    BOOL is_mesh = 0;
    if (depth > 64 || lib3mf_object_ismeshobject(object, &is_mesh) != LIB3MF_OK) {
        return false;
    }
    DWORD n = 0;
    if (!is_mesh) {
        if (lib3mf_componentsobject_getcomponentcount(object, &n) != LIB3MF_OK) {
            return false;
        }
        for (DWORD i = 0; i < n; i++) {
            PLib3MFModelComponent *component = nullptr;
            PLib3MFModelObjectResource *inner = nullptr;
            MODELTRANSFORM t;
            BOOL turned = 0;
            if (lib3mf_componentsobject_getcomponent(object, i, &component) != LIB3MF_OK ||
                lib3mf_component_getobjectresource(component, &inner) != LIB3MF_OK ||
                lib3mf_component_hastransform(component, &turned) != LIB3MF_OK ||
                (turned && lib3mf_component_gettransform(component, &t) != LIB3MF_OK) ||
                !add(inner, turned ? then(matrix(t), m) : m, depth + 1, soup)) {
                return false;
            }
            lib3mf_release(inner);
            lib3mf_release(component);
        }
        return true;
    }
    if (lib3mf_meshobject_gettrianglecount(object, &n) != LIB3MF_OK) {
        return false;
    }
    const double turn = m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) +
                        m[2] * (m[3] * m[7] - m[4] * m[6]);
    for (DWORD i = 0; i < n; i++) {
        MODELMESHTRIANGLE t;
        if (lib3mf_meshobject_gettriangle(object, i, &t) != LIB3MF_OK) {
            return false;
        }
        std::array<double, 9> nine;
        for (int c = 0; c < 3; c++) {
            MODELMESHVERTEX v;
            if (lib3mf_meshobject_getvertex(object, t.m_nIndices[turn < 0 && c ? 3 - c : c], &v) != LIB3MF_OK) {
                return false;
            }
            const std::array<double, 3> q = placed(v.m_fPosition, m);
            std::copy(q.begin(), q.end(), nine.begin() + 3 * c);
        }
        soup.push_back(nine);
    }
    return true;
}

static bool save(const Soup &soup, const std::string &path)
{
    FILE *file = fopen(path.c_str(), "wb");
    if (!file) {
        return false;
    }
    unsigned char head[84] = "as lib3mf reads it";
    for (int i = 0; i < 4; i++) {
        head[80 + i] = (unsigned char)(soup.size() >> 8 * i);
    }
    bool good = fwrite(head, 1, 84, file) == 84;
    for (const auto &nine : soup) {
        unsigned char record[50] = {0};
        for (int i = 0; i < 9; i++) {
            const float f = (float)nine[i];
            memcpy(record + 12 + 4 * i, &f, 4);
        }
        good = good && fwrite(record, 1, 50, file) == 50;
    }
    return fclose(file) == 0 && good;
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        return 2;
    }
    PLib3MFModel *model = nullptr;
    PLib3MFModelReader *reader = nullptr;
    PLib3MFModelBuildItemIterator *items = nullptr;
    if (lib3mf_createmodel(&model) != LIB3MF_OK || lib3mf_model_queryreader(model, "3mf", &reader) != LIB3MF_OK ||
        lib3mf_reader_readfromfileutf8(reader, argv[1]) != LIB3MF_OK) {
        return 3;
    }
    BOOL more = 0;
    int n = 0;
    if (lib3mf_model_getbuilditems(model, &items) != LIB3MF_OK) {
        return 1;
    }
    printf("[");
    while (lib3mf_builditemiterator_movenext(items, &more) == LIB3MF_OK && more) {
        PLib3MFModelBuildItem *item = nullptr;
        PLib3MFModelObjectResource *object = nullptr;
        MODELTRANSFORM t;
        BOOL turned = 0;
        Soup soup;
        if (lib3mf_builditemiterator_getcurrent(items, &item) != LIB3MF_OK ||
            lib3mf_builditem_getobjectresource(item, &object) != LIB3MF_OK ||
            lib3mf_builditem_hasobjecttransform(item, &turned) != LIB3MF_OK ||
            (turned && lib3mf_builditem_getobjecttransform(item, &t) != LIB3MF_OK) ||
            !add(object, turned ? matrix(t) : AS_IT_IS, 0, soup)) {
            return 1;
        }
        if (argc > 2 && !save(soup, std::string(argv[2]) + "/" + std::to_string(n) + ".stl")) {
            return 1;
        }
        printf("%s%zu", n++ ? ", " : "", soup.size());
        lib3mf_release(object);
        lib3mf_release(item);
    }
    printf("]\n");
    return 0;
}
