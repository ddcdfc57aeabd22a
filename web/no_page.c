/* Stands where the page was not built. SPDX-License-Identifier: Apache-2.0 */
#include "desk/page_files.h"

const desk_page_set desk_page_files = {0};
