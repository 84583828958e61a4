# SPDX-License-Identifier: MIT
# Turns files into one C file with the table that daemon/assets.h declares. Run as
#   cmake -DOUT=page_assets.c -DFOLDER=daemon/page "-DFILES=index.html,page.css" -P embed.cmake
# The first file is also served as "/".
string(REPLACE "," ";" FILES "${FILES}")
set(arrays "")
set(rows "")
set(index 0)
foreach(name ${FILES})
  file(READ ${FOLDER}/${name} hex HEX)
  string(REGEX REPLACE "(................................)" "\\1\n" hex "${hex}")
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "0x\\1," bytes "${hex}")
  if(name MATCHES "\\.html$")
    set(type "text/html; charset=utf-8")
  elseif(name MATCHES "\\.css$")
    set(type "text/css; charset=utf-8")
  elseif(name MATCHES "\\.js$")
    set(type "text/javascript; charset=utf-8")
  elseif(name MATCHES "\\.svg$")
    set(type "image/svg+xml")
  else()
    message(FATAL_ERROR "${name}: no content type known for it")
  endif()
  string(APPEND arrays "static const unsigned char file_${index}[] = {\n${bytes}};\n")
  if(index EQUAL 0)
    string(APPEND rows "    {\"/\", \"${type}\", file_${index}, sizeof file_${index}},\n")
  endif()
  string(APPEND rows "    {\"/${name}\", \"${type}\", file_${index}, sizeof file_${index}},\n")
  math(EXPR index "${index} + 1")
endforeach()
file(WRITE ${OUT} "/* Made by daemon/embed.cmake. */\n#include \"daemon/assets.h\"\n\n${arrays}\n"
     "const struct uf_asset uf_assets[] = {\n${rows}};\n"
     "const size_t uf_asset_count = sizeof uf_assets / sizeof uf_assets[0];\n")
