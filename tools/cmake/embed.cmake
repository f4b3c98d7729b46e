# Writes a C++ source that holds the files of a folder:
#   cmake -DFOLDER=... -DOUTPUT=... -DFILES="a;b" -DHEADER=embedded.h -DSPACE=teasel -DTYPE=EmbeddedFile -DFUNCTION=embedded_files -P embed.cmake
# The header declares TYPE, a path and a text, and `const std::vector<TYPE>& FUNCTION()`.
set(code "// Made by tools/cmake/embed.cmake.\n#include \"${HEADER}\"\n\nnamespace ${SPACE} {\nconst std::vector<${TYPE}>& ${FUNCTION}() {\n  static const std::vector<${TYPE}> files = {\n")
foreach(file ${FILES})
  file(READ "${FOLDER}/${file}" text)
  string(APPEND code "      {\"${file}\", R\"teasel(${text})teasel\"},\n")
endforeach()
string(APPEND code "  };\n  return files;\n}\n}  // namespace ${SPACE}\n")
file(WRITE "${OUTPUT}" "${code}")
