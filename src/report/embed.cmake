# Writes a room's style sheets and scripts as C++ functions:
# cmake -DROOM=report -DOUT=file.cpp -DNAMES="a;b" -DFILES="x;y" -P embed.cmake
set(text "// Made by embed.cmake.\n#include \"${ROOM}/page_assets.h\"\n\nnamespace interstice::${ROOM} {\n\n")
list(LENGTH NAMES count)
math(EXPR last "${count} - 1")
foreach(i RANGE ${last})
  list(GET NAMES ${i} name)
  list(GET FILES ${i} file)
  file(READ "${file}" content)
  string(FIND "${content}" ")embedded\"" clash)
  if(NOT clash EQUAL -1)
    message(FATAL_ERROR "${file} holds the mark that ends a raw string")
  endif()
  # A script element ends at the first "</script", wherever it stands.
  string(REPLACE "</script" "<\\/script" content "${content}")
  string(APPEND text "std::string_view ${name}() {\n  static constexpr char kText[] = R\"embedded(${content})embedded\";\n  return {kText, sizeof kText - 1};\n}\n\n")
endforeach()
string(APPEND text "}  // namespace interstice::${ROOM}\n")
file(WRITE "${OUT}" "${text}")
