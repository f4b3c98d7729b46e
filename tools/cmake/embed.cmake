# Writes a C++ source that holds the shop files of a folder: cmake -DFOLDER=... -DOUTPUT=... -DFILES="a;b" -P embed.cmake
set(code "// Made by tools/cmake/embed.cmake.\n#include \"embedded.h\"\n\nnamespace teasel {\nconst std::vector<EmbeddedFile>& embedded_files() {\n  static const std::vector<EmbeddedFile> files = {\n")
foreach(file ${FILES})
  file(READ "${FOLDER}/${file}" text)
  string(APPEND code "      {\"${file}\", R\"teasel(${text})teasel\"},\n")
endforeach()
string(APPEND code "  };\n  return files;\n}\n}  // namespace teasel\n")
file(WRITE "${OUTPUT}" "${code}")
