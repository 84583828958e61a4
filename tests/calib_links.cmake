# SPDX-License-Identifier: MIT
# Tests and benches of calib link its library.
file(GLOB calib_tests CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*/test_calib_*.c)
foreach(source ${calib_tests})
  get_filename_component(name ${source} NAME_WE)
  set(UF_LINKS_${name} uf_calib)
endforeach()
set(UF_LINKS_bench_calib uf_calib)
set(UF_LINKS_bench_monitor uf_calib)
